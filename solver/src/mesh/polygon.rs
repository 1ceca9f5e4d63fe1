//! Triangles for a flat polygon with holes, without adding or dropping a vertex.
//!
//! A constrained Delaunay triangulation (the crate spade, exact predicates). Every vertex of the
//! loops is kept, those in the middle of a straight side too: leaving one out would open the mesh
//! there.

use std::collections::VecDeque;

use spade::{ConstrainedDelaunayTriangulation, Point2, Triangulation};

use super::{Point, Vector};

/// Triangulate the region that the loops bound when seen against `normal`; a loop inside another
/// is a hole. Returns triangles of the loops' vertex indices, counter-clockwise about `normal`,
/// or `None` if a loop crosses itself or another, or visits a place twice.
pub(super) fn triangulate(
    loops: &[Vec<u32>],
    positions: &[Point],
    normal: &Vector,
) -> Option<Vec<[u32; 3]>> {
    let names: Vec<u32> = loops.iter().flatten().copied().collect();
    let corners: Vec<Point> = names.iter().map(|&v| positions[v as usize]).collect();
    let points = seen_against(&corners, corners.first()?, normal)?;
    let mut sides = Vec::with_capacity(names.len());
    let mut start = 0;
    for one in loops {
        let count = one.len();
        if count < 3 {
            return None;
        }
        sides.extend((0..count).map(|k| [start + k, start + (k + 1) % count]));
        start += count;
    }
    let net = net_of(points, sides)?;
    // A face is inside if an odd number of sides lies between it and the outside.
    let outer = net.outer_face().fix();
    let mut inside: Vec<Option<bool>> = vec![None; net.num_all_faces()];
    inside[outer.index()] = Some(false);
    let mut queue = VecDeque::new();
    for edge in net.directed_edges() {
        if edge.face().is_outer() {
            queue.push_back(edge.fix());
        }
    }
    while let Some(edge) = queue.pop_front() {
        let edge = net.directed_edge(edge);
        let other = edge.rev().face();
        let slot = other.fix().index();
        if inside[slot].is_some() {
            continue;
        }
        let here = inside[edge.face().fix().index()].unwrap_or(false);
        inside[slot] = Some(here != edge.is_constraint_edge());
        if let Some(face) = other.as_inner() {
            queue.extend(face.adjacent_edges().iter().map(|e| e.fix()));
        }
    }
    let triangles: Vec<[u32; 3]> = net
        .inner_faces()
        .filter(|f| inside[f.fix().index()] == Some(true))
        .map(|f| f.vertices().map(|v| names[v.fix().index()]))
        .collect();
    Some(triangles)
}

/// Points as they are seen against a normal, from an origin; None if the normal has no length.
pub(crate) fn seen_against(
    points: &[Point],
    origin: &Point,
    normal: &Vector,
) -> Option<Vec<Point2<f64>>> {
    let normal = normal.try_normalize(0.0)?;
    let least = if normal.x.abs() < 0.6 { Vector::x() } else { Vector::y() };
    let right = least.cross(&normal).normalize();
    let up = normal.cross(&right);
    let at = |p: &Point| Point2::new((p - origin).dot(&right), (p - origin).dot(&up));
    Some(points.iter().map(at).collect())
}

/// A Delaunay triangulation of points that keeps `sides`, pairs of their indices. None if sides cross, or
/// two points are one.
pub(crate) fn net_of(
    points: Vec<Point2<f64>>,
    sides: Vec<[usize; 2]>,
) -> Option<ConstrainedDelaunayTriangulation<Point2<f64>>> {
    // Told from a list, since the triangulation takes a time that grows with the square of how many are
    // one.
    let key = |p: &Point2<f64>| (p.x + 0.0, p.y + 0.0);
    let mut places: Vec<(f64, f64)> = points.iter().map(key).collect();
    places.sort_unstable_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
    if places.windows(2).any(|pair| pair[0] == pair[1]) {
        return None;
    }
    let (corners, wanted) = (points.len(), sides.len());
    let mut crossed = false;
    let net =
        ConstrainedDelaunayTriangulation::try_bulk_load_cdt(points, sides, |_| crossed = true)
            .ok()?;
    let kept = net.num_vertices() == corners && net.num_constraints() == wanted;
    (kept && !crossed).then_some(net)
}

