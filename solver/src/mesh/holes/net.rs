//! A ring closed by triangles between its own vertices.
//!
//! Liepa, "Filling holes in meshes" (2003), after Barequet & Sharir, "Filling gaps in the boundary of a
//! polyhedron" (1995): of all ways to do it, by dynamic programming the one whose greatest fold between two
//! triangles, those round the hole among them, is least, and of those the one with the least area.

use std::collections::HashSet;

use super::super::{Point, Vector};

/// Rings with more edges are not tried: the work grows with the cube of their number. No source.
pub(in crate::mesh) const MOST_EDGES: usize = 400;

/// How good a way is: cosine of the greatest fold, then area.
#[derive(Clone, Copy)]
struct Weight {
    cosine: f64,
    area: f64,
}

impl Weight {
    const NONE: Self = Self { cosine: 1.0, area: 0.0 };
    const IMPOSSIBLE: Self = Self { cosine: f64::NEG_INFINITY, area: f64::INFINITY };

    fn and(self, other: Self) -> Self {
        Self { cosine: self.cosine.min(other.cosine), area: self.area + other.area }
    }

    fn beats(self, other: Self) -> bool {
        // Folds that differ by rounding alone are the same.
        if (self.cosine - other.cosine).abs() > 1e-9 {
            self.cosine > other.cosine
        } else {
            self.area < other.area
        }
    }
}

/// Triangles for a ring. `corners` are its places, `outer` the unit normal of the face beyond each edge, the first
/// edge between the first two corners; `taken` holds pairs of corners, lower first, that are joined by an edge of the
/// mesh already. Triangles run as the ring does. `None` where every way needs an edge that is taken.
pub(super) fn closed(
    corners: &[Point],
    outer: &[Vector],
    taken: &HashSet<[usize; 2]>,
) -> Option<Vec<[usize; 3]>> {
    let n = corners.len();
    if !(3..=MOST_EDGES).contains(&n) || outer.len() != n {
        return None;
    }
    let at = |i: usize, j: usize| i * n + j;
    let mut best = vec![Weight::NONE; n * n];
    let mut middle = vec![0usize; n * n];
    // Normal of the triangle that was chosen beyond each chord.
    let mut beyond = vec![Vector::zeros(); n * n];
    for i in 0..n {
        beyond[at(i, (i + 1) % n)] = outer[i];
    }
    for span in 2..n {
        for i in 0..n - span {
            let j = i + span;
            let whole = i == 0 && j == n - 1;
            let mut found = Weight::IMPOSSIBLE;
            if whole || !taken.contains(&[i, j]) {
                for m in i + 1..j {
                    let area = (corners[m] - corners[i]).cross(&(corners[j] - corners[i]));
                    let Some(normal) = area.try_normalize(0.0) else { continue };
                    let mut cosine =
                        normal.dot(&beyond[at(i, m)]).min(normal.dot(&beyond[at(m, j)]));
                    if whole {
                        cosine = cosine.min(normal.dot(&outer[n - 1]));
                    }
                    let own = Weight { cosine, area: 0.5 * area.norm() };
                    let weight = own.and(best[at(i, m)]).and(best[at(m, j)]);
                    if weight.beats(found) && weight.area.is_finite() {
                        found = weight;
                        middle[at(i, j)] = m;
                        beyond[at(i, j)] = normal;
                    }
                }
            }
            best[at(i, j)] = found;
        }
    }
    if !best[at(0, n - 1)].area.is_finite() {
        return None;
    }
    let mut triangles = Vec::with_capacity(n - 2);
    let mut stack = vec![(0, n - 1)];
    while let Some((i, j)) = stack.pop() {
        if j - i < 2 {
            continue;
        }
        let m = middle[at(i, j)];
        triangles.push([i, m, j]);
        stack.extend([(i, m), (m, j)]);
    }
    Some(triangles)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_flat_ring_gets_its_area() {
        // An arrowhead in a flat floor: area 6 by the shoelace formula.
        let corners =
            [[0.0, 0.0], [4.0, 2.0], [0.0, 4.0], [1.0, 2.0]].map(|[x, y]| Point::new(x, y, 0.0));
        let found = closed(&corners, &[Vector::z(); 4], &HashSet::new()).expect("closed");
        assert_eq!(found.len(), 2);
        let area: f64 = found
            .iter()
            .map(|t| {
                let [a, b, c] = t.map(|k| corners[k]);
                0.5 * (b - a).cross(&(c - a)).z
            })
            .sum();
        approx::assert_relative_eq!(area, 6.0);
    }

    #[test]
    fn an_edge_that_is_taken_is_not_made_again() {
        let corners =
            [[0.0, 0.0], [2.0, 0.0], [2.0, 1.0], [0.0, 1.0]].map(|[x, y]| Point::new(x, y, 0.0));
        let outer = [Vector::z(); 4];
        let found = closed(&corners, &outer, &HashSet::from([[0, 2]])).expect("the other way");
        assert!(found.iter().all(|t| !(t.contains(&0) && t.contains(&2))));
        assert_eq!(closed(&corners, &outer, &HashSet::from([[0, 2], [1, 3]])), None);
    }
}
