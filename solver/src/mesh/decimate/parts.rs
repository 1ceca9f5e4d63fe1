//! A mesh is decimated part by part, pass after pass.
//!
//! A part is quick to decimate and to look at, and where one goes wrong it alone is done again: in a mesh of millions of
//! faces something goes wrong somewhere each time. The vertices that parts share stay, and so do those beside them. With
//! the shared ones alone held fast, what lies beside them is drawn onto them, and two parts come to join the same two
//! vertices of their border by an edge each: that edge has four faces then. With both rows held fast no edge is made at a
//! shared vertex, and parts that are sound by themselves are sound together. What was held is taken up by the next pass,
//! which cuts elsewhere.

use rayon::prelude::*;

use super::super::self_crossing::crossing_pairs;
use super::super::{Point, SurfaceLocator, TriangleMesh};
use super::verify::{Task, Trouble};
use super::{AS_IT_IS_FACES, Kept, WORKING_FACES, attempted, hold, picked};
use crate::control::{Cancel, Cancelled};

/// Parts that a mesh is cut into, about, and the fewest and the most faces of one, at most: the library takes about a tenth
/// of a second for the most, and rows of vertices that are held are few where there are no fewer than the fewest.
const PARTS: usize = 32;
const PART: (usize, usize) = (8_000, 50_000);
/// Share of the faces that may go that a pass leaves.
const LEFT: f64 = 0.125;
/// Passes at most.
const PASSES: usize = 8;
/// A pass that leaves more than this share of the faces is the last.
const LITTLE: f64 = 0.95;
/// Where sets of faces are cut in two, pass by pass, as a share of them: what lies on a border in one pass does not in the
/// next.
const CUTS: [f64; 3] = [0.5, 0.4, 0.6];
/// Share of what the surface may still move that a pass may move it, unless it is the one that leaves as few as are wanted.
const OFF: f64 = 0.5;
/// Times that all parts together are looked at in a pass, at most.
const LOOKS: usize = 6;

/// Why there is no smaller mesh where nothing went wrong.
const NOTHING: &str = "no more faces can go";

/// What decimating in parts makes of a mesh.
pub(super) struct InParts {
    pub mesh: TriangleMesh,
    /// Largest distance measured between it and the original, mm.
    pub deviation: f64,
    /// A sentence on parts that were left as they were, if any were at last.
    pub stayed: Option<String>,
}

/// Decimate the task's mesh to [`WORKING_FACES`], or as far as passes within `deviation` (mm) get; why there is none else.
pub(super) fn in_parts(
    task: &Task<'_>,
    deviation: f64,
) -> Result<Result<InParts, String>, Cancelled> {
    let mut best: Option<InParts> = None;
    let mut why = NOTHING.to_owned();
    for cut in CUTS.into_iter().cycle().take(PASSES) {
        let (from, moved) =
            best.as_ref().map_or((task.mesh(), 0.0), |best| (&best.mesh, best.deviation));
        let before = from.faces.len();
        if before <= WORKING_FACES {
            break;
        }
        let next = match pass(task, from, cut, moved, deviation)? {
            Ok(next) => next,
            Err(reason) => {
                why = reason;
                break;
            }
        };
        let is_little = next.mesh.faces.len() as f64 > LITTLE * before as f64;
        best = Some(next);
        if is_little {
            break;
        }
    }
    Ok(match best {
        Some(best) if best.mesh.faces.len() <= AS_IT_IS_FACES => Ok(best),
        Some(best) => Err(format!("{} faces were left in parts; {why}", best.mesh.faces.len())),
        None => Err(why),
    })
}

/// Faces that are decimated by themselves.
struct Part {
    faces: Vec<u32>,
    /// Where it went wrong with its neighbours: centre and reach, mm.
    places: Vec<(Point, f64)>,
    /// What is left of them; `None`: to be done.
    made: Option<Made>,
}

/// What is left of a part.
struct Made {
    /// Corners of its faces, as vertices of the mesh.
    corners: Vec<u32>,
    /// Why nothing was done to it, if so.
    stayed: Option<String>,
}

