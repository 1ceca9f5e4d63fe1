//! Rubber in a ring of the model that all but closes.
//!
//! Rubber of one side that runs through the ring stays a plug behind the model, so it is cut across, on the disc that spans
//! the ring. A sheet that runs across the ring itself leaves nothing to cut; one that runs along it parts the plug into two
//! layers. Mostly one of them ends within the ring, or is none at all, and the other one is cut up to the sheet, from the
//! opened mould.

use crate::field::SaddleDisc;
use crate::mesh::{FaceId, Point, SurfaceLocator, TriangleMesh};
use crate::plan::error::PlanError;
use crate::sheets::surfaces_cross;
use crate::sides::PartingSheet;

/// Rubber is looked at so far before and behind the disc, as a share of its width: beyond the mouths of a ring that is no
/// longer than twice its width.
const BESIDE: f64 = 1.0;
/// What runs on through less than this share of the disc is rubber beside a sheet that runs across: with sheets 15 degrees
/// off the disc it was 9 %, with sheets along the ring 94 % and more. No source.
const LEAST_SHARE: f64 = 0.25;

/// A cut beside the sheet ends at this level of the potential that the sheet is the zero set of: drawn on a grid, the sheet
/// itself was met at levels up to 0.02. No source.
const OFF: f64 = 0.05;

/// Where rubber in a ring is cut across.
pub(super) struct PlugCut {
    /// Which of the near-bridges the ring is.
    pub near: usize,
    /// The disc, or what of it lies on the side of the sheet whose rubber runs through the ring.
    pub surface: TriangleMesh,
    /// Where that meets the model, in order.
    pub rim: Vec<Point>,
}

impl PlugCut {
    /// What is cut across where a disc spans a ring; none where no rubber runs through beside the sheet, or where that of
    /// both sides does, which no cut parts that does not cross the sheet.
    pub(super) fn new(
        near: usize,
        disc: &SaddleDisc,
        sheet: &PartingSheet,
    ) -> Result<Option<Self>, PlanError> {
        let runs = shares_through(disc, sheet).map(|of| of.map(|share| share >= LEAST_SHARE));
        let side = match runs {
            Some([true, false]) => 1.0,
            Some([false, true]) => -1.0,
            Some(_) => return Ok(None),
            // Beside a disc that nothing is known about, the sheet is far off.
            None => disc.surface.positions.first().and_then(|p| sheet.side_of(p)).unwrap_or(1.0),
        };
        let whole = &disc.surface;
        // Within the model and beyond the rubber no side is known: what is cut there does no harm.
        let is_there =
            |p: &Point| sheet.potential.sample(p).map_or(true, |(level, _)| side * level > OFF);
        let at: Vec<bool> = whole.positions.iter().map(is_there).collect();
        let surface = whole.faces_where(&|f| whole.faces[f].iter().all(|&v| at[v as usize]));
        let is_whole = surface.faces.len() == whole.faces.len();
        let rim = if is_whole { whole_rim(disc) } else { rim_along(disc, &surface)? };
        let rubber = sheet.cut_in_rubber(&|_| true);
        // What still meets the sheet cannot be cut beside it.
        if rim.len() < 2 || surfaces_cross(&rubber, &surface)?.is_some() {
            return Ok(None);
        }
        Ok(Some(Self { near, surface, rim }))
    }
}

/// The shares of a disc at which rubber on the front of the sheet, and on its back, runs on from before the disc to behind it,
/// of all where that is known.
fn shares_through(disc: &SaddleDisc, sheet: &PartingSheet) -> Option<[f64; 2]> {
    let surface = &disc.surface;
    let axis = surface.area_vector_sum().try_normalize(0.0)?;
    let beside = axis * (BESIDE * disc.width());
    let (mut through, mut known) = ([0.0; 2], 0.0);
    for face in (0..surface.faces.len() as u32).map(FaceId) {
        let at = surface.face_middle(face);
        let sides = [at + beside, at, at - beside].map(|p| sheet.side_of(&p));
        if sides.contains(&None) {
            continue;
        }
        let area = surface.area_vector(face).norm();
        known += area;
        for (through, side) in through.iter_mut().zip([1.0, -1.0]) {
            if sides == [Some(side); 3] {
                *through += area;
            }
        }
    }
    (known > 0.0).then(|| through.map(|area| area / known))
}

fn whole_rim(disc: &SaddleDisc) -> Vec<Point> {
    let again = disc.rim.first().filter(|_| disc.closed);
    disc.rim.iter().chain(again).copied().collect()
}

/// The longest run of a disc's rim along what is left of the disc.
fn rim_along(disc: &SaddleDisc, left: &TriangleMesh) -> Result<Vec<Point>, PlanError> {
    if left.faces.is_empty() {
        return Ok(Vec::new());
    }
    let surface = SurfaceLocator::new(left)?;
    let count = disc.rim.len();
    // What is left ends between two points of the rim.
    let step = disc.rim_length / count.max(1) as f64;
    let is_along = |k: usize| surface.closest(&disc.rim[k]).distance <= step;
    let along: Vec<bool> = (0..count).map(is_along).collect();
    // Round a closed rim a run may go on past the last point: it is read from one that is not along.
    let first = if disc.closed { along.iter().position(|a| !a).unwrap_or(0) } else { 0 };
    let (mut best, mut run): (Vec<Point>, Vec<Point>) = (Vec::new(), Vec::new());
    for k in (first..count).chain(0..first) {
        if along[k] {
            run.push(disc.rim[k]);
        } else {
            run.clear();
        }
        if run.len() > best.len() {
            best.clone_from(&run);
        }
    }
    Ok(best)
}
