//! A few faces that pass through each other, cut out with those round them, and the hole filled: the rest of the
//! mesh stays as it is. After Attene, "A lightweight approach to repairing digitized polygon meshes" (2010).

use std::collections::{BTreeMap, HashSet};

use super::check::{EdgeTally, at, bodies, euler_of_closed, pinched_vertices};
use super::holes::{Filled, MOST_EDGES, fill, rims};
use super::mended::{MendKind, Mends, corners_of};
use super::rebuild::{WindingNumbers, bounds_solid, looks};
use super::self_crossing::any_crosses;
use super::{FaceId, Point, SurfaceLocator, TriangleMesh};
use crate::control::{Cancel, Cancelled};
use crate::union_find::UnionFind;

/// Rings of faces that go with those that cross, at most.
const RINGS: usize = 4;
/// Places with faces that cross that are looked at, at most: with more of them the mesh is better made anew. No source.
const PLACES: usize = 100;
/// Places times faces of the mesh, at most: some ten seconds of work on each million. No source.
const MOST_WORK: usize = 4_000_000;

/// A mesh after the cuts, with the sentence that tells them.
pub(super) struct CutOut {
    pub mesh: TriangleMesh,
    pub done: String,
    pub mends: Mends,
}

/// What cutting out one place came to.
struct Place {
    mesh: TriangleMesh,
    gone: usize,
    filled: Vec<Filled>,
    /// How far the surface moved, mm.
    off: f64,
}

/// What is asked of the mesh as it was.
struct Before<'a> {
    mesh: &'a TriangleMesh,
    locator: SurfaceLocator,
    winding: WindingNumbers,
    euler: i64,
    bodies: usize,
    deviation: f64,
}

/// Cut out the faces that cross, place by place, and fill the holes, so that nothing crosses there any more, nothing that
/// bounded the solid is farther than `deviation` mm from the new surface, nor that from where the surface was, and
/// handles and bodies are as many as before. `None` where that cannot be done at every place. The mesh must be closed and
/// oriented.
pub(super) fn cut_out(
    mesh: &TriangleMesh,
    crossing: &[[u32; 2]],
    deviation: f64,
    cancel: &Cancel,
) -> Result<Option<CutOut>, Cancelled> {
    let Ok(locator) = SurfaceLocator::new(mesh) else { return Ok(None) };
    let places = places(mesh, crossing);
    if places.len() > PLACES || places.len() * mesh.faces.len() > MOST_WORK {
        return Ok(None);
    }
    let before = Before {
        mesh,
        locator,
        winding: WindingNumbers::new(mesh),
        euler: euler_of_closed(mesh),
        bodies: bodies(mesh).1.len(),
        deviation,
    };
    let (mut gone, mut faces, mut widest, mut off) = (0, 0, 0.0f64, 0.0f64);
    let mut now = mesh.clone();
    let mut mends = Mends::default();
    let first = mesh.face_middle(FaceId(crossing[0][0]));
    for seeds in &places {
        cancel.check()?;
        // Corners keep their numbers; faces do not.
        let seeds: HashSet<[u32; 3]> = seeds.iter().map(|f| mesh.faces[*f as usize]).collect();
        let Some(place) = before.cut_place(&now, &seeds) else { return Ok(None) };
        gone += place.gone;
        faces += place.filled.iter().map(|f| f.faces).sum::<usize>();
        widest = place.filled.iter().map(|f| f.diameter).fold(widest, f64::max);
        off = off.max(place.off);
        // The patches lie at the end.
        let new: usize = place.filled.iter().map(|f| f.faces).sum();
        let faces = place.mesh.faces.len() - new..place.mesh.faces.len();
        if let Some(widest) = place.filled.iter().max_by(|a, b| a.diameter.total_cmp(&b.diameter)) {
            let faces = corners_of(&place.mesh, faces);
            mends.push(MendKind::CutOut, widest.place, place.off, faces);
        }
        now = place.mesh;
    }
    Ok(Some(CutOut {
        mesh: now,
        mends,
        done: format!(
            "cut out {gone} faces at {} where the surface passed through itself, the first near {}, and filled the holes with {faces} faces: the largest was {widest:.1} mm across, and the surface moved by {off:.3} mm at most",
            if places.len() == 1 {
                "a place".to_owned()
            } else {
                format!("{} places", places.len())
            },
            at(&first),
        ),
    }))
}

/// Faces that cross, those together that cross each other or share a vertex.
fn places(mesh: &TriangleMesh, crossing: &[[u32; 2]]) -> Vec<Vec<u32>> {
    let mut joined = UnionFind::new(mesh.positions.len());
    for [f, g] in crossing {
        let [a, b] = [f, g].map(|f| mesh.faces[*f as usize]);
        for v in a.into_iter().chain(b) {
            joined.join(a[0] as usize, v as usize);
        }
    }
    let mut faces = crossing.concat();
    faces.sort_unstable();
    faces.dedup();
    let mut found: BTreeMap<usize, Vec<u32>> = BTreeMap::new();
    for f in faces {
        found.entry(joined.root(mesh.faces[f as usize][0] as usize)).or_default().push(f);
    }
    found.into_values().collect()
}

