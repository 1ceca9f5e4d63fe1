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
        let shell = shell(&ball, &locator, 8.0, front, None).expect("searched").expect("a shell");
        assert!(shell.comes_off && shell.draws.len() == 2, "{shell:?}");
        assert_eq!(shell.is_along_plan, front.is_some());
        assert!(shell.draws[0].z == 0.0 && (shell.draws[0] + shell.draws[1]).norm() < 1e-12);
        // All of the circle but what is more than 30 mm below its middle.
        let above = std::f64::consts::TAU - 2.0 * (30.0f64 / 38.0).acos();
        assert_relative_eq!(shell.parting_line, 38.0 * above, max_relative = 0.03);
    }
    assert_eq!(shell(&TriangleMesh::default(), &locator, 8.0, None, None), Ok(None));
}

/// A tube of 20 and 26 mm, 60 high, in a blanket of 4: its bore is hidden however level parts are drawn, and a lid takes it.
/// The bore is 2 pi 16 60 of that, a wall of 2 pi 30 60, and a rim: two quarters of a ring of 4 and a flat of 6, about 23.
#[test]
fn a_bore_is_hidden_from_two_and_wants_a_lid() {
    let tube = tube(20.0, 26.0, 60.0, 96);
    let locator = SurfaceLocator::new(&tube).expect("a mesh");
    let shell =
        shell(&tube, &locator, 4.0, Some(Vector::x()), None).expect("searched").expect("a shell");
    let rim = (std::f64::consts::PI * 4.0 + 6.0) * 23.0;
    let bore = 16.0 * 60.0 / (16.0 * 60.0 + 30.0 * 60.0 + rim);
    assert_relative_eq!(shell.hidden_in_two, bore, epsilon = 0.08);
    assert!(shell.comes_off && !shell.is_along_plan, "{shell:?}");
    assert_eq!(shell.draws.len(), 3);
    assert_eq!(shell.draws[2], Vector::z());
}

fn shell_of(model: &TriangleMesh, thick: f64, front: Vector, cut: Option<&Outer>) -> Shell {
    let locator = SurfaceLocator::new(model).expect("a mesh");
    let found = shell(model, &locator, thick, Some(front), cut).expect("searched");
    found.expect("a shell")
}

/// A ball of 30 in a blanket of 8, off the board: one line that goes round, the great circle square to the way the parts
/// are drawn, pi times 76 mm long. On the ball each point is within a cell of that circle's plane.
#[test]
fn a_balls_shell_is_parted_along_a_great_circle() {
    let middle = Point::new(5.0, -7.0, 60.0);
    let ball = moved(&icosphere(30.0, 4), [middle.x, middle.y, middle.z]);
    for turn in [0.0f64, 0.4, 1.3] {
        let front = Vector::new(turn.cos(), turn.sin(), 0.0);
        let shell = shell_of(&ball, 8.0, front, None);
        assert!(shell.comes_off && shell.is_along_plan, "{shell:?}");
        let [line] = &shell.lines[..] else { panic!("{:?}", shell.lines.len()) };
        assert!(line.closed && line.parts == [0, 1] && line.points.first() == line.points.last());
        let around = std::f64::consts::PI * 76.0;
        assert_relative_eq!(shell.parting_line, around, max_relative = 0.03);
        assert_eq!(shell.follows, None);
        for p in &line.points {
            assert!(
                (p - middle).dot(&front).abs() < shell.cell,
                "{p}: {}",
                (p - middle).dot(&front)
            );
            assert_relative_eq!((p - middle).norm(), 38.0, epsilon = 0.5);
        }
    }
}

/// A rod of 20 mm, 50 high, on the board in a blanket of 5: up one side, over the flat top and down the other. Two walls of
/// 50, two quarters of a round of 5, and 40 across the top. The top, which both parts can be drawn off, is halved.
#[test]
fn a_standing_rods_shell_is_parted_up_and_over() {
    let rod = crate::mesh::fixtures::cylinder(20.0, 50.0, 96);
    for turn in [0.0f64, 0.5] {
        let front = Vector::new(turn.cos(), turn.sin(), 0.0);
        let shell = shell_of(&rod, 5.0, front, None);
        assert!(shell.comes_off && shell.lines.len() == 1, "{shell:?}");
        let line = &shell.lines[0];
        assert!(!line.closed);
        assert_eq!([line.points[0].z, line.points[line.points.len() - 1].z], [0.0; 2]);
        let length = 100.0 + 5.0 * std::f64::consts::PI + 40.0;
        assert_relative_eq!(shell.parting_line, length, max_relative = 0.03);
        for p in &line.points {
            assert!(p.coords.dot(&front).abs() < 2.0 * shell.cell, "{p}");
        }
    }
}

