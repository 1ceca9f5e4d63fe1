//! What candidates are made with, on one planning mesh.

use super::answer::Plan;
use super::assemble::Assembly;
use super::candidate::Candidate;
use super::checkpoint::Checkpoint;
use super::ending::{BoundFor, Ending, StopReason};
use super::error::PlanError;
use super::request::PlanRequest;
use super::setup::Setup;
use super::sheets::make_sheets;
use super::sides::Passed;
use super::trial::tried;
use super::verdict::Demand;
use crate::control::Control;
use crate::curves::Finisher;
use crate::mesh::Model;
use crate::optimise::cut_set::CutSet;
use crate::optimise::search::Search;
use crate::trial::Finer;

/// The tools of one planning mesh.
pub(super) struct Workbench<'w, 's, 'g> {
    /// Which of the passes over finer and finer meshes it belongs to.
    pub pass: u32,
    pub model: &'w Model,
    pub request: &'w PlanRequest,
    pub setup: &'w Setup,
    pub search: &'w mut Search<'s, 'g>,
    pub finisher: &'w mut Finisher<'g>,
    pub control: &'w Control<'w>,
}

impl Workbench<'_, '_, '_> {
    /// Whether no ring of the uncut rubber was found too tight to come off.
    pub(super) fn needs_no_cut(&self) -> bool {
        self.search.pools().must.rings.is_empty()
    }

    /// A candidate with its sheets, where it has none yet.
    pub(super) fn with_sheets(&self, candidate: Candidate) -> Result<Candidate, PlanError> {
        if candidate.sheets().is_some() {
            return Ok(candidate);
        }
        let sheets = make_sheets(self.setup, candidate.curves(), self.request, self.control)?;
        Ok(candidate.with_sheets(sheets))
    }

    /// A candidate with its trial, which has to end at `end`, seconds on the job's clock without what was
    /// given on top, with finer elements after coarse ones as `finer` says. `demands` are what earlier trials asked of it.
    pub(super) fn with_trial(
        &self,
        candidate: Candidate,
        demands: &[Demand],
        (end, finer): (f64, Finer),
    ) -> Candidate {
        let sheets = candidate.sheets();
        let trial = tried(self.setup, sheets, self.request, demands, (end, finer), self.control);
        candidate.with_trial(trial)
    }

    /// The ending of a candidate as it is now.
    pub(super) fn ending(&self, stopped_by: StopReason, cost: f64) -> Ending {
        let planning_edge = self.setup.graph.mean_edge();
        let bound_for = BoundFor::GirthModel { planning_edge };
        Ending::new(stopped_by, cost, self.search.bound(), bound_for)
    }

    /// A candidate put together as a plan, while the work goes on.
    pub(super) fn plan(&self, candidate: &Candidate) -> Result<Plan, PlanError> {
        let assembly = Assembly {
            model: self.model,
            request: self.request,
            setup: self.setup,
            separator: self.search.separator(),
            pool: &self.search.pools().must,
            rounds: self.search.rounds(),
        };
        let ending = self.ending(StopReason::NotYet, candidate.cost());
        assembly.plan(candidate, ending, self.control)
    }

    /// Where the search is; `best` is the best set of cuts that was finished, `passed` are the cuts between two sides that did.
    pub(super) fn checkpoint(&self, best: Option<&CutSet>, passed: &Passed) -> Checkpoint {
        Checkpoint::of(self.pass, self.search, best, passed)
    }
}
