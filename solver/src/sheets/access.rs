//! Whether the blade gets from the outside to a point along a straight line.

use super::SheetSettings;
use crate::body::{Exit, ExitSide, MouldBody};
use crate::mesh::{Point, SurfaceLocator, Vector};

/// A straight way out.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct WayOut {
    /// Length, mm.
    pub distance: f64,
    /// Part of the skin it leaves through.
    pub side: ExitSide,
    /// Other cuts that it runs through.
    pub crossed: u32,
}

/// What rulings have to keep away from.
pub(super) struct Access<'a> {
    pub body: &'a MouldBody,
    pub settings: &'a SheetSettings,
    /// Sheets and discs of other cuts.
    pub obstacles: Vec<&'a SurfaceLocator>,
}

/// Rays start this far off the surface, so that they do not meet the face they leave, mm.
const START: f64 = 0.05;
/// Clearance asked for grows by this much a mm from the model on: a ruling starts at the surface.
const GROWTH: f64 = 0.3;
/// Sheets that are kept apart miss each other's edges on the outside by about this much, mm.
const APART: f64 = 3.0;
/// Shortest step between two measurements of the clearance, mm.
const STEP: f64 = 1.0;

impl Access<'_> {
    /// The way out from `from` along a unit direction, if the model lets the blade by.
    /// `behind` is the length of ruling between the model and `from`, mm.
    pub fn way_out(&self, from: &Point, direction: &Vector, behind: f64) -> Option<WayOut> {
        let (low, high) = self.body.bounds();
        let start = from + direction * START;
        // What the model hides need not be measured; the exit of a blanket is dear to find.
        let hit = self.body.model().ray(&start, direction, (high - low).norm());
        let Exit { distance, side } = self.body.exit(from, direction);
        if hit.is_some_and(|h| h.distance + START < distance) {
            return None;
        }
        if !self.keeps_clear(from, direction, distance, behind) {
            return None;
        }
        // A little farther, so that sheets do not meet on the skin itself.
        let crossed = self.crossed(from, direction, distance + APART);
        Some(WayOut { distance, side, crossed })
    }

    /// Whether a straight piece of ruling keeps its distance from the model.
    pub fn keeps_clear(&self, from: &Point, direction: &Vector, length: f64, behind: f64) -> bool {
        let clearance = self.settings.clearance;
        let mut along = (STEP - behind).max(0.0);
        while along < length {
            let asked = clearance.min(GROWTH * (behind + along));
            let distance = self.body.model().closest(&(from + direction * along)).distance;
            if distance < asked - 1e-9 {
                return false;
            }
            // The distance falls by at most 1 mm a mm while what is asked for grows.
            along += ((distance - asked) / (1.0 + GROWTH)).max(STEP);
        }
        true
    }

    /// Other cuts that a straight piece runs through.
    pub fn crossed(&self, from: &Point, direction: &Vector, length: f64) -> u32 {
        let start = from + direction * START;
        let reach = (length - START).max(0.0);
        let hits = self.obstacles.iter().filter(|o| o.ray(&start, direction, reach).is_some());
        hits.count() as u32
    }

    /// How far a line gets before the model or the outside stops it, mm.
    pub fn free_length(&self, from: &Point, direction: &Vector) -> f64 {
        let exit = self.body.exit(from, direction).distance;
        let start = from + direction * START;
        let hit = self.body.model().ray(&start, direction, exit.max(START));
        hit.map_or(exit, |h| exit.min(h.distance + START))
    }
}
