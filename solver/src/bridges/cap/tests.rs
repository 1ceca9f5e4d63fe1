//! Discs on rims, with areas known in closed form.

use std::collections::HashSet;
use std::f64::consts::PI;

use super::*;

fn ring(count: usize, at: impl Fn(f64) -> Point) -> Vec<Point> {
    (0..count).map(|k| at(TAU * k as f64 / count as f64)).collect()
}

/// What every disc has to be: one boundary, which is the rim, and no edge but the rim's between two of its
/// points.
fn sound(rim: &[Point], edge: f64) -> TriangleMesh {
    let disc = cap(rim, edge).expect("a disc");
    assert_eq!(&disc.positions[..rim.len()], rim);
    let count = rim.len() as u32;
    let directed: HashSet<[u32; 2]> =
        disc.faces.iter().flat_map(|&[a, b, c]| [[a, b], [b, c], [c, a]]).collect();
    assert_eq!(directed.len(), 3 * disc.faces.len(), "an edge runs one way twice");
    for &[a, b] in &directed {
        let is_side = b == (a + 1) % count && a < count;
        assert_eq!(is_side, !directed.contains(&[b, a]), "{a} to {b} of {count}");
        assert!(is_side || a >= count || b >= count, "a chord from {a} to {b}");
    }
    // Euler's count of a disc.
    let edges = (directed.len() + rim.len()) / 2;
    assert_eq!(disc.positions.len() + disc.faces.len(), edges + 1);
    disc
}

/// A plane disc, whichever way its rim runs, and however it leans.
#[test]
fn a_plane_rim_gets_the_area_it_bounds() {
    let radius = 20.0;
    for (sign, lean) in [(1.0, 0.0), (-1.0, 0.0), (1.0, 0.7)] {
        let rim = ring(60, |t| {
            let (sin, cos) = f64::sin_cos(sign * t);
            Point::new(radius * cos, radius * sin, lean * radius * sin)
        });
        let area = sound(&rim, 2.0).area();
        let whole = PI * radius * radius * f64::hypot(1.0, lean);
        approx::assert_relative_eq!(area, whole, max_relative = 0.003);
    }
}

/// The harmonic function a (x^2 - y^2) on a disc of radius R has a graph of area
/// pi / (6 a^2) ((1 + 4 a^2 R^2)^(3/2) - 1) (integral calculus).
#[test]
fn a_saddle_is_the_harmonic_one() {
    let (a, radius) = (0.02, 20.0);
    let rim = ring(120, |t| {
        let (x, y) = (radius * t.cos(), radius * t.sin());
        Point::new(x, y, a * (x * x - y * y))
    });
    let disc = sound(&rim, 1.2);
    let exact = PI / (6.0 * a * a) * ((1.0 + 4.0 * a * a * radius * radius).powf(1.5) - 1.0);
    approx::assert_relative_eq!(disc.area(), exact, max_relative = 0.005);
    for p in &disc.positions {
        let height = a * (p.x * p.x - p.y * p.y);
        assert!((p.z - height).abs() < 0.02 * a * radius * radius, "{p}");
    }
}

/// Seen from any side the seam of a tennis ball crosses itself or nearly; a slot is a few edges wide; a
/// triangle has no room for a point of its own.
#[test]
fn odd_rims_get_discs_too() {
    sound(
        &ring(80, |t| {
            let turn = 0.95 * (2.0 * t).sin();
            let height = 0.9 * (2.0 * t).cos();
            Point::new((t + turn).cos() * 10.0, (t + turn).sin() * 10.0, height * 10.0)
        }),
        2.0,
    );
    sound(&ring(60, |t| Point::new(40.0 * t.cos(), 1.5 * t.sin(), 0.0)), 4.0);
    sound(&ring(3, |t| Point::new(t.cos(), t.sin(), 0.0)), 4.0);
}
