//! The whole chain on one planning mesh, and, where there are hours, on a finer one after it.

use super::answer::Plan;
use super::checkpoint::Checkpoint;
use super::clock::{Span, StageClock, kept};
use super::correct::try_and_correct;
use super::ending::{StopReason, TrialsEnd, stop_reason};
use super::error::PlanError;
use super::families::{Families, search};
use super::hooks::Hooks;
use super::incumbents::Incumbents;
use super::openings::opening_rows;
use super::request::{PlanRequest, TrialMode};
use super::setup::set_up;
use super::skin::Holes;
use super::tools::{finisher, separator};
use super::workbench::Workbench;
use crate::control::{Control, Stage};
use crate::mesh::Model;
use crate::optimise::pool::RowPool;
use crate::optimise::search::{Search, SearchError};
use crate::optimise::settings::SearchSettings;

/// From this budget on the search goes on over finer planning meshes, seconds.
const LONG: f64 = 600.0;
/// When each pass of a long search ends at the latest, as a share of the budget, and the edge of its
/// planning mesh as a share of the usual one. Where one ends early the next begins; those after the
/// last have its mesh and rows, and another seed.
const PASSES: [(f64, f64); 3] = [(0.3, 1.0), (0.6, 0.75), (1.0, 0.55)];

/// Share of a pass after which the search leaves the rest to the trial, and to plans that are corrected by it.
const SEARCHED: (f64, f64) = (0.5, 0.3);

/// Plan on one mesh after the other until the gap is reached or the budget ends; the best plan.
pub(super) fn run_passes(
    model: &Model,
    request: &PlanRequest,
    mut resumed: Option<Checkpoint>,
    control: &Control<'_>,
    hooks: &Hooks<'_>,
) -> Result<Plan, PlanError> {
    let mut incumbents = Incumbents::new(hooks);
    let mut number = resumed.as_ref().map_or(0, |c| c.pass);
    let stopped_by = loop {
        let pass = Pass::new(number, model, request, control);
        let (ended, left) = pass.run(resumed.take(), &mut incumbents);
        let reason = match ended {
            Ok(reason) => reason,
            Err(error) if !incumbents.has_plan() => return Err(error),
            // A further pass that led to nothing takes nothing away.
            Err(PlanError::Cancelled(_)) => StopReason::Cancelled,
            Err(PlanError::Search(SearchError::NoPlan(_))) => StopReason::TimeBudget,
            Err(error) => {
                incumbents.fault(&error);
                StopReason::Fault
            }
        };
        // Whoever stopped the work comes first, whatever it was at.
        let reason = stop_reason(reason, TrialsEnd::AsSearched, control.is_cancelled());
        let is_met =
            matches!(reason, StopReason::GapReached | StopReason::Cancelled | StopReason::Fault);
        if is_met || !pass.is_long || pass.is_over() {
            break reason;
        }
        number += 1;
        // On the same mesh what was proved stays proved, and another seed starts from nothing else.
        resumed =
            left.filter(|_| pass.edge() == edge_of(number)).map(|c| c.starting_afresh(number));
    };
    let plan = incumbents.into_plan(stopped_by, request);
    plan.ok_or_else(|| SearchError::NoPlan("out of time").into())
}

fn edge_of(number: u32) -> f64 {
    PASSES[(number as usize).min(PASSES.len() - 1)].1
}

/// One way through the chain.
struct Pass<'a, 'c> {
    number: u32,
    is_long: bool,
    /// When it began, seconds on the job's clock.
    began: f64,
    model: &'a Model,
    request: &'a PlanRequest,
    control: &'a Control<'c>,
}

impl<'a, 'c> Pass<'a, 'c> {
    fn new(
        number: u32,
        model: &'a Model,
        request: &'a PlanRequest,
        control: &'a Control<'c>,
    ) -> Self {
        // Plans that trials correct have better use for the hours.
        let is_long = control.with_extra_time(request.budget.seconds) >= LONG
            && request.trial.mode != TrialMode::Correct
            && request.budget.rounds.is_none();
        let began = control.elapsed().as_secs_f64();
        Self { number, is_long, began, model, request, control }
    }

