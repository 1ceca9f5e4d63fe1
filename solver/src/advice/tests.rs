//! Advice on shapes with known answers, by gate and mould as a plan has them.

use approx::assert_relative_eq;

use super::traps::tests::{pitted, two_peaks};
use super::*;
use crate::body::GateChoice;
use crate::mesh::fixtures::{cuboid, icosphere};

const BLOCK: MouldShape = MouldShape::Box { side_clearance: 10.0, top_clearance: 10.0 };

fn advised(model: &TriangleMesh, gate: GateChoice, mould: &MouldShape) -> Advice {
    let gate = Gate::find(model, &gate).expect("a gate");
    let about = About { model, gate: &gate, mould, sheets: Vec::new(), front: None };
    advise(&about).expect("advice")
}

fn standing() -> GateChoice {
    GateChoice::LowestFlat { up: Vector::z() }
}

#[test]
fn a_box_on_its_base_wants_nothing() {
    let advice = advised(&cuboid([40.0, 30.0, 20.0]), standing(), &BLOCK);
    assert_eq!((advice.casting, advice.rubber), (AirTraps::default(), AirTraps::default()));
    assert_eq!((advice.shut_hollows, advice.shell, advice.pour.openings), (0.0, None, 1));
    assert_relative_eq!(advice.pour.area, 1200.0, max_relative = 1e-9);
    assert!(advice.pour.serves);
}

/// A pit of 8 cm^3 in the bottom is shut by the board; turned over it is a bowl, which keeps no air either way.
#[test]
fn a_pit_beneath_is_shut_by_the_board() {
    let advice = advised(&pitted(), standing(), &BLOCK);
    assert_relative_eq!(advice.shut_hollows, 8.0, max_relative = 1e-9);
    assert_relative_eq!(advice.pour.area, 1200.0, max_relative = 1e-9);
    assert!(advice.casting.told.is_empty() && advice.rubber.told.is_empty());
    let over = advised(&pitted(), GateChoice::LowestFlat { up: -Vector::z() }, &BLOCK);
    assert_eq!(over.shut_hollows, 0.0);
    assert!(over.casting.told.is_empty() && over.rubber.told.is_empty());
}

/// The block with two peaks on the tip of the higher one: as it is cast, gate up, the lower one keeps what is above the
/// valley. Its place is told in the model's own coordinates.
#[test]
fn what_hangs_down_wants_a_vent() {
    let gate = GateChoice::Plane { point: Point::new(45.0, 10.0, 38.0), normal: Vector::z() };
    let advice = advised(&two_peaks(), gate, &BLOCK);
    let [trap] = advice.casting.told[..] else { panic!("{:?}", advice.casting) };
    assert_relative_eq!(trap.depth, 15.0, epsilon = 1e-9);
    assert_relative_eq!(trap.volume, 3937.5, max_relative = 1e-9);
    assert_relative_eq!(trap.place.x, 15.0, epsilon = 1e-9);
    assert_relative_eq!(trap.place.z, 30.0, epsilon = 1e-9);
    assert_eq!((advice.rubber, advice.casting.others), (AirTraps::default(), 0));
}

/// A ball on a patch of 4 mm: narrow to pour through, nothing else. In a blanket its shell comes off in two.
#[test]
fn a_ball_on_a_small_patch_wants_a_sprue() {
    let ball = icosphere(30.0, 5);
    let gate = GateChoice::Patch { centre: Point::new(0.0, 0.0, -30.0), radius: 4.0 };
    let advice = advised(&ball, gate, &MouldShape::Blanket { thickness: 8.0 });
    assert!(!advice.pour.serves && advice.pour.openings == 1, "{:?}", advice.pour);
    // A cap of 4 mm is 50 mm^2, less the faces on its border.
    assert!(advice.pour.area > 20.0 && advice.pour.area < 51.0, "{:?}", advice.pour);
    assert!(advice.casting.told.is_empty() && advice.rubber.told.is_empty());
    let shell = advice.shell.expect("a blanket");
    assert!(shell.comes_off && shell.draws.len() == 2 && !shell.is_along_plan, "{shell:?}");
}
