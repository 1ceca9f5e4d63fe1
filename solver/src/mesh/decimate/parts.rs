//! A large mesh is made smaller part by part before it is decimated as a whole.
//!
//! In single precision the library cannot tell small errors on a mesh of millions of faces: about the middle of a part
//! it can. Parts are quick, so that whoever cancels is not kept waiting, and where one goes wrong it alone is done
//! again. What lies on the border of a part stays for now: the next pass, or the whole, has its parts elsewhere.

use meshopt::SimplifyOptions;
use rayon::prelude::*;

use super::super::check::EdgeTally;
use super::super::self_crossing::crossing_pairs;
use super::super::{Point, SurfaceLocator, TriangleMesh};
use super::verify::{Task, middles};
use super::{AS_IT_IS_FACES, WORKING_FACES, picked};
use crate::control::Cancelled;

/// Larger meshes go through the parts first, faces.
pub(super) const WHOLE: usize = 250_000;
/// Faces of a part, at most: the library takes about a tenth of a second for so many.
const PART: usize = 50_000;
/// The same where a mesh that could not be decimated as a whole is made as small as that would have been.
const SMALL_PART: usize = 8_000;
/// Share of the faces that a pass leaves.
const LEFT: f64 = 0.125;
/// Faces that are left for the whole, so that there is something to choose from.
const AIM: usize = 4 * WORKING_FACES;
/// Passes at most.
const PASSES: usize = 4;
/// Where sets of faces are cut in two, pass by pass, as a share of them: what lies on a border in one pass does not in the
/// next.
const CUTS: [f64; 3] = [0.5, 0.4, 0.6];
/// What a part may be off in one pass, by the library's estimate and as measured, as a share of the deviation: the rest is
/// left for other passes and for the whole.
const OFF: f64 = 0.4;
/// Points of a part, before and after, that are measured, at most.
const SAMPLES: usize = 5_000;
/// How a part's error is lessened each time it goes wrong; after the last it is left as it was.
const TRIES: [f64; 3] = [1.0, 0.25, 0.0];
/// Times that all parts are looked at, at most.
const LOOKS: usize = 6;

/// A mesh of fewer faces, and how far it is off the original as measured, mm.
pub(super) struct Thinned {
    pub mesh: TriangleMesh,
    pub deviation: f64,
}

/// The mesh after as many passes as make it small enough to be worked on as it is; `None` if it is no large mesh, or no pass
/// came out sound.
pub(super) fn thinned(
    task: &Task<'_>,
    mesh: &TriangleMesh,
    deviation: f64,
) -> Result<Option<Thinned>, Cancelled> {
    if mesh.faces.len() <= WHOLE {
        return Ok(None);
    }
    let kind = Kind { part: PART, aim: AIM, off: OFF * deviation };
    passes(task, mesh, &kind, AS_IT_IS_FACES, deviation)
}

/// What decimating in parts makes of a mesh that could not be decimated as a whole: there every attempt went wrong somewhere
/// else, and a part that came out well stays as it is.
pub(super) fn in_parts(
    task: &Task<'_>,
    mesh: &TriangleMesh,
    deviation: f64,
) -> Result<Option<Thinned>, Cancelled> {
    let kind = Kind { part: SMALL_PART, aim: WORKING_FACES, off: 2.0 * OFF * deviation };
    passes(task, mesh, &kind, WORKING_FACES, deviation)
}

/// How passes go about it.
struct Kind {
    /// Faces of a part, at most.
    part: usize,
    /// Faces wanted in the end.
    aim: usize,
    /// What may be off, mm.
    off: f64,
}

/// Passes until no more than `enough` faces are left, or little is gained; `None` where nothing is, or all together are
/// off by more than `deviation` (mm).
fn passes(
    task: &Task<'_>,
    mesh: &TriangleMesh,
    kind: &Kind,
    enough: usize,
    deviation: f64,
) -> Result<Option<Thinned>, Cancelled> {
    let mut best: Option<(TriangleMesh, SurfaceLocator)> = None;
    for cut in CUTS.into_iter().cycle().take(PASSES) {
        let from = best.as_ref().map_or(mesh, |(mesh, _)| mesh);
        let before = from.faces.len();
        if before <= enough {
            break;
        }
        let Some(next) = pass(task, from, kind, cut)? else { break };
        if 10 * next.0.faces.len() > 9 * before {
            break;
        }
        best = Some(next);
    }
    let Some((mesh, locator)) = best else { return Ok(None) };
    let measured = task.measure(&mesh, &locator, deviation)?;
    Ok(measured.ok().map(|deviation| Thinned { mesh, deviation }))
}

