//! A disc of even triangles on a rim of given points.
//!
//! The rim is laid flat, seen against its vector area or, where it crosses itself so, round a circle, and
//! filled by Delaunay refinement (the crate spade). Points inside get the harmonic map's places in space, with the
//! cotangent weights of Pinkall, U. & Polthier, K. (1993), "Computing discrete minimal surfaces and their
//! conjugates", Experimental Mathematics 2(1) (from memory): a plane rim gets a plane disc, any other one
//! close to the least.

use std::collections::HashMap;
use std::f64::consts::TAU;

use spade::{
    AngleLimit, ConstrainedDelaunayTriangulation, Point2, RefinementParameters, Triangulation,
};

use super::disc::{centroid, vector_area};
use crate::mesh::{Point, Vector, polyline_length};

/// Area of a triangle over the square of the edge asked for, at most: an even one has 0.43.
const LARGEST: f64 = 0.6;
/// Least angle asked for, degrees.
const LEAST_ANGLE: f64 = 22.0;
/// Sweeps of relaxation over the points inside.
const SWEEPS: usize = 400;

/// A disc: its first points are those of the rim.
pub(super) struct Cap {
    /// Points of the rim, in order, then those inside.
    pub points: Vec<Point>,
    /// Triangles that run with the rim. None has more than two corners on it, and none but the rim's
    /// own edges joins two points of it.
    pub faces: Vec<[u32; 3]>,
}

/// A disc laid flat.
struct Flat {
    /// Points of the rim, then those inside.
    points: Vec<Point2<f64>>,
    faces: Vec<[u32; 3]>,
}

/// A disc on a closed rim with edges of about `edge` mm inside. None where the rim cannot be laid flat.
pub(super) fn cap(rim: &[Point], edge: f64) -> Option<Cap> {
    let mut flat = refined(&seen(rim)?, edge).or_else(|| refined(&round(rim), edge))?;
    flat.split_chords(rim.len());
    Some(Cap { points: flat.lifted(rim), faces: flat.faces })
}

/// The rim as it is seen against its vector area.
fn seen(rim: &[Point]) -> Option<Vec<Point2<f64>>> {
    let normal = vector_area(rim).try_normalize(0.0)?;
    let least = if normal.x.abs() < 0.6 { Vector::x() } else { Vector::y() };
    let right = least.cross(&normal).normalize();
    let up = normal.cross(&right);
    let middle = centroid(rim);
    let at = |p: &Point| Point2::new((p - middle).dot(&right), (p - middle).dot(&up));
    Some(rim.iter().map(at).collect())
}

/// The rim laid round a circle of the same length.
fn round(rim: &[Point]) -> Vec<Point2<f64>> {
    let closed: Vec<Point> = rim.iter().chain(rim.first()).copied().collect();
    let whole = polyline_length(&closed);
    let radius = whole / TAU;
    let mut run = 0.0;
    closed
        .windows(2)
        .map(|pair| {
            let turn = TAU * run / whole;
            run += (pair[1] - pair[0]).norm();
            Point2::new(radius * turn.cos(), radius * turn.sin())
        })
        .collect()
}

/// Triangles in a flat rim, with points inside. None where the rim crosses or touches itself.
fn refined(rim: &[Point2<f64>], edge: f64) -> Option<Flat> {
    let count = rim.len();
    let sides = (0..count).map(|k| [k, (k + 1) % count]).collect();
    let mut crossed = false;
    let mut net: ConstrainedDelaunayTriangulation<Point2<f64>> =
        ConstrainedDelaunayTriangulation::try_bulk_load_cdt(rim.to_vec(), sides, |_| {
            crossed = true;
        })
        .ok()?;
    if crossed || net.num_vertices() != count || net.num_constraints() != count {
        return None;
    }
    let area: f64 = (0..count)
        .map(|k| {
            let (p, q) = (rim[k], rim[(k + 1) % count]);
            0.5 * (p.x * q.y - q.x * p.y)
        })
        .sum();
    let parameters = RefinementParameters::new()
        .with_angle_limit(AngleLimit::from_deg(LEAST_ANGLE))
        .with_max_allowed_area(LARGEST * edge * edge)
        .with_max_additional_vertices(count + (4.0 * area.abs() / (edge * edge)) as usize)
        .keep_constraint_edges()
        .exclude_outer_faces(true);
    let outside: Vec<usize> =
        net.refine(parameters).excluded_faces.iter().map(|f| f.index()).collect();
    let points = net.vertices().map(|v| v.position()).collect();
    let faces = net
        .inner_faces()
        .filter(|f| !outside.contains(&f.fix().index()))
        .map(|f| f.vertices().map(|v| v.fix().index() as u32))
        // Triangles come counter-clockwise; the rim may not.
        .map(|[a, b, c]| if area > 0.0 { [a, b, c] } else { [a, c, b] })
        .collect();
    Some(Flat { points, faces })
}

