//! Boards and frames that can be read off the shape.

use approx::assert_relative_eq;

use super::*;
use crate::mesh::canonical;
use crate::mesh::fixtures::{cuboid, cylinder, icosphere, moved};

const UP: GateChoice = GateChoice::LowestFlat { up: Vector::new(0.0, 0.0, 1.0) };

fn found(mesh: &TriangleMesh, choice: &GateChoice) -> Gate {
    Gate::find(mesh, choice).expect("a gate")
}

/// Some rigid motions, all axes and more than a quarter turn among them.
fn motions() -> Vec<Isometry3<f64>> {
    [[0.0, 0.0, 2.1], [1.3, 0.0, 0.0], [0.0, -2.9, 0.0], [1.0, 1.0, 1.0], [-0.4, 2.2, 0.9]]
        .iter()
        .map(|w| Isometry3::new(Vector::new(40.0 * w[1], -70.0, 15.0 * w[0]), Vector::from(*w)))
        .collect()
}

#[test]
fn the_flat_bottom_is_the_gate_and_the_origin_lies_below_the_middle() {
    let mesh = moved(&cuboid([40.0, 30.0, 20.0]), [7.0, -9.0, 55.0]);
    let gate = found(&mesh, &UP);
    let middle = gate.to_mould * Point::new(27.0, 6.0, 55.0);
    assert_relative_eq!(middle, Point::origin(), epsilon = 1e-9);
    for p in &mesh.positions {
        let q = gate.to_mould * p;
        assert_relative_eq!(q.z, p.z - 55.0, epsilon = 1e-9);
        assert_eq!(gate.holds(&q), p.z == 55.0);
    }
}

/// A cylinder lying on its side has no flat bottom, standing it has one.
#[test]
fn another_up_is_another_bottom() {
    let mesh = cylinder(15.0, 60.0, 48);
    assert!(found(&mesh, &UP).holds(&Point::new(10.0, 0.0, 0.0)));
    let upside_down = GateChoice::LowestFlat { up: -Vector::z() };
    let top = found(&mesh, &upside_down).to_mould * Point::new(0.0, 0.0, 60.0);
    assert_relative_eq!(top.z, 0.0, epsilon = 1e-9);
}

/// However fine a ball is meshed, it touches the board in a point.
#[test]
fn a_ball_has_no_flat_face_to_stand_on() {
    for level in [3, 4, 5] {
        let error = Gate::find(&icosphere(30.0, level), &UP);
        let Err(error @ GateError::NoFlatFace { stands: None, .. }) = error else {
            panic!("divided {level} times: {error:?}")
        };
        let words = error.to_string();
        for word in ["gate.lowest_flat", "no flat face", "gate.patch", "gate.plane"] {
            assert!(words.contains(word), "{words}");
        }
    }
}

/// A cylinder that lies in the file: along up it rests on an edge of its round side, and it would stand on either end.
#[test]
fn what_lies_in_the_file_is_told_how_it_stands() {
    let fine = cylinder(15.0, 60.0, 240);
    let lying = Isometry3::rotation(Vector::x() * std::f64::consts::FRAC_PI_2);
    let error = Gate::find(&fine.moved(&lying), &UP).expect_err("no flat face");
    let GateError::NoFlatFace { stands: Some(up), .. } = &error else { panic!("{error:?}") };
    assert_relative_eq!(up.y.abs(), 1.0, epsilon = 1e-9);
    assert!(error.to_string().contains("it stands on a flat face with up"), "{error}");
}

#[test]
fn a_patch_looks_into_the_model_and_holds_its_ball() {
    let mesh = icosphere(30.0, 4);
    let patch = GateChoice::Patch { centre: Point::new(30.0, 0.0, 0.0), radius: 9.0 };
    let gate = found(&mesh, &patch);
    // Up points into the model: its centre is right above the patch.
    let centre = gate.to_mould * Point::origin();
    assert_relative_eq!(centre, Point::new(0.0, 0.0, 30.0), epsilon = 0.05);
    for p in &mesh.positions {
        let distance = (p - Point::new(30.0, 0.0, 0.0)).norm();
        if (distance - 9.0).abs() > 1e-6 {
            assert_eq!(gate.holds(&(gate.to_mould * p)), distance < 9.0);
        }
    }
}

