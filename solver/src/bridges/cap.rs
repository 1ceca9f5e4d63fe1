//! A disc of even triangles on a rim of given points.
//!
//! The rim is laid flat, seen against its vector area or, where it crosses itself so, round a circle, and
//! filled by Delaunay refinement (the crate spade). Points inside get the harmonic map's places in space, with the
//! cotangent weights of Pinkall, U. & Polthier, K. (1993), "Computing discrete minimal surfaces and their
//! conjugates", Experimental Mathematics 2(1) (from memory): a plane rim gets a plane disc, any other one
//! close to the least.

use std::f64::consts::TAU;

use spade::{AngleLimit, Point2, RefinementParameters, Triangulation};

use super::disc::{centroid, links, mean_of_neighbours, vector_area};
use crate::mesh::polygon::{net_of, seen_against};
use crate::mesh::{Point, TriangleMesh, polyline_length};

/// Area of a triangle over the square of the edge asked for, at most: an even one has 0.43.
const LARGEST: f64 = 0.6;
/// Least angle asked for, degrees.
const LEAST_ANGLE: f64 = 22.0;
/// Sweeps of relaxation over the points inside.
const SWEEPS: usize = 400;
/// Least weight of a link: a greater angle than a right one on either side would push points out.
const LEAST_WEIGHT: f64 = 1e-3;

/// A disc on a closed rim with edges of about `edge` mm inside. None where the rim cannot be laid flat.
///
/// Its first points are those of the rim, and its triangles run with it. None has more than two corners on
/// the rim, and no edges but the rim's own join two points of it.
pub(super) fn cap(rim: &[Point], edge: f64) -> Option<TriangleMesh> {
    let seen = seen_against(rim, &centroid(rim), &vector_area(rim))?;
    let mut flat = refined(seen, edge).or_else(|| refined(round(rim), edge))?;
    split_chords(&mut flat, rim.len());
    Some(TriangleMesh { positions: lifted(&flat, rim), faces: flat.faces })
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

/// Triangles in a flat rim, with points inside, at height 0. None where the rim crosses or touches itself.
fn refined(rim: Vec<Point2<f64>>, edge: f64) -> Option<TriangleMesh> {
    let count = rim.len();
    let sides: Vec<[usize; 2]> = (0..count).map(|k| [k, (k + 1) % count]).collect();
    let area: f64 = sides
        .iter()
        .map(|&[k, next]| 0.5 * (rim[k].x * rim[next].y - rim[next].x * rim[k].y))
        .sum();
    let mut net = net_of(rim, sides)?;
    let parameters = RefinementParameters::new()
        .with_angle_limit(AngleLimit::from_deg(LEAST_ANGLE))
        .with_max_allowed_area(LARGEST * edge * edge)
        .with_max_additional_vertices(count + (4.0 * area.abs() / (edge * edge)) as usize)
        .keep_constraint_edges()
        .exclude_outer_faces(true);
    let outside: Vec<usize> =
        net.refine(parameters).excluded_faces.iter().map(|f| f.index()).collect();
    let positions = net.vertices().map(|v| Point::new(v.position().x, v.position().y, 0.0));
    let faces = net
        .inner_faces()
        .filter(|f| !outside.contains(&f.fix().index()))
        .map(|f| f.vertices().map(|v| v.fix().index() as u32))
        // Triangles come counter-clockwise; the rim may not.
        .map(|[a, b, c]| if area > 0.0 { [a, b, c] } else { [a, c, b] });
    Some(TriangleMesh { positions: positions.collect(), faces: faces.collect() })
}

/// Part every edge inside that joins two points of the rim, and a triangle that has all its corners there: on
/// the skin the same two points may be joined already.
fn split_chords(flat: &mut TriangleMesh, rim: usize) {
    let TriangleMesh { positions, faces } = flat;
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
        let middle = positions.len() as u32;
        positions.push(nalgebra::center(&positions[a as usize], &positions[b as usize]));
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
        let middle = positions.len() as u32;
        let [p, q, r] = [a, b, c].map(|v| positions[v as usize].coords);
        positions.push(Point::from((p + q + r) / 3.0));
        faces.extend([[a, b, middle], [b, c, middle], [c, a, middle]]);
    }
}

/// Places in space of all points: those of the rim as they are, those inside by the harmonic map.
fn lifted(flat: &TriangleMesh, rim: &[Point]) -> Vec<Point> {
    let (links_of, links) = links(flat);
    let weights: Vec<f64> = links
        .iter()
        .map(|link| (0.5 * link.cotangents(&flat.positions)).max(LEAST_WEIGHT))
        .collect();
    let mut points = rim.to_vec();
    points.resize(flat.positions.len(), centroid(rim));
    for _ in 0..SWEEPS {
        for (v, own) in links_of.iter().enumerate().skip(rim.len()) {
            if !own.is_empty() {
                points[v] = mean_of_neighbours(v, own, &links, &weights, &points);
            }
        }
    }
    points
}

#[cfg(test)]
mod tests;