impl Flat {
    /// Part every edge inside that joins two points of the rim, and a triangle that has all its corners there: on
    /// the skin the same two points may be joined already.
    fn split_chords(&mut self, rim: usize) {
        let Self { points: flat, faces } = self;
        let on_rim = |v: u32| (v as usize) < rim;
        let is_side = |a: u32, b: u32| {
            let apart = a.abs_diff(b) as usize;
            apart == 1 || apart == rim - 1
        };
        let chord = |faces: &[[u32; 3]]| {
            let edges = faces.iter().flat_map(|&[a, b, c]| [[a, b], [b, c], [c, a]]);
            edges.into_iter().find(|&[a, b]| on_rim(a) && on_rim(b) && !is_side(a, b))
        };
        while let Some([a, b]) = chord(faces) {
            let (p, q) = (flat[a as usize], flat[b as usize]);
            let middle = flat.len() as u32;
            flat.push(Point2::new(0.5 * (p.x + q.x), 0.5 * (p.y + q.y)));
            let (with, without): (Vec<[u32; 3]>, Vec<[u32; 3]>) =
                faces.iter().partition(|f| f.contains(&a) && f.contains(&b));
            *faces = without;
            for face in with {
                let put = |old: u32| face.map(|v| if v == old { middle } else { v });
                faces.extend([put(a), put(b)]);
            }
        }
        if let Some(at) = faces.iter().position(|f| f.iter().all(|&v| on_rim(v))) {
            let [a, b, c] = faces.swap_remove(at);
            let [p, q, r] = [a, b, c].map(|v| flat[v as usize]);
            let middle = flat.len() as u32;
            flat.push(Point2::new((p.x + q.x + r.x) / 3.0, (p.y + q.y + r.y) / 3.0));
            faces.extend([[a, b, middle], [b, c, middle], [c, a, middle]]);
        }
    }

    /// Places in space of all points: those of the rim as they are, those inside by the harmonic map.
    fn lifted(&self, rim: &[Point]) -> Vec<Point> {
        let Self { points: flat, faces } = self;
        let mut weights: HashMap<[u32; 2], f64> = HashMap::new();
        for face in faces {
            for k in 0..3 {
                let [a, b, c] = [face[k], face[(k + 1) % 3], face[(k + 2) % 3]];
                let [p, q, r] = [a, b, c].map(|v| flat[v as usize]);
                let (s, t) = ((p.x - r.x, p.y - r.y), (q.x - r.x, q.y - r.y));
                let cotangent = (s.0 * t.0 + s.1 * t.1) / (s.0 * t.1 - s.1 * t.0).abs().max(1e-12);
                *weights.entry([a.min(b), a.max(b)]).or_default() += 0.5 * cotangent;
            }
        }
        let mut near: Vec<Vec<(u32, f64)>> = vec![Vec::new(); flat.len()];
        for ([a, b], weight) in weights {
            near[a as usize].push((b, weight.max(1e-3)));
            near[b as usize].push((a, weight.max(1e-3)));
        }
        // Sums in one order, whatever the map's.
        near.iter_mut().for_each(|own| own.sort_by_key(|(v, _)| *v));
        let middle = centroid(rim);
        let mut points = rim.to_vec();
        points.resize(flat.len(), middle);
        for _ in 0..SWEEPS {
            for v in rim.len()..flat.len() {
                let (sum, whole) =
                    near[v].iter().fold((Vector::zeros(), 0.0), |(sum, whole), n| {
                        (sum + points[n.0 as usize].coords * n.1, whole + n.1)
                    });
                if whole > 0.0 {
                    points[v] = Point::from(sum / whole);
                }
            }
        }
        points
    }
}

#[cfg(test)]
mod tests;
