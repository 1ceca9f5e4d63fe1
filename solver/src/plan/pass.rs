//! The whole chain on one planning mesh, and, where there are hours, on a finer one after it.

use super::assemble::{Parts, assemble};
use super::checkpoint::Checkpoint;
use super::compare::is_better;
use super::correct::{Made, Workbench};
use super::follow::Follow;
use super::make::PlanError;
use super::setup::{Setup, StageClock, distance_from_rim, opening_reach, opening_rows, set_up};
use super::skin::Holes;
use super::{Hooks, Plan, PlanRequest, StopReason, TrialMode};
use crate::control::{Control, Stage};
use crate::curves::{FinishSettings, Finisher};
use crate::mesh::Model;
use crate::optimise::relaxation::RelaxationError;
use crate::optimise::rows::RowPool;
use crate::optimise::search::{Search, SearchError, SearchSettings};
use crate::optimise::separation::Separator;

/// Targets of the separator: centres, and radii for each.
pub(super) const CENTRES: usize = 40;
pub(super) const RADII: usize = 8;

/// Share of the budget, and most seconds, kept for what follows the search.
const KEPT: (f64, f64) = (0.15, 3.0);

/// From this budget on the search goes on over finer planning meshes, seconds.
const LONG: f64 = 600.0;
/// When each pass of a long search ends at the latest, as a share of the budget, and the edge of its
/// planning mesh as a share of the usual one. Where one ends early the next begins; those after the
/// last have its mesh and rows, and another seed.
const PASSES: [(f64, f64); 3] = [(0.3, 1.0), (0.6, 0.75), (1.0, 0.55)];

/// Plan on one mesh after the other until the gap is reached or the budget ends; the best plan.
pub(super) fn run_passes(
    model: &Model,
    request: &PlanRequest,
    mut resumed: Option<Checkpoint>,
    control: &Control<'_>,
    hooks: &Hooks<'_>,
) -> Result<Plan, PlanError> {
    let mut best: Option<Plan> = None;
    let mut number = resumed.as_ref().map_or(0, |c| c.pass);
    loop {
        let pass = Pass::new(number, model, request, control, hooks);
        let (made, left) = pass.run(resumed.take(), best.as_ref());
        let reason = made.as_ref().ok().map(|plan| plan.stopped_by);
        best = match (made, best) {
            (Ok(plan), Some(old)) => Some(if is_better(&plan, &old) { plan } else { old }),
            (Ok(plan), None) => Some(plan),
            // A further pass that led to nothing takes nothing away.
            (Err(_), Some(old)) => Some(old),
            (Err(error), None) => return Err(error),
        };
        let met = matches!(reason, Some(StopReason::GapReached | StopReason::Cancelled));
        if met || !pass.is_long || pass.is_over() {
            return best.ok_or_else(|| SearchError::NoPlan("out of time").into());
        }
        number += 1;
        // On the same mesh what was proved stays proved, and another seed starts from nothing else.
        resumed =
            left.filter(|_| pass.edge() == edge_of(number)).map(|c| c.starting_afresh(number));
    }
}

fn edge_of(number: u32) -> f64 {
    PASSES[(number as usize).min(PASSES.len() - 1)].1
}

/// One way through the chain.
pub(super) struct Pass<'a, 'c> {
    pub number: u32,
    is_long: bool,
    /// When it began, seconds on the job's clock.
    began: f64,
    pub model: &'a Model,
    pub request: &'a PlanRequest,
    pub control: &'a Control<'c>,
    pub hooks: &'a Hooks<'a>,
}

impl<'a, 'c> Pass<'a, 'c> {
    fn new(
        number: u32,
        model: &'a Model,
        request: &'a PlanRequest,
        control: &'a Control<'c>,
        hooks: &'a Hooks<'a>,
    ) -> Self {
        // Plans that trials correct have better use for the hours.
        let is_long = control.with_extra_time(request.budget.seconds) >= LONG
            && request.trial.mode != TrialMode::Correct;
        let began = control.elapsed().as_secs_f64();
        Self { number, is_long, began, model, request, control, hooks }
    }

    /// Edge of its planning mesh, as a share of the usual one.
    fn edge(&self) -> f64 {
        edge_of(self.number)
    }

    /// When it ends at the latest, seconds on the job's clock.
    fn end(&self) -> f64 {
        let share = PASSES.get(self.number as usize).map_or(1.0, |p| p.0);
        if self.is_long { share * self.request.budget.seconds } else { self.request.budget.seconds }
    }