/// A box of 40 x 30 x 20 off the board, turned about two axes so that three of its faces are seen from the front: the line
/// runs along the six edges round these, on rounds of 6, and turns once round altogether: 180 + 2 pi 6 mm.
#[test]
fn a_tilted_boxs_shell_is_parted_along_six_edges() {
    let turned = nalgebra::Rotation3::from_euler_angles(0.6, 0.0, 0.7);
    let mut cuboid = crate::mesh::fixtures::cuboid([40.0, 30.0, 20.0]);
    for p in &mut cuboid.positions {
        *p = turned * *p + Vector::new(0.0, 0.0, 40.0);
    }
    let front = -Vector::y();
    // Three faces look the way of the front by a third at least.
    for axis in [Vector::x(), Vector::y(), Vector::z()] {
        assert!((turned * axis).y.abs() > 0.3, "{axis}");
    }
    let shell = shell_of(&cuboid, 6.0, front, None);
    assert!(shell.comes_off && shell.lines.len() == 1 && shell.lines[0].closed, "{shell:?}");
    let length = 180.0 + 12.0 * std::f64::consts::PI;
    assert_relative_eq!(shell.parting_line, length, max_relative = 0.03);
}

/// A line where the blade enters a ball's blanket, in a plane `off` mm from that of the great circle.
fn ring(middle: Point, off: f64) -> Outer {
    let radius = (38.0f64 * 38.0 - off * off).sqrt();
    let points = (0..=120).map(|k| {
        let angle = std::f64::consts::TAU * f64::from(k) / 120.0;
        middle + Vector::new(off, radius * angle.cos(), radius * angle.sin())
    });
    (3, vec![points.collect()])
}

/// A cut 1.5 mm off the great circle is followed: of the strip between them all but 1.3 mm lets go as the rubber gives.
/// One 12 mm off is not: a strip of 12 mm, a sixth of the ball, would hold.
#[test]
fn a_cut_is_followed_where_the_parts_still_come_off() {
    let middle = Point::new(0.0, 0.0, 60.0);
    let ball = moved(&icosphere(30.0, 4), [0.0, 0.0, 60.0]);
    let near = shell_of(&ball, 8.0, Vector::x(), Some(&ring(middle, 1.5)));
    let own = near.follows.expect("a cut");
    assert!(own.is_followed && own.cut == 3 && near.comes_off, "{own:?}");
    assert!(own.along > 0.9 * own.length && own.hidden <= HIDDEN_ALLOWED, "{own:?}");
    let mean =
        near.lines[0].points.iter().map(|p| p.x).sum::<f64>() / near.lines[0].points.len() as f64;
    assert!((mean - 1.5).abs() < 0.6, "{mean}");

    let far = shell_of(&ball, 8.0, Vector::x(), Some(&ring(middle, 12.0)));
    let own = far.follows.expect("a cut");
    assert!(!own.is_followed && far.comes_off, "{own:?}");
    assert!(own.hidden > HIDDEN_ALLOWED || own.along < 0.5 * own.length, "{own:?}");
    assert_eq!(far.lines, shell_of(&ball, 8.0, Vector::x(), None).lines);
}

/// On a flat top, which both parts can be drawn off, the line goes with the cut wherever that runs: 7 mm off the middle of a
/// rod of 50 across and back to the horizon at the walls.
#[test]
fn on_open_ground_the_line_goes_with_the_cut() {
    let rod = crate::mesh::fixtures::cylinder(25.0, 30.0, 96);
    let top: Vec<Point> = (-16..=16).map(|y| Point::new(7.0, f64::from(y), 35.0)).collect();
    let shell = shell_of(&rod, 5.0, Vector::x(), Some(&(1, vec![top])));
    let own = shell.follows.expect("a cut");
    assert!(own.is_followed && own.along > 0.8 * own.length && shell.comes_off, "{own:?}");
}

/// A rod whose cut runs up its wall 0.7 radians from the x axis, where no direction that is tried would put the line: without a
/// front the parts are drawn so that they meet there.
#[test]
fn parts_are_drawn_so_that_they_meet_at_the_cut() {
    let rod = crate::mesh::fixtures::cylinder(25.0, 60.0, 96);
    let (sin, cos) = 0.7f64.sin_cos();
    let up: Vec<Point> =
        (0..=50).map(|z| Point::new(30.0 * cos, 30.0 * sin, f64::from(z))).collect();
    let locator = SurfaceLocator::new(&rod).expect("a mesh");
    let cut = (2, vec![up]);
    let shell = shell(&rod, &locator, 5.0, None, Some(&cut)).expect("searched").expect("a shell");
    let own = shell.follows.expect("a cut");
    assert!(shell.comes_off && own.is_followed && own.along > 0.9 * own.length, "{own:?}");
    let aside = shell.draws[0].dot(&Vector::new(cos, sin, 0.0)).abs();
    assert!(aside < 0.02, "{aside}");
}

/// Three draws: the part of a lid and two halves of a bored rod meet in three pieces or more, and each has its own two parts.
#[test]
fn three_parts_meet_in_pairs() {
    let tube = tube(20.0, 26.0, 60.0, 96);
    let shell = shell_of(&tube, 4.0, Vector::x(), None);
    assert_eq!(shell.held.len(), 3);
    let pairs: std::collections::BTreeSet<[u32; 2]> = shell.lines.iter().map(|l| l.parts).collect();
    assert!(pairs.iter().all(|[a, b]| a < b && *b < 3) && pairs.contains(&[0, 1]), "{pairs:?}");
    assert!(pairs.len() >= 2, "{pairs:?}");
}
