//! What holds the nearest cuts that failed is cut from another view besides.

use super::cut::{Cut, Failure};
use super::pattern::pieces_where;
use super::tries::Tries;
use crate::mesh::Point;
use crate::plan::error::PlanError;
use crate::plan::incumbents::Incumbents;
use crate::plan::workbench::Workbench;

/// Additions to one cut at most, and cuts that failed to which they are made.
const MOST_ADDITIONS: usize = 2;
const NEAREST: usize = 2;
/// Another view looks across the first one: the cosine of the angle between them is less than this.
const ACROSS: f64 = 0.75;
/// Other views tried.
const OTHER_VIEWS: usize = 2;
/// How far round the place of a hindrance another view is cut, as shares of the model's longest side.
const AROUND: [f64; 2] = [0.2, 0.35];
/// Distance off the model at which it is asked which side a place is on, mm.
const OFF_MODEL: f64 = 1.5;
/// Distance between two looks along a border, mm.
const LOOK_EVERY: f64 = 2.0;

impl Tries<'_, '_> {
    /// What the nearest cuts that failed are held at is cut from other views besides: an undercut that two sides leave
    /// wants a cut of its own.
    pub(super) fn add_other_views(
        &mut self,
        bench: &Workbench<'_, '_, '_>,
        incumbents: &mut Incumbents<'_>,
        end: f64,
    ) -> Result<Option<bool>, PlanError> {
        for _ in 0..MOST_ADDITIONS {
            let mut failures = std::mem::take(&mut self.failures);
            failures.retain(|f| !f.cut.pattern.pieces.is_empty());
            failures.sort_by(|a, b| b.progress.total_cmp(&a.progress));
            for failure in failures.iter().take(NEAREST) {
                if bench.control.is_past(end) {
                    return Ok(None);
                }
                let cuts = self.with_additions(bench, failure)?;
                match self.attempt_each(bench, incumbents, &cuts, end)? {
                    Some(false) => {}
                    decided => return Ok(decided),
                }
            }
        }
        Ok(Some(false))
    }

    /// A cut that failed with more cut from other views round the place where it was held.
    fn with_additions(
        &mut self,
        bench: &Workbench<'_, '_, '_>,
        failure: &Failure,
    ) -> Result<Vec<Cut>, PlanError> {
        let first = self.views.sheet(failure.cut.view, bench.control)?;
        let body = &bench.setup.body;
        let off = |p: &Point| body.model().closest(p).normal * OFF_MODEL;
        let at = body.model().closest(&failure.place);
        let Some(side) = first.side_of(&(at.point + at.normal * OFF_MODEL)) else {
            return Ok(Vec::new());
        };
        let own = self.views.direction(failure.cut.view);
        let order = self.views.order().iter().copied();
        let across: Vec<usize> = order
            .filter(|&view| self.views.direction(view).dot(&own).abs() < ACROSS)
            .take(OTHER_VIEWS)
            .collect();
        let size = bench.setup.working.longest_side();
        let mut cuts = Vec::new();
        for share in AROUND {
            for &view in &across {
                let other = self.views.sheet(view, bench.control)?;
                let near = |p: &Point| {
                    (p - failure.place).norm() <= share * size
                        && first.side_of(&(p + off(p))) == Some(side)
                };
                let least = bench.request.knife.least_cut;
                let pattern = pieces_where(&other, LOOK_EVERY, least, &near);
                if !pattern.pieces.is_empty() {
                    let mut cut = failure.cut.clone();
                    cut.additions.push((view, pattern, side));
                    cuts.push(cut);
                }
            }
        }
        Ok(cuts)
    }
}