fn pass(
    task: &Task<'_>,
    from: &TriangleMesh,
    kind: &Kind,
    cut: f64,
) -> Result<Option<(TriangleMesh, SurfaceLocator)>, Cancelled> {
    let mut parts = Vec::new();
    split(from, (0..from.faces.len() as u32).collect(), kind.part, cut, &mut parts);
    let share = LEFT.max(kind.aim as f64 / from.faces.len() as f64);
    let mut tries = vec![0; parts.len()];
    let mut made: Vec<Option<Vec<u32>>> = vec![None; parts.len()];
    for _ in 0..LOOKS {
        (made.par_iter_mut().zip(&mut tries).zip(&parts)).try_for_each(
            |((made, tried), part)| {
                task.cancel().check()?;
                if made.is_none() {
                    *made = Some(simplified(task, from, part, share, kind.off, tried)?);
                }
                Ok(())
            },
        )?;
        let mut starts = Vec::with_capacity(made.len());
        let mut indices = Vec::new();
        for own in made.iter().flatten() {
            starts.push((indices.len() / 3) as u32);
            indices.extend_from_slice(own);
        }
        let mesh = picked(from, &indices);
        let trouble = match task.sound(&mesh)? {
            Ok(locator) => return Ok(Some((mesh, locator))),
            Err(trouble) => trouble,
        };
        let mut bad: Vec<usize> =
            trouble.faces.iter().map(|f| starts.partition_point(|start| start <= f) - 1).collect();
        bad.sort_unstable();
        bad.dedup();
        // Where nobody knows which part it was, or all were left as they were, nothing is to be mended.
        bad.retain(|&k| tries[k] + 1 < TRIES.len());
        if bad.is_empty() {
            return Ok(None);
        }
        for k in bad {
            tries[k] += 1;
            made[k] = None;
        }
    }
    Ok(None)
}

