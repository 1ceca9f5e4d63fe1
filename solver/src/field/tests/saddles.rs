//! Saddles of shapes with known holes.

use std::f64::consts::{PI, TAU};

use super::shapes::{between, solved, sphere, torus};
use crate::body::{MouldBody, MouldShape};
use crate::control::Control;
use crate::field::{Potential, RubberDomain, SaddleKind, SaddleReport};
use crate::mesh::{Point, TriangleMesh, Vector};

const MAJOR: f64 = 20.0;
const MINOR: f64 = 6.0;

fn saddles(field: &Potential) -> SaddleReport {
    field.saddles(0.02, None, &Control::silent()).expect("saddles")
}

fn ring(spacing: f64) -> Potential {
    let domain = between(torus(MAJOR, MINOR), sphere([0.0; 3], 40.0), [-40.0; 3], [40.0; 3], false);
    solved(&domain, spacing)
}

#[test]
fn a_torus_has_one_bridge_with_a_round_disc() {
    for (spacing, part) in [(2.0, 0.02), (1.0, 0.005)] {
        let found = saddles(&ring(spacing));
        assert_eq!(found.saddles.len(), 1);
        let saddle = &found.saddles[0];
        assert_eq!(saddle.kind, SaddleKind::Bridge);
        assert!(saddle.position.coords.norm() < 0.05 * spacing);
        assert!(saddle.axis.dot(&Vector::z()).abs() > 0.999);
        let disc = saddle.disc.as_ref().expect("a disc");
        assert!(disc.closed);
        let radius = MAJOR - MINOR;
        assert!((disc.rim_length / (TAU * radius) - 1.0).abs() < part, "{}", disc.rim_length);
        assert!((disc.area / (PI * radius * radius) - 1.0).abs() < part, "{}", disc.area);
    }
}

#[test]
fn a_sphere_has_no_saddle() {
    let domain = between(
        sphere([0.4, 0.1, -0.3], 10.0),
        sphere([0.0; 3], 20.0),
        [-20.0; 3],
        [20.0; 3],
        false,
    );
    let found = saddles(&solved(&domain, 1.0));
    assert!(found.saddles.is_empty(), "{found:?}");
}

/// A ring that lacks a sector: a near-bridge, and its gap.
#[test]
fn an_open_ring_is_a_near_bridge() {
    // Its ends are flat: planes through the axis of the ring's middle line, `gap` apart.
    let gap = 5.0;
    let open_ring = |spacing: f64| {
        let whole = torus(MAJOR, MINOR);
        let domain = between(
            Box::new(move |p: &Point| {
                let slot = if p.x > 0.0 { 0.5 * gap - p.y.abs() } else { -1.0 };
                whole(p).max(slot)
            }),
            sphere([0.0; 3], 40.0),
            [-40.0; 3],
            [40.0; 3],
            false,
        );
        solved(&domain, spacing)
    };
    for (spacing, off) in [(1.0, 0.1), (0.5, 0.025)] {
        let found = saddles(&open_ring(spacing));
        assert_eq!(found.saddles.len(), 1, "{:?}", found.saddles);
        let saddle = &found.saddles[0];
        let SaddleKind::NearBridge { pass, pass_level, gap: Some(measured) } = saddle.kind else {
            panic!("{:?}", saddle.kind);
        };
        assert!((measured - gap).abs() < off, "{measured} at {spacing}");
        assert!((pass - Point::new(MAJOR, 0.0, 0.0)).norm() < 1.0 + spacing, "{pass:?}");
        assert!(
            pass_level > 0.0 && (saddle.persistence - (saddle.level - pass_level)).abs() < 0.01
        );
        assert!(saddle.position.coords.norm() < 3.0, "{:?}", saddle.position);
    }
}

/// Two spheres near each other close no ring.
#[test]
fn two_spheres_have_no_hole() {
    let (a, b) = (sphere([-11.0, 0.0, 0.0], 10.0), sphere([11.0, 0.0, 0.0], 10.0));
    let domain = between(
        Box::new(move |p: &Point| a(p).min(b(p))),
        sphere([0.0; 3], 30.0),
        [-30.0; 3],
        [30.0; 3],
        false,
    );
    let found = saddles(&solved(&domain, 1.0));
    assert!(found.saddles.is_empty(), "{:?}", found.saddles);
}

