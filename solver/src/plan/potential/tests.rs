//! Holes, rims and gaps of these shapes are exact by construction; no other source.

use std::f64::consts::TAU;

use crate::body::{GateChoice, MouldShape};
use crate::bridges::BridgeKind;
use crate::bridges::shapes::{blocks, cells, without};
use crate::control::{Cancel, Control};
use crate::mesh::fixtures::{icosphere, moved, torus};
use crate::mesh::{Model, Point, PrepareOptions, TriangleMesh, prepare_mesh};
use crate::plan::setup::{Setup, set_up};
use crate::plan::skin::Holes;
use crate::plan::{PlanError, PlanRequest, make_plan};

fn model(mesh: TriangleMesh) -> Model {
    prepare_mesh(mesh, &PrepareOptions::default()).expect("a sound fixture")
}

fn prepared(mesh: TriangleMesh, mould: MouldShape, gate: Option<GateChoice>) -> Setup {
    let mut request = PlanRequest { mould, ..PlanRequest::default() };
    if let Some(gate) = gate {
        request.gate = gate;
    }
    let setup = set_up(&model(mesh), &request, 1.0, Holes::Filled, &Control::silent())
        .expect("a planning graph");
    let laps: Vec<&str> = setup.figures.seconds.iter().map(|lap| lap.0.as_str()).collect();
    assert_eq!(laps, ["mesh", "body", "field", "bridges", "girth"]);
    setup
}

fn block() -> MouldShape {
    MouldShape::Box { side_clearance: 15.0, top_clearance: 15.0 }
}

/// So that the x axis points up.
fn on_end(mesh: &TriangleMesh) -> TriangleMesh {
    let positions = mesh.positions.iter().map(|p| Point::new(p.y, p.z, p.x)).collect();
    TriangleMesh { positions, faces: mesh.faces.clone() }
}

const MAJOR: f64 = 20.0;
const MINOR: f64 = 6.0;

/// On the board, its hole level.
fn standing_torus(mould: MouldShape) -> Setup {
    let mesh = moved(&on_end(&torus(MAJOR, MINOR, 96, 32)), [0.0, 0.0, MAJOR + MINOR]);
    prepared(mesh, mould, Some(GateChoice::Patch { centre: Point::origin(), radius: 6.0 }))
}

/// The rim of the disc down from the saddle is the inner equator.
#[test]
fn the_loop_of_a_torus_is_confirmed_in_every_mould() {
    let moulds = [
        block(),
        MouldShape::Cylinder { side_clearance: 15.0, top_clearance: 15.0 },
        // Thicker than the hole's radius, so that it fills the hole.
        MouldShape::Blanket { thickness: 18.0 },
    ];
    for mould in moulds {
        let setup = standing_torus(mould.clone());
        assert_eq!(setup.bridges.bridges.len(), 1, "{mould:?}");
        let saddle = setup.bridges.bridges[0].confirmed.expect("confirmed");
        let rim = TAU * (MAJOR - MINOR);
        assert!(
            (saddle.rim_length.expect("a rim") / rim - 1.0).abs() < 0.01,
            "{mould:?}: {saddle:?}"
        );
        let off = (saddle.place - setup.bridges.bridges[0].centre).norm();
        assert!(off < 1.5 && saddle.level > 0.1 && saddle.level < 0.5, "{mould:?}: {saddle:?}");
        assert!(setup.warnings.is_empty() && setup.near.is_empty(), "{:?}", setup.warnings);
    }
}

/// A thin blanket lines the hole and leaves its middle open: there is no disc of rubber in it, and
/// that is said.
#[test]
fn a_hole_that_the_blanket_leaves_open_is_not_confirmed() {
    let setup = standing_torus(MouldShape::Blanket { thickness: 4.0 });
    assert_eq!(setup.bridges.bridges.len(), 1);
    assert_eq!(setup.bridges.bridges[0].confirmed, None);
    assert_eq!(setup.warnings.len(), 1);
    assert!(setup.warnings[0].contains("shows 0 holes where"), "{:?}", setup.warnings);
    assert!(setup.warnings[0].contains("leaves the middle of 1 open"), "{:?}", setup.warnings);
}

/// Plates on their short side, so that the board closes none of the holes.
#[test]
fn every_handle_of_a_plate_is_confirmed_by_its_own_saddle() {
    for handles in 1..=3 {
        let plate = (0..handles).fold(cells([0, 0, 0], [2 * handles + 1, 3, 1]), |all, n| {
            without(all, [2 * n + 1, 1, 0], [2 * n + 2, 2, 1])
        });
        let setup = prepared(on_end(&blocks(&plate, 4, 10.0)), block(), None);
        let bridges = &setup.bridges.bridges;
        assert_eq!(bridges.len(), handles as usize);
        for bridge in bridges {
            let saddle = bridge.confirmed.expect("confirmed");
            // The rim may lie anywhere along the hole, 10 mm deep; the saddle lies half-way. Holes are
            // 20 mm apart.
            assert!((saddle.place - bridge.centre).norm() < 6.0, "{handles}: {bridge:?}");
            // Four sides of 10 mm, the corners cut a little.
            assert!(
                (saddle.rim_length.expect("a rim") / 40.0 - 1.0).abs() < 0.05,
                "{handles}: {saddle:?}"
            );
        }
        assert!(setup.warnings.is_empty() && setup.near.is_empty(), "{:?}", setup.warnings);
    }
}

