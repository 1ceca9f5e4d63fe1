//! Shells round shapes whose undercut is known.

use approx::assert_relative_eq;

use super::*;
use crate::mesh::fixtures::{divided, icosphere, moved, torus, tube};

/// A block of 30 x 20 x 20 with a slot of 10 x 20 x 10 in its top that runs along y.
fn slotted() -> TriangleMesh {
    let outline = [
        [0.0, 0.0],
        [30.0, 0.0],
        [30.0, 20.0],
        [20.0, 20.0],
        [20.0, 10.0],
        [10.0, 10.0],
        [10.0, 20.0],
        [0.0, 20.0],
    ];
    let count = outline.len() as u32;
    let mut mesh = TriangleMesh::default();
    for y in [0.0, 20.0] {
        mesh.positions.extend(outline.map(|[x, z]| Point::new(x, y, z)));
    }
    for k in 0..count {
        let next = (k + 1) % count;
        mesh.faces.extend([[k, count + k, count + next], [k, count + next, next]]);
    }
    // Below the slot, left of it and right of it.
    for [a, b, c] in [[0, 1, 4], [0, 4, 5], [0, 5, 6], [0, 6, 7], [1, 2, 3], [1, 3, 4]] {
        mesh.faces.extend([[a, b, c], [count + a, count + c, count + b]]);
    }
    // Small faces, so that middles tell of all of them.
    (0..3).fold(mesh, |mesh, _| divided(&mesh))
}

/// Drawn along the slot everything is in sight. Drawn across it the two walls of the slot see each other and its bottom
/// sees neither way out: 600 mm^2 of a surface of 3,400.
#[test]
fn a_slot_hides_its_walls_and_bottom_across_and_nothing_along() {
    let mesh = slotted();
    assert_relative_eq!(mesh.signed_volume(), 20.0 * 500.0, max_relative = 1e-12);
    assert_relative_eq!(mesh.area(), 3_400.0, max_relative = 1e-12);
    let sight = Sight::new(&mesh, 0.1).expect("a mesh");
    assert_eq!(sight.hidden(&[Vector::y(), -Vector::y()]), 0.0);
    let across = sight.hidden(&[Vector::x(), -Vector::x()]);
    assert_relative_eq!(across, 600.0 / 3_400.0, max_relative = 1e-9);
    // A lid takes what is in the slot.
    assert_eq!(sight.hidden(&[Vector::x(), -Vector::x(), Vector::z()]), 0.0);
}

/// Two halves come off a ball whichever way they are drawn.
#[test]
fn a_ball_hides_nothing_from_two() {
    let ball = icosphere(30.0, 4);
    let sight = Sight::new(&ball, 0.5).expect("a mesh");
    for turn in [0.0f64, 0.7, 2.1] {
        let d = Vector::new(turn.cos(), turn.sin(), 0.0);
        assert_eq!(sight.hidden(&[d, -d]), 0.0);
        assert_relative_eq!(outline(&ball, &d), 60.0 * std::f64::consts::PI, max_relative = 5e-3);
    }
}

/// A ring that lies, drawn level: of its inner half, which looks to the middle, is hidden what the ring itself covers.
/// Lines of sight that lie a little off the middle plane meet the other side of the ring, so that the whole inner half
/// is hidden but for a rim above and below: pi R r 2 pi - 4 pi r^2 of 4 pi^2 R r, in closed form.
#[test]
fn a_ring_hides_its_inner_half() {
    let (major, minor) = (30.0, 8.0);
    let ring = torus(major, minor, 96, 48);
    let sight = Sight::new(&ring, 0.02).expect("a mesh");
    let hidden = sight.hidden(&[Vector::x(), -Vector::x()]);
    let inner = 0.5 - minor / (std::f64::consts::PI * major);
    assert_relative_eq!(hidden, inner, epsilon = 0.02);
}

/// A blanket of 8 mm round a ball of 30 on the board: two halves, the line between them the half of a circle of 38 that
/// is above the board, and what they are drawn along is the plan's if it has one.
#[test]
fn two_parts_come_off_a_ball_in_a_blanket() {
    let ball = moved(&icosphere(30.0, 4), [0.0, 0.0, 30.0]);
    let locator = SurfaceLocator::new(&ball).expect("a mesh");
    let front = Vector::new(0.6, -0.8, 0.1);
    for front in [None, Some(front)] {
        let shell = shell(&ball, &locator, 8.0, front).expect("searched").expect("a shell");
        assert!(shell.comes_off && shell.draws.len() == 2, "{shell:?}");
        assert_eq!(shell.is_along_plan, front.is_some());
        assert!(shell.draws[0].z == 0.0 && (shell.draws[0] + shell.draws[1]).norm() < 1e-12);
        // All of the circle but what is more than 30 mm below its middle.
        let above = std::f64::consts::TAU - 2.0 * (30.0f64 / 38.0).acos();
        assert_relative_eq!(shell.parting_line, 38.0 * above, max_relative = 0.03);
    }
    assert_eq!(shell(&TriangleMesh::default(), &locator, 8.0, None), Ok(None));
}

/// A tube of 20 and 26 mm, 60 high, in a blanket of 4: its bore is hidden however level parts are drawn, and a lid takes it.
/// The bore is 2 pi 16 60 of that, a wall of 2 pi 30 60, and a rim: two quarters of a ring of 4 and a flat of 6, about 23.
#[test]
fn a_bore_is_hidden_from_two_and_wants_a_lid() {
    let tube = tube(20.0, 26.0, 60.0, 96);
    let locator = SurfaceLocator::new(&tube).expect("a mesh");
    let shell = shell(&tube, &locator, 4.0, Some(Vector::x())).expect("searched").expect("a shell");
    let rim = (std::f64::consts::PI * 4.0 + 6.0) * 23.0;
    let bore = 16.0 * 60.0 / (16.0 * 60.0 + 30.0 * 60.0 + rim);
    assert_relative_eq!(shell.hidden_in_two, bore, epsilon = 0.08);
    assert!(shell.comes_off && !shell.is_along_plan && shell.parting_line == 0.0, "{shell:?}");
    assert_eq!(shell.draws.len(), 3);
    assert_eq!(shell.draws[2], Vector::z());
}
