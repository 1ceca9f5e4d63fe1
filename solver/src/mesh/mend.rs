//! What goes beyond repairs that cannot change the shape: shells within are dropped, crumbs beside too, faces that cross
//! are cut out, and where nothing else helps the solid is rebuilt. Every step is told.

use super::check::{EdgeTally, Fault, FaultKind, at, bodies, pinched_vertices};
use super::chosen::{Chosen, choose};
use super::cut_out::cut_out;
use super::holes::{diameter, middle, rims};
use super::mended::{MendKind, Mends};
use super::rebuild::{RebuildError, WindingNumbers, rebuild};
use super::self_crossing::crossing_pairs;
use super::shells::{drop_crumbs, drop_inner, turn_outward};
use super::{SurfaceLocator, TriangleMesh};
use crate::control::{Cancel, Cancelled};

/// Large openings looked at for whether another body hides them, at most: each takes a look at the whole mesh. No source.
const MOST_WIDE: usize = 50;

/// How far mending may go.
#[derive(Clone, Debug)]
pub(super) struct MendLimits {
    /// Greatest diameter of a hole that is closed, mm.
    pub largest_hole: f64,
    /// How far a rebuilt surface may be off, mm.
    pub deviation: f64,
    /// Faces that cross are left alone.
    pub accept_self_crossing: bool,
    /// Numbers of the bodies that are the model; none where nobody has said.
    pub bodies: Vec<u32>,
}

/// A mesh after mending, sound or not.
pub(super) struct Mended {
    pub mesh: TriangleMesh,
    /// What was done, a sentence each.
    pub done: Vec<String>,
    /// What could not be done, a sentence each.
    pub refused: Vec<String>,
    /// What changed the shape, and where.
    pub mends: Mends,
    /// Bodies that were there to choose from, where that was looked at.
    pub bodies: Option<usize>,
}

/// Mend a mesh that the check found these faults in.
pub(super) fn mend(
    mesh: TriangleMesh,
    faults: &[Fault],
    limits: &MendLimits,
    cancel: &Cancel,
) -> Result<Mended, Cancelled> {
    let mut work = Mended {
        mesh,
        done: Vec::new(),
        refused: Vec::new(),
        mends: Mends::default(),
        bodies: None,
    };
    // Where pairs of faces cannot be looked at, nobody can tell whether a mended mesh is sound.
    if faults.iter().any(|f| f.kind == FaultKind::SlenderFace) {
        return Ok(work);
    }
    if faults.iter().any(|f| f.kind == FaultKind::SeveralBodies) {
        let mut pairs = pairs_of(&work.mesh, cancel)?;
        if let Some(told) = drop_inner(&mut work.mesh, &pairs.concat(), &mut work.mends) {
            work.done.push(told);
            // Faces have other numbers now.
            pairs = pairs_of(&work.mesh, cancel)?;
        }
        let crumbs = drop_crumbs(&mut work.mesh, &pairs.concat(), &mut work.mends);
        work.bodies = Some(bodies(&work.mesh).1.len());
        if crumbs.is_none() {
            match choose(&mut work.mesh, &pairs, &limits.bodies, &mut work.mends) {
                Chosen::All => {}
                Chosen::Some(told) => work.done.push(told),
                Chosen::Asked(told) => {
                    work.refused.push(told);
                    return Ok(work);
                }
            }
            work.mesh.drop_unused();
        }
        work.done.extend(crumbs);
    }
    // A hollow looks inward too, and is gone by now.
    match turn_outward(&mut work.mesh) {
        0 => {}
        1 => work.done.push("turned a closed body whose faces looked inward".to_owned()),
        n => work.done.push(format!("turned {n} closed bodies whose faces looked inward")),
    }
    cancel.check()?;
    let tally = EdgeTally::new(&work.mesh);
    let sound = tally.is_sound() && pinched_vertices(&work.mesh).is_empty();
    let pairs =
        if limits.accept_self_crossing { Vec::new() } else { pairs_of(&work.mesh, cancel)? };
    if sound && pairs.is_empty() {
        return Ok(work);
    }
    if sound && let Some(cut) = cut_out(&work.mesh, &pairs, limits.deviation, cancel)? {
        work.mesh = cut.mesh;
        work.done.push(cut.done);
        work.mends.extend(cut.mends);
        return Ok(work);
    }
    cancel.check()?;
    if is_wide_open(&work.mesh, &tally, limits.largest_hole) {
        return Ok(work);
    }
    match rebuild(&work.mesh, limits.deviation, cancel) {
        Ok(rebuilt) => {
            let off = rebuilt.deviation;
            let gaps = if off.across_gaps > 0.0 {
                format!(
                    "; {:.2} % of it lies across gaps, where nothing is known",
                    100.0 * off.across_gaps
                )
            } else {
                String::new()
            };
            work.done.push(format!(
                "rebuilt: {} faces in place of {}, on a grid with cells of {:.2} mm, since {}; none of the faces is kept; the new surface is {:.3} mm off the one given at most ({:.4} mm on average), and that one {:.3} mm off the new one ({:.4} mm), where it bounds the solid{gaps}",
                rebuilt.mesh.faces.len(),
                work.mesh.faces.len(),
                rebuilt.cell,
                reasons(&tally, &work.mesh, &pairs),
                off.largest_to_original,
                off.mean_to_original,
                off.largest_from_original,
                off.mean_from_original,
            ));
            work.mends.push(MendKind::Rebuilt, off.place, off.largest(), Vec::new());
            work.mesh = rebuilt.mesh;
            // Hollows look inward, and are dropped as shells within.
            work.done.extend(drop_inner(&mut work.mesh, &[], &mut work.mends));
            work.done.extend(drop_crumbs(&mut work.mesh, &[], &mut work.mends));
            work.mesh.drop_unused();
        }
        Err(RebuildError::Cancelled(cancelled)) => return Err(cancelled),
        Err(error) => work.refused.push(format!("rebuilding the solid: {error}")),
    }
    Ok(work)
}