    /// Edge of its planning mesh, as a share of the usual one.
    fn edge(&self) -> f64 {
        edge_of(self.number)
    }

    /// When it ends at the latest, seconds on the job's clock, without what is given on top.
    fn end(&self) -> f64 {
        let share = PASSES.get(self.number as usize).map_or(1.0, |p| p.0);
        if self.is_long { share * self.request.budget.seconds } else { self.request.budget.seconds }
    }

    /// From when to when it runs.
    fn span(&self) -> Span<'a, 'c> {
        Span::new(self.began, self.end(), self.control)
    }

    /// When the first search ends at the latest.
    fn search_end(&self) -> f64 {
        match self.request.trial.mode {
            TrialMode::Off => self.end(),
            TrialMode::Judge => self.span().at(SEARCHED.0),
            TrialMode::Correct => self.span().at(SEARCHED.1),
        }
    }

    /// Whether the whole budget is used.
    fn is_over(&self) -> bool {
        let left = self.control.with_extra_time(self.request.budget.seconds)
            - self.control.elapsed().as_secs_f64();
        left <= 2.0 * kept(self.request.budget.seconds)
    }

    /// Go through the chain; candidates go to the incumbents. What the search leaves behind comes back,
    /// too.
    fn run(
        &self,
        resumed: Option<Checkpoint>,
        incumbents: &mut Incumbents<'_>,
    ) -> (Result<StopReason, PlanError>, Option<Checkpoint>) {
        let mut left = None;
        let ended = self.try_run(resumed, incumbents, &mut left);
        (ended, left)
    }

    fn try_run(
        &self,
        resumed: Option<Checkpoint>,
        incumbents: &mut Incumbents<'_>,
        left: &mut Option<Checkpoint>,
    ) -> Result<StopReason, PlanError> {
        let (request, control) = (self.request, self.control);
        incumbents.begin_mesh();
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
            deadline: self.span().deadline(self.search_end(), incumbents.has_plan()),
            seed: request.budget.seed.wrapping_add(u64::from(self.number)),
            fixed: setup.fixed(),
            by_clock: request.budget.rounds.is_none(),
        };
        let separator = separator(&setup.graph);
        let mut finisher = finisher(&setup, request);
        control.stage(Stage::Optimise, 0.1, "rings of rubber too tight to let the model pass");
        let before = control.elapsed();
        let mut search = Search::new(&separator, pool, settings, control);
        let first_look = control.elapsed().saturating_sub(before).as_secs_f64();
        if let Some(checkpoint) = resumed {
            incumbents.passed = checkpoint.give_to(&mut search, &mut finisher)?;
        }
        let mut bench = Workbench {
            pass: self.number,
            model: self.model,
            request,
            setup: &setup,
            search: &mut search,
            finisher: &mut finisher,
            control,
        };
        let ended = self.work(&mut bench, incumbents, &mut clock, first_look);
        *left = Some(incumbents.end_mesh(&bench, clock.laps));
        ended
    }

    /// Search, draw, make sheets, and try what comes of it. The first look for rings took `first_look` seconds.
    fn work(
        &self,
        bench: &mut Workbench<'_, '_, '_>,
        incumbents: &mut Incumbents<'_>,
        clock: &mut StageClock<'_, '_>,
        first_look: f64,
    ) -> Result<StopReason, PlanError> {
        if self.request.trial.mode == TrialMode::Correct {
            let families = Families::new(self.request, self.control, self.span(), first_look);
            return families.work(bench, incumbents, clock);
        }
        let (searched, candidate) = search(bench, incumbents, self.search_end())?;
        clock.lap("optimise, curves, sheets");
        if self.request.trial.mode == TrialMode::Off {
            incumbents.offer(bench, candidate.without_trial())?;
            return Ok(searched);
        }
        let trials = try_and_correct(bench, incumbents, candidate, self.end())?;
        clock.lap("trial");
        Ok(stop_reason(searched, trials, self.control.is_cancelled()))
    }
}