/// One pass over all parts of a mesh that is `moved` (mm) off the original already.
fn pass(
    task: &Task<'_>,
    from: &TriangleMesh,
    cut: f64,
    moved: f64,
    deviation: f64,
) -> Result<Result<InParts, String>, Cancelled> {
    let most = (from.faces.len() / PARTS).clamp(PART.0, PART.1);
    let sets = split(from, (0..from.faces.len() as u32).collect(), most, cut, task.cancel())?;
    let rim = rim(from, &sets);
    task.cancel().check()?;
    let stays = from.faces.iter().filter(|f| is_held(&rim, f)).count();
    let free = (from.faces.len() - stays).max(1) as f64;
    let wanted = WORKING_FACES.saturating_sub(stays) as f64 / free;
    let is_last = wanted >= LEFT;
    let pace = Pace {
        share: wanted.max(LEFT),
        off: (deviation - moved) * if is_last { 1.0 } else { OFF },
    };
    let mut parts: Vec<Part> =
        sets.into_iter().map(|faces| Part { faces, places: Vec::new(), made: None }).collect();
    let mut reason = String::new();
    for _ in 0..LOOKS {
        parts.par_iter_mut().filter(|part| part.made.is_none()).try_for_each(|part| {
            part.made = Some(decimated(task, from, part, &rim, &pace)?);
            Ok(())
        })?;
        let made = || parts.iter().filter_map(|part| part.made.as_ref());
        let mut starts = Vec::with_capacity(parts.len());
        let mut corners = Vec::with_capacity(made().map(|made| made.corners.len()).sum());
        for made in made() {
            starts.push((corners.len() / 3) as u32);
            corners.extend_from_slice(&made.corners);
        }
        let mesh = picked(from, &corners);
        let trouble = match task.verify(&mesh, deviation)? {
            Ok(deviation) => {
                let stayed: Vec<&String> = made().filter_map(|made| made.stayed.as_ref()).collect();
                let stayed = stayed.first().map(|why| {
                    format!("{} of {} parts were not decimated: {why}", stayed.len(), parts.len())
                });
                if mesh.faces.len() == from.faces.len() {
                    return Ok(Err(stayed.unwrap_or_else(|| NOTHING.to_owned())));
                }
                return Ok(Ok(InParts { mesh, deviation, stayed }));
            }
            Err(trouble) => trouble,
        };
        let Trouble { reason: why, places, faces, .. } = trouble;
        reason = why;
        let mut bad: Vec<usize> =
            faces.iter().map(|f| starts.partition_point(|start| start <= f) - 1).collect();
        bad.sort_unstable();
        bad.dedup();
        // Where nobody knows which part it was nothing is to be mended.
        if bad.is_empty() {
            break;
        }
        for k in bad {
            parts[k].places.extend(&places);
            parts[k].made = None;
        }
    }
    Ok(Err(reason))
}

/// How far a pass goes.
struct Pace {
    /// Share of the faces that may go that is left.
    share: f64,
    /// How far a part may move, mm.
    off: f64,
}

/// Whether a face stays: all its corners are held.
fn is_held(rim: &[bool], face: &[u32; 3]) -> bool {
    face.iter().all(|v| rim[*v as usize])
}

