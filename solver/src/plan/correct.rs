//! The trial corrects the plan: one that fails is made again with more asked of the ring of rubber
//! that was overstretched.

use super::PlanError;
use super::improve::{Found, Watch, improve};
use super::setup::Setup;
use super::sheets::{PlannedSheets, make_sheets};
use super::trial::{overstretched, tried};
use super::{Demand, NotTried, PlanRequest, TrialMode, TrialVerdict};
use crate::control::Control;
use crate::curves::Finisher;
use crate::optimise::search::{Search, SearchError};

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
    /// the job's clock, make it again. The first plan that passes comes back, or the last.
    pub(super) fn try_and_correct(&mut self, mut made: Made, end: f64) -> Result<Made, PlanError> {
        let (request, control) = (self.request, self.control);
        let mut demands: Vec<Demand> = Vec::new();
        loop {
            made.trial = tried(self.setup, made.sheets.as_ref(), request, &demands, end, control);
            let TrialVerdict::Ran(trial) = &made.trial else { return Ok(made) };
            let now = control.elapsed().as_secs_f64();
            let left = end - now;
            if request.trial.mode != TrialMode::Correct
                || left < LEAST_AGAIN * request.budget.seconds
            {
                return Ok(made);
            }
            let asked = overstretched(self.setup, self.search, &made.found, trial, control);
            let Some((ring, demand)) = asked else { return Ok(made) };
            self.search.demand(ring);
            demands.push(demand);
            // Half of what is left, so that there is as much for the trial.
            let until = now + 0.5 * left;
            self.search.set_deadline(until);
            made = match self.make(until) {
                Ok(made) => made,
                // What was asked for cannot be had in time: the plan stays as it is.
                Err(PlanError::Search(SearchError::NoPlan(_))) => return Ok(made),
                Err(error) => return Err(error),
            };
        }
    }
}
