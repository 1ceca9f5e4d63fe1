//! Hatching of the gate: parallel lines across its outline, and the direction out through it.

use super::surface::{Foot, Surface};
use crate::mesh::{Point, Vector};

/// Area of a closed polygon as a vector, mm^2, by Newell's sum: it does not need flat polygons.
fn area_vector(outline: &[Point]) -> Vector {
    let Some(origin) = outline.first() else { return Vector::zeros() };
    let mut sum = Vector::zeros();
    for (index, point) in outline.iter().enumerate() {
        let next = outline[(index + 1) % outline.len()];
        sum += (point - origin).cross(&(next - origin));
    }
    sum * 0.5
}

/// Unit direction out of the model through the gate: square to its largest outline, on the side
/// that the surface inside the outline faces; away from `up` if there is no outline.
pub(super) fn outward(outlines: &[Vec<Point>], surface: &Surface, up: Vector) -> Vector {
    let down = -up.try_normalize(0.0).unwrap_or_else(Vector::z);
    let areas = outlines.iter().map(|outline| area_vector(outline));
    let Some(largest) = areas.max_by(|a, b| a.norm().total_cmp(&b.norm())) else { return down };
    let Some(normal) = largest.try_normalize(1e-9) else { return down };
    // A handful of lines across is enough to see which way the surface there faces.
    let spacing = (largest.norm().sqrt() / 6.0).max(1e-6);
    let facing: Vector = lines(outlines, normal, spacing)
        .iter()
        .map(|line| surface.foot(nalgebra::center(&line[0], &line[1])).normal)
        .sum();
    if facing.dot(&normal) < 0.0 { -normal } else { normal }
}

/// Lines across all outlines together, `spacing` mm apart, square to `normal`; what an odd number
/// of outlines surround is inside.
pub(super) fn lines(outlines: &[Vec<Point>], normal: Vector, spacing: f64) -> Vec<[Point; 2]> {
    let Some(origin) = outlines.iter().flatten().next().copied() else { return Vec::new() };
    // At 45 degrees to the model's axes where the gate is level, so that hatching does not run
    // along straight sides.
    let slanted = Vector::new(1.0, 1.0, 1.0);
    let along = slanted - normal * slanted.dot(&normal);
    let Some(along) =
        along.try_normalize(1e-3).or_else(|| normal.cross(&Vector::x()).try_normalize(0.0))
    else {
        return Vec::new();
    };
    let across = normal.cross(&along);
    let flat = |point: &Point| {
        let offset = point - origin;
        [offset.dot(&along), offset.dot(&across), offset.dot(&normal)]
    };
    let outlines: Vec<Vec<[f64; 3]>> =
        outlines.iter().map(|outline| outline.iter().map(flat).collect()).collect();
    let heights = || outlines.iter().flatten().map(|spot| spot[1]);
    let low = heights().fold(f64::INFINITY, f64::min);
    let high = heights().fold(f64::NEG_INFINITY, f64::max);
    let mut found = Vec::new();
    let mut row = 0;
    loop {
        let height = low + spacing * (f64::from(row) + 0.5);
        if height >= high || row > 5_000 {
            break;
        }
        row += 1;
        let mut crossings: Vec<[f64; 2]> =
            outlines.iter().flat_map(|outline| crossings(outline, height)).collect();
        crossings.sort_by(|a, b| a[0].total_cmp(&b[0]));
        for pair in crossings.chunks_exact(2) {
            let place =
                |[x, depth]: [f64; 2]| origin + along * x + across * height + normal * depth;
            found.push([place(pair[0]), place(pair[1])]);
        }
    }
    found
}

/// A hatching line brought on to the model, in as many pieces as the model has below it. `out` is
/// the direction that the gate faces; samples are `step` mm apart.
///
/// A bulging gate lies off its outline's plane, but straight along `out`. Where the nearest point
/// of the model lies sideways instead, the line crosses no gate but a gap beside one.
pub(super) fn on_model(
    line: [Point; 2],
    out: Vector,
    surface: &Surface,
    step: f64,
) -> Vec<Vec<Foot>> {
    let pieces = ((line[1] - line[0]).norm() / step).ceil().max(1.0) as usize;
    let mut found = vec![Vec::new()];
    for piece in 0..=pieces {
        let point = line[0] + (line[1] - line[0]) * (piece as f64 / pieces as f64);
        let foot = surface.foot(point);
        let moved = foot.point - point;
        let along = moved.dot(&out);
        let sideways = (moved - out * along).norm();
        if sideways <= step + 0.5 * along.abs() {
            if let Some(last) = found.last_mut() {
                last.push(foot);
            }
        } else if found.last().is_some_and(|last| !last.is_empty()) {
            found.push(Vec::new());
        }
    }
    found.retain(|feet| feet.len() > 1);
    found
}

/// Where a closed outline crosses a height: how far along, and how deep there.
fn crossings(outline: &[[f64; 3]], height: f64) -> Vec<[f64; 2]> {
    let mut found = Vec::new();
    for (index, a) in outline.iter().enumerate() {
        let b = outline[(index + 1) % outline.len()];
        if (a[1] < height) != (b[1] < height) {
            let part = (height - a[1]) / (b[1] - a[1]);
            found.push([a[0] + part * (b[0] - a[0]), a[2] + part * (b[2] - a[2])]);
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use approx::assert_relative_eq;

    use super::*;

    fn square(half: f64) -> Vec<Point> {
        [[-half, -half], [half, -half], [half, half], [-half, half]]
            .map(|[x, y]| Point::new(x, y, 0.0))
            .to_vec()
    }

    /// Two plates side by side with a gap between them, hatched as one: nothing in the gap.
    #[test]
    fn hatching_stops_where_there_is_no_model() {
        let mut mesh = crate::mesh::TriangleMesh::default();
        for left in [-10.0, 4.0] {
            let first = mesh.positions.len() as u32;
            for [x, y] in [[0.0, -5.0], [6.0, -5.0], [6.0, 5.0], [0.0, 5.0]] {
                mesh.positions.push(Point::new(left + x, y, 0.0));
            }
            mesh.faces.extend([[first, first + 1, first + 2], [first, first + 2, first + 3]]);
        }
        let surface = Surface::new(&mesh).expect("two plates");
        let line = [Point::new(-10.0, 0.0, 0.0), Point::new(10.0, 0.0, 0.0)];
        let pieces = on_model(line, Vector::z(), &surface, 0.1);
        let ends: Vec<[f64; 2]> =
            pieces.iter().map(|feet| [feet[0].point.x, feet[feet.len() - 1].point.x]).collect();
        assert_eq!(ends.len(), 2);
        for (found, exact) in ends.iter().flatten().zip([-10.0, -4.0, 4.0, 10.0]) {
            assert!((found - exact).abs() < 0.11, "{ends:?}");
        }
    }

    /// Length of hatching times its spacing is the area hatched (Cavalieri).
    #[test]
    fn hatching_covers_the_area_and_leaves_holes_free() {
        let covered = |outlines: &[Vec<Point>]| {
            let lines = lines(outlines, Vector::z(), 0.01);
            lines.iter().map(|[a, b]| (b - a).norm()).sum::<f64>() * 0.01
        };
        assert_relative_eq!(covered(&[square(5.0)]), 100.0, epsilon = 0.1);
        assert_relative_eq!(covered(&[square(5.0), square(2.0)]), 84.0, epsilon = 0.1);
    }
}