fn pairs_of(mesh: &TriangleMesh, cancel: &Cancel) -> Result<Vec<[u32; 2]>, Cancelled> {
    // Too many pairs to look at were a fault before already.
    let Ok(locator) = SurfaceLocator::new_until(mesh, cancel)? else { return Ok(Vec::new()) };
    Ok(crossing_pairs(mesh, &locator, cancel)?.unwrap_or_default())
}

/// Why the solid is rebuilt.
fn reasons(tally: &EdgeTally, mesh: &TriangleMesh, pairs: &[[u32; 2]]) -> String {
    let (_, bodies) = bodies(mesh);
    let pinched = pinched_vertices(mesh).len();
    let mut all = Vec::new();
    if !pairs.is_empty() {
        let mut faces = pairs.concat();
        faces.sort_unstable();
        faces.dedup();
        let of =
            if bodies.len() > 1 { format!(" of {} bodies", bodies.len()) } else { String::new() };
        all.push(format!("{} faces{of} passed through others", faces.len()));
    }
    for (count, what) in [
        (tally.open.len(), "edges were open"),
        (tally.crowded.len(), "edges had more than two faces"),
        (tally.disagreeing.len(), "edges had faces that disagree about their side"),
        (pinched, "vertices joined parts that touch there only"),
    ] {
        if count > 0 {
            all.push(format!("{count} {what}"));
        }
    }
    all.join(", ")
}

/// Whether an opening is too large to be closed by a guess. One whose rim lies within the other bodies is none: an arm
/// stuck into a body may be open at the shoulder.
fn is_wide_open(mesh: &TriangleMesh, tally: &EdgeTally, largest: f64) -> bool {
    if tally.open.is_empty() {
        return false;
    }
    let found = rims(&tally.open);
    if found.torn && torn_span(mesh, &tally.open) > largest {
        return true;
    }
    let wide: Vec<&Vec<u32>> =
        found.rings.iter().filter(|ring| diameter(ring, mesh) > largest).collect();
    if wide.is_empty() {
        return false;
    }
    let (body_of, bodies) = bodies(mesh);
    if bodies.len() < 2 {
        return true;
    }
    let mut body_at = vec![0u32; mesh.positions.len()];
    for (face, body) in mesh.faces.iter().zip(&body_of) {
        for v in face {
            body_at[*v as usize] = *body;
        }
    }
    if wide.len() > MOST_WIDE {
        return true;
    }
    let mut trees: Vec<Option<WindingNumbers>> = bodies.iter().map(|_| None).collect();
    wide.into_iter().any(|ring| {
        let body = body_at[ring[0] as usize];
        let tree = trees[body as usize].get_or_insert_with(|| {
            let others = mesh.faces.iter().zip(&body_of).filter(|(_, b)| **b != body);
            let faces = others.map(|(face, _)| *face).collect();
            WindingNumbers::new(&TriangleMesh { positions: mesh.positions.clone(), faces })
        });
        let buried = ring.iter().all(|v| tree.inside(&mesh.positions[*v as usize]));
        !(buried && tree.inside(&middle(ring, mesh)))
    })
}

/// Greatest side of the box round open edges that hang together, mm.
fn torn_span(mesh: &TriangleMesh, open: &[[u32; 2]]) -> f64 {
    let mut joined = crate::union_find::UnionFind::new(mesh.positions.len());
    for [a, b] in open {
        joined.join(*a as usize, *b as usize);
    }
    let mut boxes = std::collections::BTreeMap::new();
    for v in open.iter().flatten() {
        let p = mesh.positions[*v as usize];
        let (low, high) = boxes.entry(joined.root(*v as usize)).or_insert((p, p));
        *low = low.inf(&p);
        *high = high.sup(&p);
    }
    boxes.values().map(|(low, high)| (high - low).norm()).fold(0.0, f64::max)
}

/// A place in words, within the box of a model: how high in z, and on which side.
pub(super) fn whereabouts(place: &super::Point, mesh: &TriangleMesh) -> String {
    let Some((low, high)) = mesh.bounds() else { return at(place) };
    let sides = high - low;
    let share = |k: usize| if sides[k] > 0.0 { (place[k] - low[k]) / sides[k] } else { 0.5 };
    let (x, y) = (share(0) - 0.5, share(1) - 0.5);
    let side = if x.abs().max(y.abs()) < 0.1 {
        "in the middle"
    } else if x.abs() >= y.abs() {
        if x > 0.0 { "towards +x" } else { "towards -x" }
    } else if y > 0.0 {
        "towards +y"
    } else {
        "towards -y"
    };
    format!("{}, {:.0} % of the way up in z and {side},", at(place), 100.0 * share(2))
}
