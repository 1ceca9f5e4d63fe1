//! A solid rebuilt from a soup of triangles: shells that pass through each other are joined, whatever the grid and
//! the soup leave open is closed. No face of the original is kept, so that it is the last resort; how far the new surface is
//! off is measured and told.

mod deviation;
mod field;
mod surface;
mod winding;

pub use self::deviation::Deviation;
pub(super) use self::deviation::{bounds_solid, looks};
pub use self::winding::WindingNumbers;
pub(crate) use self::winding::solid_angle_share;

use self::deviation::deviation;
use self::field::Field;
use super::check::{EdgeTally, at, pinched_vertices};
use super::self_crossing::crossing_pairs;
use super::{Point, SurfaceLocator, TriangleMesh};
use crate::control::{Cancel, Cancelled};

/// Deviation allowed if none is given, as a share of the longest side. No source.
pub const REBUILD_SHARE: f64 = 3e-3;
/// Cells of the attempts, as shares of the deviation allowed: coarse ones are quick and make fewer faces. No source.
const CELLS: [f64; 4] = [4.0, 2.0, 1.3, 1.0];

/// No solid could be rebuilt.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum RebuildError {
    /// The caller does not wait any longer.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
    /// There is nothing that is inside.
    #[error("the faces enclose nothing: no place has them all round it")]
    Nothing,
    /// The grid would be too large.
    #[error(
        "cells of {cell:.3} mm would make a grid of {nodes:.1e} places: allow a larger deviation for rebuilding"
    )]
    TooFine {
        /// Width of a cell, mm.
        cell: f64,
        /// Nodes of the grid.
        nodes: f64,
    },
    /// The result is not what it has to be.
    #[error("the rebuilt surface {fault} near {}", at(.place))]
    Unsound {
        /// What it does, with a verb.
        fault: &'static str,
        /// Where, mm.
        place: Point,
    },
    /// The result is too far off.
    #[error(
        "the rebuilt surface is {found:.2} mm off near {}, and {allowed:.2} mm are allowed: parts thinner than about {:.1} mm are lost; allow a larger deviation for rebuilding, or mend the model where it was made", at(.place), 2.0 * .allowed
    )]
    TooFar {
        /// Largest deviation, mm.
        found: f64,
        /// Deviation allowed, mm.
        allowed: f64,
        /// Where, mm.
        place: Point,
    },
}

/// A rebuilt solid. It may have several bodies, and hollows.
#[derive(Clone, Debug, PartialEq)]
pub struct Rebuilt {
    /// Its surface: closed, oriented outward, without faces that cross.
    pub mesh: TriangleMesh,
    /// How far it is from the original.
    pub deviation: Deviation,
    /// Width of the grid's cells, mm.
    pub cell: f64,
}

/// Rebuild the solid that a soup of triangles bounds, within `allowed` mm: all places whose winding number is more than
/// a half. Positions must be finite and indices valid.
pub fn rebuild(
    mesh: &TriangleMesh,
    allowed: f64,
    cancel: &Cancel,
) -> Result<Rebuilt, RebuildError> {
    // All in one point.
    if allowed.is_nan() || allowed <= 0.0 || mesh.longest_side() <= 0.0 {
        return Err(RebuildError::Nothing);
    }
    let locator = SurfaceLocator::new(mesh).map_err(|_| RebuildError::Nothing)?;
    let winding = WindingNumbers::new(mesh);
    let mut failed = RebuildError::Nothing;
    for (attempt, share) in CELLS.into_iter().enumerate() {
        match once(mesh, &locator, &winding, allowed, share * allowed, cancel) {
            Err(error @ (RebuildError::Unsound { .. } | RebuildError::TooFar { .. })) => {
                failed = error;
            }
            // What the first attempt failed for tells more than that a second one would take too much.
            Err(RebuildError::TooFine { .. }) if attempt > 0 => {}
            other => return other,
        }
    }
    Err(failed)
}

fn once(
    mesh: &TriangleMesh,
    locator: &SurfaceLocator,
    winding: &WindingNumbers,
    allowed: f64,
    cell: f64,
    cancel: &Cancel,
) -> Result<Rebuilt, RebuildError> {
    let mut field = Field::sample(mesh, locator, winding, cell, cancel)?;
    field.make_well_composed();
    cancel.check()?;
    let made = surface::surface(&field, locator, cancel)?;
    drop(field);
    cancel.check()?;
    let own = SurfaceLocator::new(&made).map_err(|_| RebuildError::Nothing)?;
    if let Some((fault, place)) = fault_of(&made, &own, cancel)? {
        return Err(RebuildError::Unsound { fault, place });
    }
    cancel.check()?;
    let deviation = deviation(mesh, locator, winding, &made, &own, 0.02 * cell);
    if deviation.largest() > allowed {
        return Err(RebuildError::TooFar {
            found: deviation.largest(),
            allowed,
            place: deviation.place,
        });
    }
    Ok(Rebuilt { mesh: made, deviation, cell })
}

/// What is wrong with a surface, and where.
fn fault_of(
    mesh: &TriangleMesh,
    locator: &SurfaceLocator,
    cancel: &Cancel,
) -> Result<Option<(&'static str, Point)>, Cancelled> {
    let tally = EdgeTally::new(mesh);
    let edge = tally.open.first().or(tally.disagreeing.first()).or(tally.crowded.first());
    if let Some([v, _]) = edge {
        return Ok(Some(("is not closed", mesh.positions[*v as usize])));
    }
    if let Some(v) = pinched_vertices(mesh).first() {
        return Ok(Some(("touches itself in a point", mesh.positions[*v as usize])));
    }
    Ok(match crossing_pairs(mesh, locator, cancel)? {
        Ok(pairs) => pairs
            .first()
            .map(|[f, _]| ("passes through itself", mesh.face_middle(super::FaceId(*f)))),
        Err(near) => Some(("has faces too slender to be looked at", near.place)),
    })
}

#[cfg(test)]
mod tests;