/// Sets of no more than `most` faces each: each set is cut in two across its longest side as often as it takes.
fn split(
    mesh: &TriangleMesh,
    mut faces: Vec<u32>,
    most: usize,
    cut: f64,
    cancel: &Cancel,
) -> Result<Vec<Vec<u32>>, Cancelled> {
    cancel.check()?;
    if faces.len() <= most {
        // As in the mesh, whatever the order of the cuts.
        faces.sort_unstable();
        return Ok(vec![faces]);
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
    cancel.check()?;
    keyed.select_nth_unstable_by(half, |a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    let of = |some: &[(f64, u32)]| some.iter().map(|(_, f)| *f).collect();
    let (left, right): (Vec<u32>, Vec<u32>) = (of(&keyed[..half]), of(&keyed[half..]));
    drop(keyed);
    let (left, right) = rayon::join(
        || split(mesh, left, most, cut, cancel),
        || split(mesh, right, most, cut, cancel),
    );
    let mut sets = left?;
    sets.extend(right?);
    Ok(sets)
}

/// Vertices that stay: those that sets of faces share, and those beside them.
fn rim(mesh: &TriangleMesh, sets: &[Vec<u32>]) -> Vec<bool> {
    const NOBODY: u32 = u32::MAX;
    const SHARED: u32 = u32::MAX - 1;
    let mut owner = vec![NOBODY; mesh.positions.len()];
    for (set, faces) in sets.iter().enumerate() {
        for &v in faces.iter().flat_map(|f| &mesh.faces[*f as usize]) {
            let own = &mut owner[v as usize];
            *own = if *own == NOBODY || *own == set as u32 { set as u32 } else { SHARED };
        }
    }
    let mut rim = vec![false; mesh.positions.len()];
    for face in &mesh.faces {
        if face.iter().any(|v| owner[*v as usize] == SHARED) {
            for &v in face {
                rim[v as usize] = true;
            }
        }
    }
    rim
}

/// What is left of a part. One that does not come out well stays as it is.
fn decimated(
    task: &Task<'_>,
    mesh: &TriangleMesh,
    part: &Part,
    rim: &[bool],
    pace: &Pace,
) -> Result<Made, Cancelled> {
    task.cancel().check()?;
    let corners: Vec<u32> = part.faces.iter().flat_map(|&f| mesh.faces[f as usize]).collect();
    let mut vertices = corners.clone();
    vertices.sort_unstable();
    vertices.dedup();
    let local = |v: u32| vertices.partition_point(|own| *own < v) as u32;
    let own = TriangleMesh {
        positions: vertices.iter().map(|v| mesh.positions[*v as usize]).collect(),
        faces: part.faces.iter().map(|f| mesh.faces[*f as usize].map(local)).collect(),
    };
    let mut held: Vec<bool> = vertices.iter().map(|v| rim[*v as usize]).collect();
    hold(&mut held, &own.positions, &part.places);
    let stays = own.faces.iter().filter(|f| is_held(&held, f)).count();
    let wanted = stays + (pace.share * (own.faces.len() - stays) as f64) as usize;
    let stayed = |why: String| Made { corners, stayed: Some(why) };
    let locator = match SurfaceLocator::new(&own) {
        Ok(locator) => locator,
        Err(fault) => return Ok(stayed(fault.to_string())),
    };
    let crossings = match task.crossings() {
        0 => 0,
        _ => match crossing_pairs(&own, &locator, task.cancel())? {
            Ok(pairs) => pairs.len(),
            Err(near) => {
                return Ok(stayed(format!(
                    "more than {} pairs of faces lay near each other",
                    near.most
                )));
            }
        },
    };
    let own_task = Task::part(&own, &locator, crossings, task.cancel());
    let mut retries = Vec::new();
    Ok(match attempted(&own_task, held, wanted, pace.off, &mut retries)? {
        Some(Kept { corners, .. }) => {
            let corners = corners.iter().map(|v| vertices[*v as usize]).collect();
            Made { corners, stayed: None }
        }
        None => stayed(retries.pop().unwrap_or_default()),
    })
}

#[cfg(test)]
mod tests {
    use super::super::super::fixtures::{divided, icosphere, torus};
    use super::super::super::genus;
    use super::*;

    fn alone(
        mesh: &TriangleMesh,
        deviation: f64,
        cancel: &Cancel,
    ) -> Result<Result<InParts, String>, Cancelled> {
        let locator = SurfaceLocator::new(mesh).expect("sound");
        in_parts(&Task::whole(mesh, &locator, 0, cancel), deviation)
    }

    /// Every face is in one set, and no set is large.
    #[test]
    fn parts_hold_each_face_once() {
        let ring = torus(40.0, 12.0, 500, 160);
        let all: Vec<u32> = (0..ring.faces.len() as u32).collect();
        let sets = split(&ring, all.clone(), 9_000, 0.4, &Cancel::new()).expect("not cancelled");
        assert!(sets.len() > 1 && sets.iter().all(|set| set.len() <= 9_000));
        let mut found = sets.concat();
        found.sort_unstable();
        assert_eq!(found, all);
    }

    /// A ring of 640,000 faces keeps its hole and becomes as small as is wanted, the same each time.
    #[test]
    fn a_fine_ring_is_decimated_within_the_deviation() {
        let ring = divided(&torus(40.0, 12.0, 400, 200));
        let decimated = || alone(&ring, 0.2, &Cancel::new()).expect("not cancelled").expect("made");
        let found = decimated();
        assert!(found.mesh.faces.len() <= WORKING_FACES, "{}", found.mesh.faces.len());
        assert_eq!(genus(&found.mesh), Ok(1));
        assert!(found.deviation > 0.0 && found.deviation <= 0.2, "{}", found.deviation);
        assert_eq!(found.mesh, decimated().mesh);
    }

    /// No edge is made at a vertex that parts share, however far they may move: together they are as sound as apart.
    #[test]
    fn parts_fit_together() {
        let ring = torus(40.0, 12.0, 400, 200);
        let all: Vec<u32> = (0..ring.faces.len() as u32).collect();
        let cancel = Cancel::new();
        let sets = split(&ring, all, 8_000, 0.5, &cancel).expect("not cancelled");
        let held = rim(&ring, &sets);
        let locator = SurfaceLocator::new(&ring).expect("sound");
        let task = Task::whole(&ring, &locator, 0, &cancel);
        let corners: Vec<u32> = sets
            .into_iter()
            .flat_map(|faces| {
                let part = Part { faces, places: Vec::new(), made: None };
                let pace = Pace { share: 0.0, off: 2.0 };
                decimated(&task, &ring, &part, &held, &pace).expect("not cancelled").corners
            })
            .collect();
        assert!(corners.len() < ring.faces.len(), "a third is left at most");
        assert_eq!(genus(&picked(&ring, &corners)), Ok(1));
    }

    #[test]
    fn whoever_cancels_gets_nothing() {
        let ball = icosphere(50.0, 6);
        let cancel = Cancel::new();
        cancel.cancel();
        assert!(alone(&ball, 0.2, &cancel).is_err());
    }
}
