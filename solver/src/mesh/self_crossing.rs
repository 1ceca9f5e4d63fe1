//! Faces that pass through each other.
//!
//! Candidates come from parry3d's bounding volume hierarchy; whether two faces cross is decided
//! with exact signs (Shewchuk, "Adaptive precision floating-point arithmetic and fast robust
//! geometric predicates", 1997, by the crate robust). Faces that only touch along a shared corner
//! or edge do not cross; neighbours that fold through or onto each other do.

use std::sync::atomic::{AtomicU64, Ordering};

use rayon::prelude::*;
use robust::{Coord, Coord3D, orient2d, orient3d};

use super::{FaceId, Point, SurfaceLocator, TriangleMesh};
use crate::control::{Cancel, Cancelled};

/// Extent of self-crossing.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct SelfCrossings {
    /// Pairs of faces that cross.
    pub pairs: usize,
    /// Faces that cross at least one other.
    pub faces: usize,
    /// Middle of the first such face, mm.
    pub first_place: Option<Point>,
}

/// The faces are so long and thin that too many of them lie near each other for all pairs to be looked at.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TooNear {
    /// Pairs that may be looked at in a mesh of so many faces.
    pub most: u64,
    /// Middle of a face with too many others near it, mm.
    pub place: Point,
}

/// Pairs that may be looked at: some for each face, and so many besides. Scans have some ten for each face;
/// in a comb of 16,000 teeth they all lie near each other.
const PAIRS: (u64, u64) = (100, 20_000_000);

/// Faces that are looked at between two looks at whether anybody still waits.
const BETWEEN_LOOKS: u32 = 16_384;

/// Count the faces that cross. `locator` is the mesh's own.
pub fn self_crossings(
    mesh: &TriangleMesh,
    locator: &SurfaceLocator,
    cancel: &Cancel,
) -> Result<Result<SelfCrossings, TooNear>, Cancelled> {
    let pairs = match crossing_pairs(mesh, locator, cancel)? {
        Ok(pairs) => pairs,
        Err(near) => return Ok(Err(near)),
    };
    let mut faces: Vec<u32> = pairs.iter().flatten().copied().collect();
    faces.sort_unstable();
    faces.dedup();
    let first_place = faces.first().map(|&f| mesh.face_middle(FaceId(f)));
    Ok(Ok(SelfCrossings { pairs: pairs.len(), faces: faces.len(), first_place }))
}

/// All pairs of faces that cross, lower index first, in order.
pub(super) fn crossing_pairs(
    mesh: &TriangleMesh,
    locator: &SurfaceLocator,
    cancel: &Cancel,
) -> Result<Result<Vec<[u32; 2]>, TooNear>, Cancelled> {
    let most = PAIRS.0 * mesh.faces.len() as u64 + PAIRS.1;
    crossing_pairs_among(mesh, locator, most, cancel)
}

/// Whether any face from `first` on crosses another one; `None` if there are too many to look at.
pub(super) fn any_crosses(
    mesh: &TriangleMesh,
    locator: &SurfaceLocator,
    first: u32,
) -> Option<bool> {
    let mut looked_at = 0;
    for f in first..mesh.faces.len() as u32 {
        let [a, b, c] = mesh.corners(FaceId(f));
        let near = locator.faces_near(&a.inf(&b).inf(&c), &a.sup(&b).sup(&c));
        looked_at += near.len() as u64;
        if looked_at > PAIRS.1 {
            return None;
        }
        if near.into_iter().any(|g| g != f && faces_cross(mesh, f.min(g), f.max(g))) {
            return Some(true);
        }
    }
    Some(false)
}

fn crossing_pairs_among(
    mesh: &TriangleMesh,
    locator: &SurfaceLocator,
    most: u64,
    cancel: &Cancel,
) -> Result<Result<Vec<[u32; 2]>, TooNear>, Cancelled> {
    let looked_at = AtomicU64::new(0);
    let of = |f: u32| {
        let [a, b, c] = mesh.corners(FaceId(f));
        let (low, high) = (a.inf(&b).inf(&c), a.sup(&b).sup(&c));
        let mut near = locator.faces_near(&low, &high);
        near.retain(|&g| g > f);
        let pairs = near.len() as u64;
        if looked_at.fetch_add(pairs, Ordering::Relaxed) + pairs > most {
            return Err(TooNear { most, place: mesh.face_middle(FaceId(f)) });
        }
        near.retain(|&g| faces_cross(mesh, f, g));
        near.sort_unstable();
        Ok(near.into_iter().map(|g| [f, g]).collect::<Vec<_>>())
    };
    let mut found = Vec::new();
    let count = mesh.faces.len() as u32;
    for first in (0..count).step_by(BETWEEN_LOOKS as usize) {
        cancel.check()?;
        let some = first..count.min(first + BETWEEN_LOOKS);
        match some.into_par_iter().map(of).collect::<Result<Vec<Vec<_>>, _>>() {
            Ok(pairs) => found.extend(pairs.into_iter().flatten()),
            Err(near) => return Ok(Err(near)),
        }
    }
    Ok(Ok(found))
}