/// The upper half of a ring on the board: a hole between two feet, its disc half a disc.
#[test]
fn an_arch_on_the_board_is_a_bridge_with_half_a_disc() {
    let ring = |p: &Point| (p.x.hypot(p.z) - MAJOR).hypot(p.y) - MINOR;
    let outside = sphere([0.0; 3], 40.0);
    let domain = between(Box::new(ring), outside, [-40.0, -40.0, 0.0], [40.0; 3], true);
    let found = saddles(&solved(&domain, 1.0));
    assert_eq!(found.saddles.len(), 1, "{:?}", found.saddles);
    let saddle = &found.saddles[0];
    assert_eq!(saddle.kind, SaddleKind::Bridge);
    assert!(saddle.on_board && saddle.position.coords.norm() < 0.01);
    assert!(saddle.axis.dot(&Vector::y()).abs() > 0.999);
    let disc = saddle.disc.as_ref().expect("a disc");
    let radius = MAJOR - MINOR;
    assert!(!disc.closed);
    assert!((disc.rim_length / (PI * radius) - 1.0).abs() < 0.01, "{}", disc.rim_length);
    assert!((disc.area / (0.5 * PI * radius * radius) - 1.0).abs() < 0.01, "{}", disc.area);
}

/// The double torus: two holes, one of them beside the other.
#[test]
fn a_double_ring_has_two_bridges() {
    let ring = |x: f64| move |p: &Point| ((p.x - x).hypot(p.y) - 12.0).hypot(p.z) - 4.0;
    let (left, right) = (ring(-12.3), ring(12.3));
    let domain = between(
        Box::new(move |p: &Point| left(p).min(right(p))),
        Box::new(|p: &Point| (p.x.abs() - 36.0).max(p.y.abs() - 24.0).max(p.z.abs() - 14.0)),
        [-36.0, -24.0, -14.0],
        [36.0, 24.0, 14.0],
        false,
    );
    let found = saddles(&solved(&domain, 1.0));
    let bridges: Vec<_> = found.saddles.iter().filter(|s| s.kind == SaddleKind::Bridge).collect();
    assert_eq!(bridges.len(), 2, "{:?}", found.saddles);
    let mut at: Vec<f64> = bridges.iter().map(|s| s.position.x).collect();
    at.sort_by(f64::total_cmp);
    assert!((at[0] + 12.3).abs() < 1.0 && (at[1] - 12.3).abs() < 1.0, "{at:?}");
}

/// The gap of an open ring, narrower than the spacing, must not be taken for closed.
#[test]
fn a_gap_narrower_than_the_spacing_is_no_bridge() {
    let mesh = slit_frame(0.3);
    let body =
        MouldBody::new(&mesh, &MouldShape::Box { side_clearance: 10.0, top_clearance: 10.0 })
            .expect("a body");
    let domain = RubberDomain::new(&body, &mesh);
    let field = solved(&domain, 1.1);
    assert!(field.report().gaps > 20, "{}", field.report().gaps);
    let found = field.saddles(0.02, Some(&domain), &Control::silent()).expect("saddles");
    assert_eq!(found.saddles.len(), 1, "{:?}", found.saddles);
    let kind = &found.saddles[0].kind;
    assert!(matches!(kind, SaddleKind::NearBridge { pass_level: 0.0, gap: None, .. }), "{kind:?}");
}

/// A square frame of side 30 with a bar of 6, hung below the board, cut through by a slit.
fn slit_frame(slit: f64) -> TriangleMesh {
    // Outline in the plane, once round: outside, through the slit, inside, and back.
    let (s, a, b) = (0.5 * slit, 15.0, 9.0);
    let outline = [
        (a, s),
        (a, a),
        (-a, a),
        (-a, -a),
        (a, -a),
        (a, -s),
        (b, -s),
        (b, -b),
        (-b, -b),
        (-b, b),
        (b, b),
        (b, s),
    ];
    let count = outline.len() as u32;
    let mut mesh = TriangleMesh::default();
    for z in [-40.0, -34.0] {
        mesh.positions.extend(outline.iter().map(|&(x, y)| Point::new(x, y, z)));
    }
    // Strips between the outer corners 0 to 5 and the inner ones 11 to 6.
    for n in 0..5 {
        let (p, q, r, t) = (n, n + 1, 10 - n, 11 - n);
        mesh.faces.extend([[p, r, q], [p, t, r]]);
        mesh.faces.extend([[p, q, r], [p, r, t]].map(|f| f.map(|v| v + count)));
    }
    for n in 0..count {
        let next = (n + 1) % count;
        mesh.faces.extend([[n, next, next + count], [n, next + count, n + count]]);
    }
    assert!(
        (mesh.signed_volume() / (6.0 * (30.0 * 30.0 - 18.0 * 18.0 - 6.0 * slit)) - 1.0).abs()
            < 1e-9
    );
    mesh
}