/// Cut a set of faces in two across its longest side, until none has more than `most`.
fn split(
    mesh: &TriangleMesh,
    mut faces: Vec<u32>,
    most: usize,
    cut: f64,
    parts: &mut Vec<Vec<u32>>,
) {
    if faces.len() <= most {
        // As in the mesh, whatever the order of the cuts.
        faces.sort_unstable();
        parts.push(faces);
        return;
    }
    let corner = |f: u32| mesh.positions[mesh.faces[f as usize][0] as usize];
    let first = corner(faces[0]);
    let (low, high) = faces.iter().fold((first, first), |(low, high), &f| {
        let p = corner(f);
        (low.inf(&p), high.sup(&p))
    });
    let axis = (high - low).imax();
    let mut keyed: Vec<(f64, u32)> = faces.iter().map(|&f| (corner(f)[axis], f)).collect();
    drop(faces);
    let half = (cut * keyed.len() as f64) as usize;
    keyed.select_nth_unstable_by(half, |a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    let of = |some: &[(f64, u32)]| some.iter().map(|(_, f)| *f).collect();
    let (left, right): (Vec<u32>, Vec<u32>) = (of(&keyed[..half]), of(&keyed[half..]));
    drop(keyed);
    split(mesh, left, most, cut, parts);
    split(mesh, right, most, cut, parts);
}

/// The faces that are left of a part, as indices of the mesh's vertices. `tried` goes up until they are as they should be.
fn simplified(
    task: &Task<'_>,
    mesh: &TriangleMesh,
    part: &[u32],
    share: f64,
    off: f64,
    tried: &mut usize,
) -> Result<Vec<u32>, Cancelled> {
    let whole: Vec<u32> = part.iter().flat_map(|&f| mesh.faces[f as usize]).collect();
    let mut vertices = whole.clone();
    vertices.sort_unstable();
    vertices.dedup();
    let local = |v: &u32| vertices.partition_point(|own| own < v) as u32;
    let indices: Vec<u32> = whole.iter().map(local).collect();
    let before = TriangleMesh {
        positions: vertices.iter().map(|v| mesh.positions[*v as usize]).collect(),
        faces: indices.chunks_exact(3).map(|t| [t[0], t[1], t[2]]).collect(),
    };
    let (low, high) = before.bounds().unwrap_or((Point::origin(), Point::origin()));
    let centre: Point = nalgebra::center(&low, &high);
    let positions: Vec<[f32; 3]> =
        before.positions.iter().map(|p| (p - centre).map(|x| x as f32).into()).collect();
    let target = 3 * ((share * part.len() as f64) as usize).max(1);
    let border = Border::of(&indices);
    // A part that cannot be indexed is left as it was.
    let Ok(locator) = SurfaceLocator::new(&before) else { return Ok(whole) };
    let mut crossings = None;
    while TRIES[*tried] > 0.0 {
        task.cancel().check()?;
        let kept = meshopt::simplify_decoder(
            &indices,
            &positions,
            target,
            (TRIES[*tried] * off) as f32,
            SimplifyOptions::ErrorAbsolute | SimplifyOptions::LockBorder,
            None,
        );
        if Border::of(&kept) == border {
            let after = picked(&before, &kept);
            let crossing = match (task.crossings(), crossings) {
                (0, _) => Some(0),
                (_, Some(known)) => known,
                _ => *crossings.insert(pairs(&before, &locator, task)?),
            };
            if is_near(&before, &locator, &after, off, crossing, task)? {
                return Ok(kept.into_iter().map(|v| vertices[v as usize]).collect());
            }
        }
        *tried += 1;
    }
    Ok(whole)
}

/// Pairs of faces of a part that cross, if they are few enough to be looked at.
fn pairs(
    mesh: &TriangleMesh,
    locator: &SurfaceLocator,
    task: &Task<'_>,
) -> Result<Option<usize>, Cancelled> {
    Ok(crossing_pairs(mesh, locator, task.cancel())?.ok().map(|pairs| pairs.len()))
}

/// Whether a part is no farther off than it may be, and no more of its faces cross than did before.
fn is_near(
    before: &TriangleMesh,
    was: &SurfaceLocator,
    after: &TriangleMesh,
    off: f64,
    crossings: Option<usize>,
    task: &Task<'_>,
) -> Result<bool, Cancelled> {
    let Ok(is) = SurfaceLocator::new(after) else { return Ok(false) };
    let within = |locator: &SurfaceLocator, points: &[Point]| {
        let stride = points.len().div_ceil(SAMPLES).max(1);
        points.iter().step_by(stride).all(|p| locator.closest(p).distance <= off)
    };
    if !within(&is, &before.positions) || !within(was, &middles(after)) {
        return Ok(false);
    }
    Ok(match (pairs(after, &is, task)?, crossings) {
        (Some(found), Some(before)) => found <= before,
        _ => false,
    })
}

/// What simplifying a part must not change.
#[derive(PartialEq)]
struct Border {
    open: Vec<[u32; 2]>,
    disagreeing: Vec<[u32; 2]>,
    crowded: Vec<[u32; 2]>,
    /// Twice the number of vertices less that of faces. With as many open edges that is as good as Euler's characteristic.
    count: i64,
}

impl Border {
    fn of(indices: &[u32]) -> Self {
        let faces: Vec<[u32; 3]> = indices.chunks_exact(3).map(|t| [t[0], t[1], t[2]]).collect();
        let mut used = indices.to_vec();
        used.sort_unstable();
        used.dedup();
        let count = 2 * used.len() as i64 - faces.len() as i64;
        let EdgeTally { open, disagreeing, crowded } =
            EdgeTally::new(&TriangleMesh { positions: Vec::new(), faces });
        Self { open, disagreeing, crowded, count }
    }
}

#[cfg(test)]
mod tests {
    use super::super::super::fixtures::{divided, icosphere, torus};
    use super::super::super::genus;
    use super::*;
    use crate::control::Cancel;

    fn thinned_alone(mesh: &TriangleMesh, deviation: f64, cancel: &Cancel) -> Option<Thinned> {
        let locator = SurfaceLocator::new(mesh).expect("sound");
        thinned(&Task::new(mesh, &locator, 0, cancel), mesh, deviation).expect("not cancelled")
    }

    /// Every face is in one part, and no part is large.
    #[test]
    fn parts_hold_each_face_once() {
        let ring = torus(40.0, 12.0, 500, 160);
        let mut parts = Vec::new();
        split(&ring, (0..ring.faces.len() as u32).collect(), PART, 0.4, &mut parts);
        assert!(parts.len() > 1 && parts.iter().all(|part| part.len() <= PART));
        let mut all = parts.concat();
        all.sort_unstable();
        assert_eq!(all, (0..ring.faces.len() as u32).collect::<Vec<_>>());
    }

    /// A ring of 640,000 faces keeps its hole, comes within half of the deviation, and is the same each time.
    #[test]
    fn a_fine_ring_is_thinned_well_within_the_deviation() {
        let ring = divided(&torus(40.0, 12.0, 400, 200));
        let found = thinned_alone(&ring, 0.2, &Cancel::new()).expect("thinned");
        let faces = found.mesh.faces.len();
        assert!((AIM..=AS_IT_IS_FACES).contains(&faces), "{faces}");
        assert_eq!(genus(&found.mesh), Ok(1));
        assert!(found.deviation <= 0.1, "{}", found.deviation);
        let again = thinned_alone(&ring, 0.2, &Cancel::new()).expect("thinned");
        assert_eq!(found.mesh, again.mesh);
    }

    /// What could not be decimated as a whole is nearly as small in parts.
    #[test]
    fn a_ring_is_decimated_in_parts_alone() {
        let ring = torus(40.0, 12.0, 400, 200);
        let locator = SurfaceLocator::new(&ring).expect("sound");
        let cancel = Cancel::new();
        let task = Task::new(&ring, &locator, 0, &cancel);
        let found = in_parts(&task, &ring, 0.2).expect("not cancelled").expect("made smaller");
        assert!(found.mesh.faces.len() < 2 * WORKING_FACES, "{}", found.mesh.faces.len());
        assert_eq!(genus(&found.mesh), Ok(1));
        assert!(found.deviation > 0.0 && found.deviation <= 0.2, "{}", found.deviation);
    }

    #[test]
    fn whoever_cancels_gets_nothing() {
        let ball = icosphere(50.0, 7);
        let locator = SurfaceLocator::new(&ball).expect("sound");
        let cancel = Cancel::new();
        cancel.cancel();
        let task = Task::new(&ball, &locator, 0, &cancel);
        assert!(thinned(&task, &ball, 0.2).is_err());
        assert!(thinned(&task, &icosphere(50.0, 3), 0.2).is_ok_and(|found| found.is_none()));
    }
}