    /// What there is from its beginning to its end, seconds.
    fn seconds(&self) -> f64 {
        (self.end() - self.began).max(0.0)
    }

    /// When the first search ends at the latest.
    fn search_end(&self) -> f64 {
        match self.request.trial.mode {
            TrialMode::Off => self.end(),
            TrialMode::Judge => self.began + SEARCHED.0 * self.seconds(),
            TrialMode::Correct => self.began + SEARCHED.1 * self.seconds(),
        }
    }

    /// Whether the whole budget is used.
    fn is_over(&self) -> bool {
        let left = self.control.with_extra_time(self.request.budget.seconds)
            - self.control.elapsed().as_secs_f64();
        left <= 2.0 * kept(self.request.budget.seconds)
    }

    /// Go through the chain. What the search leaves behind comes back, too.
    fn run(
        &self,
        resumed: Option<Checkpoint>,
        best: Option<&Plan>,
    ) -> (Result<Plan, PlanError>, Option<Checkpoint>) {
        let mut left = None;
        let made = self.try_run(resumed, best, &mut left);
        (made, left)
    }

    fn try_run(
        &self,
        resumed: Option<Checkpoint>,
        best: Option<&Plan>,
        left: &mut Option<Checkpoint>,
    ) -> Result<Plan, PlanError> {
        let (request, control) = (self.request, self.control);
        let setup = set_up(self.model, request, self.edge(), Holes::Filled, control)?;
        let mut clock = StageClock::new(control);
        let mut pool = RowPool::new(setup.graph.edges.len());
        for row in opening_rows(&setup) {
            pool.push(row);
        }
        let settings = SearchSettings {
            entry_price: request.knife.entry_price,
            least_cut: request.knife.least_cut,
            hinge_width: request.knife.hinge_width,
            deadline: self.search_end() - kept(self.search_end() - self.began),
            seed: request.budget.seed.wrapping_add(u64::from(self.number)),
            fixed: setup.fixed(),
        };
        let separator = Separator::new(&setup.graph, CENTRES, RADII);
        let mut finisher = finisher(&setup, request);
        control.stage(Stage::Optimise, 0.1, "looking for tight rings");
        let mut search = Search::new(&separator, pool, settings, control);
        if let Some(checkpoint) = resumed {
            checkpoint.give_to(&mut search, &mut finisher)?;
        }
        let mut follow = Follow::new(self, &setup, best);
        let mut bench = Workbench {
            setup: &setup,
            search: &mut search,
            finisher: &mut finisher,
            request,
            control,
            watch: &mut follow,
        };
        let made = bench.make(self.search_end());
        clock.lap("optimise, curves, sheets");
        let made = match made {
            Ok(made) if request.trial.mode != TrialMode::Off => {
                let end = control.with_extra_time(self.end());
                let made = bench.try_and_correct(made, end);
                clock.lap("trial");
                made
            }
            made => made,
        };
        // What was proved is worth keeping even where there is no plan.
        let checkpoint =
            Checkpoint::of(self.number, &search, made.as_ref().ok().map(|m| &m.found.cut));
        follow.save(&checkpoint);
        *left = Some(checkpoint);
        let Made { found, sheets, trial } = made.map_err(|e| match e {
            PlanError::Search(SearchError::Relaxation(RelaxationError::Infeasible)) => {
                PlanError::KeptOff
            }
            other => other,
        })?;
        let parts = Parts {
            setup: &setup,
            separator: &separator,
            pool: search.pool(),
            found: &found,
            sheets,
            trial,
        };
        assemble(parts, self.model, request, clock.laps, control)
    }
}

/// Share of a pass after which the search leaves the rest to the trial, and to plans that are corrected by it.
const SEARCHED: (f64, f64) = (0.5, 0.3);

/// What is kept of a budget for what follows the search, seconds.
fn kept(seconds: f64) -> f64 {
    (KEPT.0 * seconds).min(KEPT.1)
}

/// Draws and looks at curves on the graph, with the openings that bridges need.
pub(super) fn finisher<'a>(setup: &'a Setup, request: &PlanRequest) -> Finisher<'a> {
    let settings = FinishSettings {
        entry_price: request.knife.entry_price,
        least_cut: request.knife.least_cut,
    };
    let mut finisher = Finisher::new(&setup.graph, &setup.open_loops, settings);
    for (edges, &opening) in setup.loops.iter().zip(&setup.openings) {
        if opening > 0.0 && !edges.is_empty() {
            let distance = distance_from_rim(&setup.graph, edges);
            finisher.add_opening(&distance, opening_reach(&setup.graph, opening), opening);
        }
    }
    finisher
}