/// Take every face that shares a vertex with one that goes.
fn grow(mesh: &TriangleMesh, gone: &mut [bool]) {
    let mut touched = vec![false; mesh.positions.len()];
    for (face, _) in mesh.faces.iter().zip(gone.iter()).filter(|(_, gone)| **gone) {
        for v in face {
            touched[*v as usize] = true;
        }
    }
    for (face, gone) in mesh.faces.iter().zip(gone.iter_mut()) {
        *gone |= face.iter().any(|v| touched[*v as usize]);
    }
}

impl Before<'_> {
    fn cut_place(&self, now: &TriangleMesh, seeds: &HashSet<[u32; 3]>) -> Option<Place> {
        let mut gone: Vec<bool> = now.faces.iter().map(|f| seeds.contains(f)).collect();
        if !gone.contains(&true) {
            // They went with another place.
            let mesh = now.clone();
            return Some(Place { mesh, gone: 0, filled: Vec::new(), off: 0.0 });
        }
        for ring in 0..=RINGS {
            if ring > 0 {
                grow(now, &mut gone);
            }
            // A patch drawn onto the old surface is nearer to it; one that is only smooth does not fold as that did.
            for drawn in [true, false] {
                if let Some(place) = self.attempt(now, &gone, drawn) {
                    return Some(place);
                }
            }
        }
        None
    }

    fn attempt(&self, now: &TriangleMesh, gone: &[bool], drawn: bool) -> Option<Place> {
        let mut index = 0;
        let mut left = now.clone();
        left.faces.retain(|_| {
            index += 1;
            !gone[index - 1]
        });
        let kept = left.faces.len();
        if kept == 0 || rims(&EdgeTally::new(&left).open).torn {
            return None;
        }
        // What comes of it is compared with what was there, so that the holes may have any size.
        let filled = fill(&mut left, f64::INFINITY, MOST_EDGES);
        let step = 0.01 * self.deviation;
        if drawn {
            for p in &mut left.positions[now.positions.len()..] {
                let hit = self.locator.closest(p);
                if bounds_solid(&self.winding, &hit.point, &hit.normal, step) {
                    *p = hit.point;
                }
            }
        }
        let sound = EdgeTally::new(&left).is_sound() && pinched_vertices(&left).is_empty();
        if !sound || euler_of_closed(&left) != self.euler || bodies(&left).1.len() != self.bodies {
            return None;
        }
        let anew = SurfaceLocator::new(&left).ok()?;
        if any_crosses(&left, &anew, kept as u32)? {
            return None;
        }
        let new = (kept as u32..left.faces.len() as u32)
            .flat_map(|f| looks(&left, FaceId(f)))
            .map(|p| self.locator.closest(&p).distance);
        let old = self.old_looks(&left, step).into_iter().map(|p| anew.closest(&p).distance);
        let off = new.chain(old).fold(0.0, f64::max);
        let whole = now.faces.len() - kept;
        (off <= self.deviation).then_some(Place { mesh: left, gone: whole, filled, off })
    }

    /// Points of faces that are there no more and bounded the solid.
    fn old_looks(&self, left: &TriangleMesh, step: f64) -> Vec<Point> {
        let kept: HashSet<&[u32; 3]> = left.faces.iter().collect();
        (0..self.mesh.faces.len() as u32)
            .map(FaceId)
            .filter(|f| !kept.contains(&self.mesh.faces[f.index()]))
            .flat_map(|f| looks(self.mesh, f).map(|p| (p, self.locator.normal(f))))
            .filter(|(p, normal)| bounds_solid(&self.winding, p, normal, step))
            .map(|(p, _)| p)
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mesh::fixtures::icosphere;
    use crate::mesh::self_crossing::crossing_pairs;

    /// Two neighbours that changed places: the faces between them are turned over and pass through those round them.
    #[test]
    fn a_small_fold_is_cut_out_and_the_rest_stays() {
        let ball = icosphere(50.0, 4);
        let mut folded = ball.clone();
        let near = ball.faces.iter().find(|f| f.contains(&700)).expect("a face of it");
        let far = near.iter().copied().find(|v| *v != 700).expect("a neighbour");
        folded.positions.swap(700, far as usize);
        let locator = SurfaceLocator::new(&folded).expect("sound");
        let pairs = crossing_pairs(&folded, &locator, &Cancel::new());
        let pairs = pairs.expect("nobody cancels").expect("few");
        assert!(!pairs.is_empty());
        let cut = |deviation| {
            cut_out(&folded, &pairs, deviation, &Cancel::new()).expect("nobody cancels")
        };
        let mended = cut(1.0).expect("cut out");
        assert!(EdgeTally::new(&mended.mesh).is_sound());
        let volume = mended.mesh.signed_volume() / ball.signed_volume();
        assert!((volume - 1.0).abs() < 1e-3, "{volume}");
        let same = ball.faces.iter().filter(|f| mended.mesh.faces.contains(f)).count();
        assert!(same > ball.faces.len() - 100, "{same} faces were kept");
        assert!(cut(1e-4).is_none(), "nothing may move");
    }

    /// Two places far from each other are cut out each by itself.
    #[test]
    fn places_are_told_apart() {
        let ball = icosphere(50.0, 3);
        assert_eq!(places(&ball, &[[0, 1], [1, 2], [640, 641]]).len(), 2);
    }
}