#[test]
fn a_plane_holds_what_lies_on_or_beyond_it() {
    let mesh = icosphere(30.0, 4);
    let plane = GateChoice::Plane { point: Point::new(0.0, 25.0, 0.0), normal: Vector::y() * 4.0 };
    let gate = found(&mesh, &plane);
    for p in &mesh.positions {
        let q = gate.to_mould * p;
        assert_relative_eq!(q.z, 25.0 - p.y, epsilon = 1e-9);
        if (p.y - 25.0).abs() > 0.2 {
            assert_eq!(gate.holds(&q), p.y > 25.0);
        }
    }
}

#[test]
fn what_touches_nothing_or_is_no_number_is_refused_by_name() {
    let mesh = cuboid([40.0, 30.0, 20.0]);
    let far = Point::new(100.0, 15.0, 10.0);
    let corner = Point::origin();
    let nan = f64::NAN;
    let table = [
        (GateChoice::Patch { centre: far, radius: 5.0 }, "gate.patch", "nearest point"),
        (GateChoice::Plane { point: far, normal: Vector::x() }, "gate.plane", "60.00 mm away"),
        (GateChoice::Patch { centre: corner, radius: 0.0 }, "patch.radius", "positive"),
        (GateChoice::Patch { centre: corner, radius: -3.0 }, "patch.radius", "positive"),
        (GateChoice::Patch { centre: corner, radius: nan }, "patch.radius", "positive"),
        (GateChoice::Patch { centre: corner, radius: 5.0 }, "patch", "enlarge the radius"),
        (
            GateChoice::Patch { centre: Point::new(nan, 0.0, 0.0), radius: 5.0 },
            "patch.centre",
            "finite",
        ),
        (
            GateChoice::Plane { point: Point::new(0.0, nan, 0.0), normal: Vector::x() },
            "plane.point",
            "finite",
        ),
        (
            GateChoice::Plane { point: corner, normal: Vector::zeros() },
            "plane.normal",
            "not all zero",
        ),
        (GateChoice::LowestFlat { up: Vector::zeros() }, "lowest_flat.up", "not all zero"),
        (GateChoice::LowestFlat { up: Vector::new(0.0, nan, 1.0) }, "lowest_flat.up", "finite"),
    ];
    for (choice, field, fault) in table {
        let error = Gate::find(&mesh, &choice).expect_err("refused").to_string();
        assert!(error.contains(field) && error.contains(fault), "{choice:?}: {error}");
    }
}

/// A shape without any symmetry has one frame only, so every vertex comes to the same place
/// however the model was turned before.
#[test]
fn turned_models_come_to_the_same_frame() {
    let mut wedge = cuboid([40.0, 30.0, 20.0]);
    wedge.positions[7].z = 35.0;
    wedge.positions[6].x = 4.0;
    let home = found(&wedge, &UP).to_mould;
    for motion in motions() {
        let choice = GateChoice::LowestFlat { up: motion * Vector::z() };
        let pose = found(&wedge.moved(&motion), &choice).to_mould;
        for p in &wedge.positions {
            assert_relative_eq!(pose * (motion * p), home * p, epsilon = 1e-8);
        }
    }
}

/// A box looks the same after half a turn about up: the frame may differ by that, the shape in it
/// may not.
#[test]
fn turned_boxes_look_the_same_in_their_frames() {
    let mesh = cuboid([40.0, 30.0, 20.0]);
    let sorted = |mesh: &TriangleMesh, pose: &Isometry3<f64>| canonical(mesh, pose).mesh.positions;
    let home = sorted(&mesh, &found(&mesh, &UP).to_mould);
    for motion in motions() {
        let choice = GateChoice::LowestFlat { up: motion * Vector::z() };
        let model = mesh.moved(&motion);
        let there = sorted(&model, &found(&model, &choice).to_mould);
        for (p, q) in home.iter().zip(&there) {
            assert_relative_eq!(p, q, epsilon = 1e-4);
        }
    }
}
