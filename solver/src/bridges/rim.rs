//! From a walk along mesh edges to a rim in space: straightened on the surface, closed by the
//! board, lifted off the model.

use nalgebra::center;

use crate::mesh::{Point, Vector, polyline_length};

use super::disc::Rim;
use super::solid::Solid;

/// Rounds of smoothing: enough to level zig-zag over several edges, too few to wander off.
const ROUNDS: usize = 60;
/// Pieces that each piece of a straightened path is cut in to lie on the surface.
const PARTS: usize = 6;

/// A path on the surface without the zig-zag of mesh edges: evenly spaced points, each drawn
/// to the middle of its neighbours and put back on the surface. The ends of an open path stay.
pub(super) fn straightened(
    solid: &Solid<'_>,
    path: &[Point],
    closed: bool,
    spacing: f64,
) -> Vec<Point> {
    let pieces = ((length(path, closed) / spacing).round() as usize).max(24);
    let mut points = resampled(path, closed, pieces);
    let n = points.len();
    let mut normals: Vec<Vector> = points.iter().map(|&p| solid.nearest(p).normal).collect();
    for round in 0..ROUNDS {
        let moved: Vec<(Point, Vector)> = (0..n)
            .map(|i| {
                if !closed && (i == 0 || i + 1 == n) {
                    return (points[i], normals[i]);
                }
                let (before, after) = (points[(i + n - 1) % n], points[(i + 1) % n]);
                let target = center(&points[i], &center(&before, &after));
                let nearest = solid.nearest(target);
                // A jump through a thin wall would land on a face that looks the other way.
                if nearest.normal.dot(&normals[i]) < -0.3 {
                    (points[i], normals[i])
                } else {
                    (nearest.point, nearest.normal)
                }
            })
            .collect();
        for (i, (point, normal)) in moved.into_iter().enumerate() {
            points[i] = point;
            normals[i] = normal;
        }
        if round % 20 == 19 {
            points = resampled(&points, closed, pieces);
            for (point, normal) in points.iter_mut().zip(&mut normals) {
                let nearest = solid.nearest(*point);
                *normal = nearest.normal;
            }
        }
    }
    points
}

/// The path with every piece cut in [`PARTS`] and put back on the surface, so that it follows
/// corners that the pieces cut off.
pub(super) fn laid_on(solid: &Solid<'_>, path: &[Point], closed: bool) -> Vec<Point> {
    let segments = if closed { path.len() } else { path.len() - 1 };
    let mut points = Vec::with_capacity(segments * PARTS + 1);
    for i in 0..segments {
        let (a, b) = (path[i], path[(i + 1) % path.len()]);
        points.push(a);
        points.extend(
            (1..PARTS).map(|part| solid.nearest(a + (b - a) * (part as f64 / PARTS as f64)).point),
        );
    }
    if !closed {
        points.push(path[path.len() - 1]);
    }
    points
}

/// Length of a path, mm.
pub(super) fn length(points: &[Point], closed: bool) -> f64 {
    let open = polyline_length(points);
    match (closed, points.first(), points.last()) {
        (true, Some(first), Some(last)) => open + (first - last).norm(),
        _ => open,
    }
}

/// The same path cut into even pieces; an open path keeps its ends.
fn resampled(path: &[Point], closed: bool, pieces: usize) -> Vec<Point> {
    let total = length(path, closed);
    let mut points = Vec::with_capacity(pieces + 1);
    let corner = |i: usize| path[i % path.len()];
    let segments = if closed { path.len() } else { path.len() - 1 };
    let (mut segment, mut walked) = (0, 0.0);
    for piece in 0..pieces {
        let target = total * piece as f64 / pieces as f64;
        while segment + 1 < segments
            && walked + (corner(segment + 1) - corner(segment)).norm() < target
        {
            walked += (corner(segment + 1) - corner(segment)).norm();
            segment += 1;
        }
        let (a, b) = (corner(segment), corner(segment + 1));
        let part = ((target - walked) / (b - a).norm().max(1e-12)).clamp(0.0, 1.0);
        points.push(a + (b - a) * part);
    }
    if !closed {
        points.push(corner(path.len() - 1));
    }
    points
}

/// A rim for discs: the path, each point lifted along its normal, closed along the board where it
/// is open.
pub(super) fn rim(
    path: &[Point],
    normals: &[Vector],
    closed: bool,
    board: Option<(Point, Vector)>,
    clearance: f64,
) -> Rim {
    // A disc needs a few points to be drawn taut well.
    let parts = 32usize.div_ceil(path.len().max(1));
    let mut points = Vec::new();
    let above = |p: Point| match board {
        Some((origin, up)) => p + up * (clearance - (p - origin).dot(&up)).max(0.0),
        None => p,
    };
    let lifted: Vec<Point> =
        path.iter().zip(normals).map(|(p, n)| above(p + n * clearance)).collect();
    let segments = if closed { lifted.len() } else { lifted.len() - 1 };
    for segment in 0..segments {
        let (a, b) = (lifted[segment], lifted[(segment + 1) % lifted.len()]);
        for part in 0..parts {
            points.push(a + (b - a) * (part as f64 / parts as f64));
        }
    }
    let mut on_board = vec![false; points.len()];
    if !closed {
        let (last, first) = (lifted[lifted.len() - 1], lifted[0]);
        points.push(last);
        on_board.push(false);
        let spacing = length(&points, false) / points.len() as f64;
        let pieces = (((first - last).norm() / spacing).ceil() as usize).max(2);
        for piece in 1..pieces {
            let p = last + (first - last) * (piece as f64 / pieces as f64);
            points.push(match board {
                Some((origin, up)) => p + up * (clearance - (p - origin).dot(&up)),
                None => p,
            });
            on_board.push(board.is_some());
        }
    }
    Rim { points, on_board }
}
