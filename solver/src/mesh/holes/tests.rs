use std::f64::consts::PI;

use super::super::check::{CheckOptions, check};
use super::super::fixtures::{cylinder, divided, icosphere, torus};
use super::*;

fn sound(mesh: &TriangleMesh) {
    let faults = check(mesh, &CheckOptions::default()).faults;
    assert!(faults.is_empty(), "{faults:?}");
}

/// A hole of 30 degrees to all sides in a ball. The patch goes on as the ball arrives, so it bulges: the ball that is
/// missing has a cap of height h = r (1 - cos 30) above the rim's plane, the patch reaches 85 % of it at least, and
/// nothing of it is farther off the ball than 15 % of the height.
#[test]
fn a_hole_in_a_ball_is_filled_round() {
    let radius = 20.0;
    let mut ball = icosphere(radius, 4);
    let whole = ball.signed_volume();
    ball.faces
        .retain(|f| f.iter().any(|v| ball.positions[*v as usize].z < radius * (PI / 6.0).cos()));
    let kept = ball.faces.len();
    let filled = fill(&mut ball, 30.0, MOST_EDGES);
    assert_eq!(filled.len(), 1);
    sound(&ball);
    let height = radius * (1.0 - (PI / 6.0).cos());
    let patch: Vec<f64> = ball.faces[kept..]
        .iter()
        .flatten()
        .map(|v| ball.positions[*v as usize].coords.norm() - radius)
        .collect();
    let off = patch.iter().map(|x| x.abs()).fold(0.0, f64::max);
    assert!(off < 0.15 * height, "{off} mm off, of {height} mm");
    let top = ball.positions.iter().map(|p| p.z).fold(0.0, f64::max);
    assert!(top > radius - 0.15 * height, "{top}");
    assert!((ball.signed_volume() / whole - 1.0).abs() < 5e-3);
    // As fine as the ball: its faces are alike, and so are the patch's.
    let area = ball.area() / ball.faces.len() as f64;
    let own: f64 = (kept..ball.faces.len()).map(|f| ball.face_area(FaceId(f as u32))).sum();
    let ratio = own / (ball.faces.len() - kept) as f64 / area;
    assert!((0.4..2.5).contains(&ratio), "{ratio}");
}

/// Single faces missing all over a torus: every hole is a triangle and is filled with just that.
#[test]
fn missing_triangles_come_back() {
    let whole = torus(40.0, 12.0, 60, 30);
    let mut torn = whole.clone();
    let mut index = 0;
    torn.faces.retain(|_| {
        index += 1;
        index % 40 != 0
    });
    let filled = fill(&mut torn, 10.0, MOST_EDGES);
    assert_eq!(filled.len(), 90);
    assert_eq!(torn.faces.len(), whole.faces.len());
    sound(&torn);
    approx::assert_relative_eq!(torn.signed_volume(), whole.signed_volume(), max_relative = 1e-12);
    assert!(told(&filled).expect("some").contains("filled 90 holes"), "{:?}", told(&filled));
}

/// Larger ones are left as they are.
#[test]
fn a_large_hole_is_left() {
    let mut open = divided(&divided(&cylinder(20.0, 50.0, 32)));
    open.faces.retain(|f| f.iter().any(|v| open.positions[*v as usize].z < 50.0));
    let before = open.clone();
    assert!(fill(&mut open, 39.0, MOST_EDGES).is_empty());
    assert_eq!(open, before);
    assert_eq!(fill(&mut open, 41.0, MOST_EDGES).len(), 1);
    sound(&open);
}
