//! The trial corrects the plan: one that fails is made again with more asked of the ring of rubber
//! that was overstretched.

use super::PlanError;
use super::improve::{Found, Watch, improve};
use super::setup::Setup;
use super::sheets::{PlannedSheets, make_sheets};
use super::trial::{overstretched, tried};
use super::{Demand, NotTried, PlanRequest, PlanTrial, TrialMode, TrialVerdict};
use crate::control::Control;
use crate::curves::Finisher;
use crate::optimise::search::{Search, SearchError};
use crate::trial::Outcome;

/// Share of the budget that has to be left for a plan to be made and tried again.
const LEAST_AGAIN: f64 = 0.15;

/// A plan before it is put together.
pub(super) struct Made {
    pub found: Found,
    pub sheets: Option<PlannedSheets>,
    pub trial: TrialVerdict,
}

/// What a plan is made with.
pub(super) struct Workbench<'w, 's, 'g> {
    pub setup: &'w Setup,
    pub search: &'w mut Search<'s, 'g>,
    pub finisher: &'w mut Finisher<'g>,
    pub request: &'w PlanRequest,
    pub control: &'w Control<'w>,
    pub watch: &'w mut dyn Watch,
}

impl Workbench<'_, '_, '_> {
    /// Search until `seconds` on the job's clock, draw, and make the sheets.
    pub(super) fn make(&mut self, seconds: f64) -> Result<Made, PlanError> {
        let Self { setup, search, finisher, request, control, watch } = self;
        let found = improve(search, finisher, seconds, request, control, *watch)?;
        let sheets = make_sheets(setup, &found, request, control)?;
        Ok(Made { found, sheets, trial: TrialVerdict::NotRun(NotTried::NotAsked) })
    }

    /// Try the plan as the request asks. As long as it fails and time is left before `end`, seconds on
    /// the job's clock, make it again. The first plan that passes comes back, or else the one that came
    /// nearest to it.
    pub(super) fn try_and_correct(&mut self, mut made: Made, end: f64) -> Result<Made, PlanError> {
        let (request, control) = (self.request, self.control);
        let mut demands: Vec<Demand> = Vec::new();
        let mut before: Option<Made> = None;
        loop {
            made.trial = tried(self.setup, made.sheets.as_ref(), request, &demands, end, control);
            let now = control.elapsed().as_secs_f64();
            let left = end - now;
            let goes_on = request.trial.mode == TrialMode::Correct
                && left >= LEAST_AGAIN * request.budget.seconds;
            let asked = match &made.trial {
                TrialVerdict::Ran(trial) if goes_on => {
                    overstretched(self.setup, self.search, &made.found, trial, control)
                }
                _ => None,
            };
            let nearest = match before {
                Some(before) if !comes_nearer(&made.trial, &before.trial) => before,
                _ => made,
            };
            let Some((ring, demand)) = asked else { return Ok(nearest) };
            self.search.demand(ring);
            demands.push(demand);
            // Half of what is left, so that there is as much for the trial.
            let until = now + 0.5 * left;
            self.search.set_deadline(until);
            made = match self.make(until) {
                Ok(made) => made,
                // What was asked for cannot be had in time.
                Err(PlanError::Search(SearchError::NoPlan(_))) => return Ok(nearest),
                Err(error) => return Err(error),
            };
            before = Some(nearest);
        }
    }
}

/// Whether a plan made again passes its trial or fails it less badly than one before: it leaves the mould
/// whole, and takes less pull.
fn comes_nearer(new: &TrialVerdict, old: &TrialVerdict) -> bool {
    let (TrialVerdict::Ran(new), TrialVerdict::Ran(old)) = (new, old) else { return false };
    let key = |trial: &PlanTrial| {
        let report = &trial.report;
        let passes = report.outcome == Outcome::Released;
        (!passes, report.mesh.pieces > 1, report.outcome == Outcome::OutOfTime)
    };
    let pull = |trial: &PlanTrial| trial.report.greatest_pull();
    key(new).cmp(&key(old)).then(pull(new).total_cmp(&pull(old))).is_lt()
}