fn exact(p: &Point) -> Coord3D<f64> {
    Coord3D { x: p.x, y: p.y, z: p.z }
}

fn side(a: &Point, b: &Point, c: &Point, d: &Point) -> f64 {
    orient3d(exact(a), exact(b), exact(c), exact(d))
}

fn faces_cross(mesh: &TriangleMesh, f: u32, g: u32) -> bool {
    let (p, q) = (mesh.corners(FaceId(f)), mesh.corners(FaceId(g)));
    // Corners in the same place count as shared, welded or not.
    let p_own: Vec<usize> = (0..3).filter(|&k| !q.contains(&p[k])).collect();
    let q_own: Vec<usize> = (0..3).filter(|&k| !p.contains(&q[k])).collect();
    // A shared corner lies in the other's plane by definition: asking the exact predicate would
    // take its slowest way to the same answer.
    if q_own.iter().all(|&k| side(&p[0], &p[1], &p[2], &q[k]) == 0.0) {
        return flat_overlap(&p, &q);
    }
    if q_own.len() == 1 {
        // Two planes that meet in the shared edge meet nowhere else.
        return false;
    }
    // An edge with a shared corner meets the other face's plane there and nowhere else.
    edges_between(&q, &q_own).any(|[a, b]| segment_crosses(&a, &b, &p))
        || edges_between(&p, &p_own).any(|[a, b]| segment_crosses(&a, &b, &q))
}

/// Edges of a triangle both of whose ends are among the corners given.
fn edges_between<'a>(
    triangle: &'a [Point; 3],
    own: &'a [usize],
) -> impl Iterator<Item = [Point; 2]> + 'a {
    (0..3)
        .map(|k| [k, (k + 1) % 3])
        .filter(|e| e.iter().all(|k| own.contains(k)))
        .map(|[j, k]| [triangle[j], triangle[k]])
}

/// Whether a segment passes from one side of a triangle to the other through it.
fn segment_crosses(a: &Point, b: &Point, t: &[Point; 3]) -> bool {
    let (from, to) = (side(&t[0], &t[1], &t[2], a), side(&t[0], &t[1], &t[2], b));
    if from == 0.0 || to == 0.0 || (from > 0.0) == (to > 0.0) {
        return false;
    }
    let turns = [side(a, b, &t[0], &t[1]), side(a, b, &t[1], &t[2]), side(a, b, &t[2], &t[0])];
    turns.iter().all(|s| *s >= 0.0) || turns.iter().all(|s| *s <= 0.0)
}

/// Whether two triangles of one plane share more than their rims: no side of either has the other
/// one wholly on its far side.
fn flat_overlap(p: &[Point; 3], q: &[Point; 3]) -> bool {
    let normal = (p[1] - p[0]).cross(&(p[2] - p[0]));
    if normal.norm_squared() == 0.0 {
        return false;
    }
    let drop = normal.iamax();
    let flat = |x: &Point| Coord { x: x[(drop + 1) % 3], y: x[(drop + 2) % 3] };
    let (p, q) = ([0, 1, 2].map(|k| flat(&p[k])), [0, 1, 2].map(|k| flat(&q[k])));
    let turn = |t: &[Coord<f64>; 3]| orient2d(t[0], t[1], t[2]);
    if turn(&p) == 0.0 || turn(&q) == 0.0 {
        return false;
    }
    let parted = |t: &[Coord<f64>; 3], other: &[Coord<f64>; 3]| {
        let inward = turn(t).signum();
        (0..3).any(|k| other.iter().all(|x| orient2d(t[k], t[(k + 1) % 3], *x) * inward <= 0.0))
    };
    !parted(&p, &q) && !parted(&q, &p)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mesh::fixtures::icosphere;

    #[test]
    fn more_pairs_than_may_be_looked_at_are_refused() {
        let ball = icosphere(10.0, 2);
        let locator = SurfaceLocator::new(&ball).expect("sound");
        let pairs = |most| {
            let cancel = Cancel::new();
            crossing_pairs_among(&ball, &locator, most, &cancel).expect("not cancelled")
        };
        let enough = 100 * ball.faces.len() as u64;
        assert_eq!(pairs(enough), Ok(Vec::new()));
        let refused = pairs(100).expect_err("too many");
        assert_eq!(refused.most, 100);
        assert!(refused.place.coords.norm() < 10.0);
    }
}
