//! The trial corrects the plan: one that fails is made again with cut asked for across the rubber that was
//! stretched round the place where it was held.

use super::PlanError;
use super::improve::{Found, Watch, improve, mended};
use super::setup::Setup;
use super::sheets::{PlannedSheets, make_sheets};
use super::trial::{Ask, Asked, overstretched, tried};
use super::{Demand, NotTried, PlanRequest, PlanTrial, TrialMode, TrialVerdict};
use crate::control::Control;
use crate::curves::Finisher;
use crate::optimise::search::{Search, SearchError};
use crate::trial::Outcome;

/// A plan is made and tried again while there is so many times the time left that it took last.
const LEAST_AGAIN: f64 = 1.2;

/// Share of the time left after which a plan that is made again has to be there: as much is for its
/// trial, and as much to make one more.
const SEARCHED: f64 = 1.0 / 3.0;

/// So many mended plans in a row that come no nearer make the next one be searched for anew.
const IN_VAIN: usize = 2;

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
        let Self { search, finisher, request, control, watch, .. } = self;
        let found = improve(search, finisher, seconds, request, control, *watch)?;
        self.with_sheets(found)
    }

    fn with_sheets(&self, found: Found) -> Result<Made, PlanError> {
        let sheets = make_sheets(self.setup, &found, self.request, self.control)?;
        Ok(Made { found, sheets, trial: TrialVerdict::NotRun(NotTried::NotAsked) })
    }

    /// Another plan, now that more is asked, by `seconds` on the job's clock: searched for, or the plan
    /// `before` with what it lacks.
    fn make_again(&mut self, before: Option<&Found>, seconds: f64) -> Result<Made, PlanError> {
        self.search.set_deadline(seconds);
        let Self { search, finisher, request, control, .. } = self;
        match before.and_then(|before| mended(before, search, finisher, request, control)) {
            Some(found) => self.with_sheets(found),
            None => self.make(seconds),
        }
    }

    /// Try the plan as the request asks. As long as it fails and time is left before `end`, seconds on
    /// the job's clock, make it again. The first plan that passes comes back, or else the one that came
    /// nearest to it.
    ///
    /// What is asked is what the nearest plan lacks, more of it every time that this brings no nearer one.
    /// A search finds the shorter plans, but others, which may fail elsewhere; a mended plan holds what
    /// the one before it did.
    pub(super) fn try_and_correct(&mut self, made: Made, end: f64) -> Result<Made, PlanError> {
        let (request, control) = (self.request, self.control);
        let mut demands: Vec<Demand> = Vec::new();
        let mut nearest = made;
        let mut in_vain = 0;
        let mut began = control.elapsed().as_secs_f64();
        nearest.trial = tried(self.setup, nearest.sheets.as_ref(), request, &demands, end, control);
        loop {
            let now = control.elapsed().as_secs_f64();
            let left = end - now;
            let TrialVerdict::Ran(trial) = &nearest.trial else { break };
            let took = now - std::mem::replace(&mut began, now);
            if request.trial.mode != TrialMode::Correct || left < LEAST_AGAIN * took {
                break;
            }
            let times = 1 + in_vain;
            let Some(Asked { what, demand }) =
                overstretched(self.setup, self.search, &nearest.found, trial, times, control)
            else {
                break;
            };
            match what {
                Ask::Cut(relief) => self.search.relieve(relief),
                Ask::Opening(ring) => self.search.demand(ring),
            }
            demands.push(demand);
            let anew = in_vain > 0 && in_vain % IN_VAIN == 0;
            let before = (!anew).then_some(&nearest.found);
            let mut made = match self.make_again(before, now + SEARCHED * left) {
                Ok(made) => made,
                // What was asked for cannot be had in time.
                Err(PlanError::Search(SearchError::NoPlan(_))) => break,
                Err(error) => return Err(error),
            };
            made.trial = tried(self.setup, made.sheets.as_ref(), request, &demands, end, control);
            let is_nearer = comes_nearer(&made.trial, &nearest.trial);
            (nearest, in_vain) = if is_nearer { (made, 0) } else { (nearest, in_vain + 1) };
        }
        Ok(nearest)
    }
}

/// Whether a plan made again is nearer to what is wanted than one before: it leaves the mould whole, passes its
/// trial, or lets the mould come farther.
fn comes_nearer(new: &TrialVerdict, old: &TrialVerdict) -> bool {
    let (TrialVerdict::Ran(new), TrialVerdict::Ran(old)) = (new, old) else { return false };
    let key = |trial: &PlanTrial| {
        let report = &trial.report;
        let passes = report.outcome == Outcome::Released;
        (report.mesh.pieces > 1, !passes, report.outcome == Outcome::OutOfTime)
    };
    key(new).cmp(&key(old)).then(held_after(old).total_cmp(&held_after(new))).is_lt()
}

/// How far the mould came before it was held with all that hands can pull, mm; else how far it came at all.
fn held_after(trial: &PlanTrial) -> f64 {
    let (mut travel, mut force) = (0.0, 0.0);
    for point in &trial.report.pull {
        if point.force >= trial.hand_force {
            let share = (trial.hand_force - force) / (point.force - force);
            return travel + share.clamp(0.0, 1.0) * (point.travel - travel);
        }
        (travel, force) = (point.travel, point.force);
    }
    travel
}
