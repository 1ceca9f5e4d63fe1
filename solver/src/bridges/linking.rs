//! Linking numbers of closed polygons, and loops pushed into the model.

use nalgebra::center;

use crate::mesh::{FaceId, Point, Topology, TriangleMesh};

/// How far loops are pushed into the model, as a part of the mean edge. It only has to be less
/// than the model's thickness there, and large against rounding.
const PUSH: f64 = 1e-3;

/// Gauss's linking number of two closed polygons that do not touch.
///
/// Each pair of segments adds the signed solid angle it fills; written with two arctangents as in
/// Arai, Z. (2013), "A rigorous numerical algorithm for computing the linking number of links",
/// NOLTA 4(1) (from memory).
pub(super) fn linking_number(a: &[Point], b: &[Point]) -> f64 {
    (0..a.len()).map(|i| segment_linking(a[i], a[(i + 1) % a.len()], b)).sum()
}

/// What the segment from `p` to `q` adds to the linking number with a closed polygon.
pub(super) fn segment_linking(p: Point, q: Point, polygon: &[Point]) -> f64 {
    let Some(&last) = polygon.last() else { return 0.0 };
    let mut sum = 0.0;
    let mut a = last - p;
    let mut b = last - q;
    let (mut length_a, mut length_b) = (a.norm(), b.norm());
    for &next in polygon {
        let (d, c) = (next - p, next - q);
        let (length_d, length_c) = (d.norm(), c.norm());
        let first = (a.dot(&b.cross(&c))).atan2(
            length_a * length_b * length_c
                + a.dot(&b) * length_c
                + c.dot(&a) * length_b
                + b.dot(&c) * length_a,
        );
        let second = (c.dot(&d.cross(&a))).atan2(
            length_a * length_c * length_d
                + a.dot(&c) * length_d
                + d.dot(&a) * length_c
                + c.dot(&d) * length_a,
        );
        sum += first + second;
        (a, b, length_a, length_b) = (d, c, length_d, length_c);
    }
    sum / std::f64::consts::TAU
}

/// Mean edge length, mm.
pub(super) fn mean_edge(mesh: &TriangleMesh, topology: &Topology) -> f64 {
    let sum: f64 = topology
        .edge_vertices
        .iter()
        .map(|&[a, b]| (mesh.positions[a as usize] - mesh.positions[b as usize]).norm())
        .sum();
    sum / topology.edge_count().max(1) as f64
}

/// A strip of faces as a polygon just inside the model: through the middle of each face and of
/// each edge that it crosses. Both ends of each piece lie below the face that it runs under, so
/// the polygon stays inside however sharp the edges are.
pub(super) fn pushed_in(
    mesh: &TriangleMesh,
    topology: &Topology,
    strip: &[(u32, u32)],
) -> Vec<Point> {
    let depth = PUSH * mean_edge(mesh, topology);
    let unit = |face: u32| mesh.area_vector(FaceId(face)).try_normalize(0.0).unwrap_or_default();
    let mut polygon = Vec::with_capacity(2 * strip.len());
    for &(face, edge) in strip {
        polygon.push(mesh.face_middle(FaceId(face)) - unit(face) * depth);
        let [p, q] = topology.edge_vertices[edge as usize].map(|v| mesh.positions[v as usize]);
        let [left, right] = topology.edge_faces[edge as usize];
        let across = (unit(left) + unit(right)).try_normalize(1e-12).unwrap_or(unit(face));
        polygon.push(center(&p, &q) - across * depth);
    }
    polygon
}

#[cfg(test)]
mod tests {
    use std::f64::consts::TAU;

    use super::*;

    fn curve(n: usize, at: impl Fn(f64) -> [f64; 3]) -> Vec<Point> {
        (0..n).map(|i| Point::from(at(TAU * i as f64 / n as f64))).collect()
    }

    /// Hopf link 1, torus link T(2, 4) 2, split circles 0, Whitehead link 0 (knot tables, from
    /// memory).
    #[test]
    fn known_links() {
        let circle = curve(40, |t| [t.cos(), t.sin(), 0.0]);
        let ring = curve(33, |t| [1.0 + t.cos(), 0.0, t.sin()]);
        let far = curve(33, |t| [3.5 + t.cos(), 0.0, t.sin()]);
        let turns = |phase: f64| {
            curve(120, move |t| {
                let s = 2.0 * t + phase;
                [(2.0 + 0.5 * s.cos()) * t.cos(), (2.0 + 0.5 * s.cos()) * t.sin(), 0.5 * s.sin()]
            })
        };
        assert!((linking_number(&circle, &ring).abs() - 1.0).abs() < 1e-9);
        assert!(linking_number(&circle, &far).abs() < 1e-9);
        let twice = linking_number(&turns(0.0), &turns(std::f64::consts::PI));
        assert!((twice.abs() - 2.0).abs() < 1e-9, "{twice}");
        let reversed: Vec<Point> = ring.iter().rev().copied().collect();
        let sum = linking_number(&circle, &ring) + linking_number(&circle, &reversed);
        assert!(sum.abs() < 1e-9);
    }
}