/// Half a disc, closed by the board: the rim runs up one foot, along the beam and down the other.
/// Under a wide arch field lines show all of it. Under one twice as high as wide nearly all run to
/// the feet: the hole is confirmed, the rim is not told.
#[test]
fn arches_on_the_board_are_confirmed() {
    let wide = without(cells([0, 0, 0], [4, 1, 2]), [1, 0, 0], [3, 1, 1]);
    let high = without(cells([0, 0, 0], [3, 1, 3]), [1, 0, 0], [2, 1, 2]);
    for (arch, rim) in [(wide, Some(40.0)), (high, None)] {
        let gate = GateChoice::LowestFlat { up: crate::mesh::Vector::z() };
        let setup = prepared(blocks(&arch, 4, 10.0), block(), Some(gate));
        assert_eq!(setup.bridges.bridges.len(), 1);
        let bridge = &setup.bridges.bridges[0];
        assert_eq!(bridge.kind, BridgeKind::Arch);
        let saddle = bridge.confirmed.expect("confirmed");
        assert_eq!(saddle.rim_length.is_some(), rim.is_some(), "{saddle:?}");
        if let (Some(told), Some(rim)) = (saddle.rim_length, rim) {
            assert!((told / rim - 1.0).abs() < 0.05, "{told}");
        }
        assert!(saddle.place.z.abs() < 1e-9, "{saddle:?}");
        assert!(setup.warnings.is_empty(), "{:?}", setup.warnings);
    }
}

/// A square ring cut through by a slot: no hole, but nearly one as long as the slot is thin.
#[test]
fn the_gap_of_an_open_ring_is_told_when_it_is_thin() {
    for (cubes, told) in [(1, true), (5, false)] {
        let fine = 15;
        let first = (fine - cubes) / 2;
        let ring = without(cells([0, 0, 0], [fine, fine, 5]), [5, 5, 0], [10, 10, 5]);
        let ring = without(ring, [first, 10, 0], [first + cubes, fine, 5]);
        // Cubes of 2 mm: the slot is 2 or 10 mm wide.
        let setup = prepared(on_end(&blocks(&ring, 1, 2.0)), block(), None);
        assert!(setup.bridges.bridges.is_empty() && setup.warnings.is_empty());
        assert_eq!(setup.near.len(), usize::from(told), "{:?}", setup.near);
        let Some(near) = setup.near.first() else { continue };
        assert!((near.gap - 2.0).abs() < 0.02 && !near.against_board, "{near:?}");
        // Half-way up, in the bar beyond the hole; the ring's middle is half-way up too.
        assert!(near.ends.iter().all(|p| (p.z - 15.0).abs() < 1.05), "{near:?}");
        assert!((near.ring.z - 15.0).abs() < 1.5, "{near:?}");
        let across = nalgebra::center(&near.ends[0], &near.ends[1]) - near.ring;
        assert!((4.0..=15.0).contains(&across.norm()), "{near:?}");
        assert!(near.persistence > 0.5 * near.level && near.persistence <= near.level);
    }
}

#[test]
fn a_ball_has_neither_bridge_nor_near_bridge() {
    let ball = moved(&icosphere(20.0, 4), [0.0, 0.0, 20.0]);
    let gate = GateChoice::Patch { centre: Point::origin(), radius: 8.0 };
    let setup = prepared(ball, block(), Some(gate));
    assert!(setup.bridges.bridges.is_empty() && setup.near.is_empty(), "{:?}", setup.near);
    assert!(setup.warnings.is_empty(), "{:?}", setup.warnings);
}

/// Whoever cancels while the potential is worked out gets no plan, and no further stage is begun.
#[test]
fn the_potential_looks_at_the_flag() {
    let ball = moved(&icosphere(20.0, 3), [0.0, 0.0, 20.0]);
    let gate = GateChoice::Patch { centre: Point::origin(), radius: 8.0 };
    let request = PlanRequest { mould: block(), gate, ..PlanRequest::default() };
    let cancel = Cancel::new();
    let flag = cancel.clone();
    let control = Control::new(cancel, move |progress| {
        assert_ne!(progress.message, "bridges", "went on past the potential");
        if progress.message.contains("checked a second time") {
            flag.cancel();
        }
    });
    let stopped = make_plan(&model(ball), &request, &control);
    assert!(matches!(stopped, Err(PlanError::Cancelled(_))), "{:?}", stopped.map(|p| p.cost));
}