/// Triangulate one polygon of a file, keeping its direction. `None` if it crosses itself.
pub(super) fn triangulate_ring(ring: &[u32], positions: &[Point]) -> Option<Vec<[u32; 3]>> {
    match *ring {
        [a, b, c] => Some(vec![[a, b, c]]),
        [] | [_] | [_, _] => None,
        _ => {
            let normal = ring_normal(ring, positions);
            let triangles = triangulate(&[ring.to_vec()], positions, &normal)?;
            (triangles.len() == ring.len() - 2).then_some(triangles)
        }
    }
}

/// Normal of a loop by Newell's method; its length is twice the area enclosed, mm^2.
pub(super) fn ring_normal(ring: &[u32], positions: &[Point]) -> Vector {
    let origin = positions[ring[0] as usize];
    (0..ring.len())
        .map(|k| {
            let a = positions[ring[k] as usize] - origin;
            let b = positions[ring[(k + 1) % ring.len()] as usize] - origin;
            a.cross(&b)
        })
        .sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn area(triangles: &[[u32; 3]], positions: &[Point]) -> f64 {
        triangles.iter().map(|t| 0.5 * ring_normal(t, positions).z).sum()
    }

    fn flat(points: &[[f64; 2]]) -> Vec<Point> {
        points.iter().map(|p| Point::new(p[0], p[1], 3.0)).collect()
    }

    #[test]
    fn a_square_with_a_hole_and_an_island() {
        let mut positions = Vec::new();
        let mut loops = Vec::new();
        for half in [10.0, 6.0, 2.0] {
            let start = positions.len() as u32;
            positions.extend(flat(&[[-half, -half], [half, -half], [half, half], [-half, half]]));
            loops.push((start..start + 4).collect::<Vec<u32>>());
        }
        let triangles = triangulate(&loops, &positions, &Vector::z()).expect("simple loops");
        approx::assert_relative_eq!(area(&triangles, &positions), 400.0 - 144.0 + 16.0);
    }

    #[test]
    fn vertices_in_the_middle_of_a_side_are_kept() {
        let positions =
            flat(&[[0.0, 0.0], [1.0, 0.0], [2.0, 0.0], [2.0, 2.0], [1.0, 2.0], [0.0, 2.0]]);
        let ring: Vec<u32> = (0..6).collect();
        let triangles = triangulate_ring(&ring, &positions).expect("simple");
        assert_eq!(triangles.len(), 4);
        approx::assert_relative_eq!(area(&triangles, &positions), 4.0);
        for v in ring {
            assert!(triangles.iter().any(|t| t.contains(&v)));
        }
    }

    #[test]
    fn a_hollow_polygon_keeps_its_shape() {
        // An arrowhead: a fan from the first corner would cover the notch.
        let positions = flat(&[[0.0, 0.0], [4.0, 2.0], [0.0, 4.0], [1.0, 2.0]]);
        let triangles = triangulate_ring(&[0, 1, 2, 3], &positions).expect("simple");
        approx::assert_relative_eq!(area(&triangles, &positions), 6.0);
        let turned = triangulate_ring(&[3, 2, 1, 0], &positions).expect("simple");
        approx::assert_relative_eq!(area(&turned, &positions), -6.0);
    }

    #[test]
    fn a_bow_tie_is_refused() {
        let positions = flat(&[[0.0, 0.0], [1.0, 1.0], [1.0, 0.0], [0.0, 1.0]]);
        assert_eq!(triangulate(&[vec![0, 1, 2, 3]], &positions, &Vector::z()), None);
    }
}
