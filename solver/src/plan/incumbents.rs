//! The best there is: which candidate is kept, which plans are shown to whoever follows, what is stored to go on
//! from. Which of two is better is [`Standing`]'s to say, at every stage.

use std::time::{Duration, Instant};

use super::answer::Plan;
use super::candidate::Candidate;
use super::checkpoint::Checkpoint;
use super::closing::close;
use super::ending::{BoundFor, Ending, StopReason};
use super::error::PlanError;
use super::halves::Halves;
use super::hooks::Hooks;
use super::request::PlanRequest;
use super::sides::Passed;
use super::standing::{Standing, Tried};
use super::workbench::Workbench;
use crate::optimise::cut_set::CutSet;

/// Least time between two checkpoints.
const BETWEEN_CHECKPOINTS: Duration = Duration::from_secs(10);
/// Showing plans may take this share of the time.
const SHOWING: f64 = 0.05;

/// The incumbents of one job.
pub(super) struct Incumbents<'a> {
    hooks: &'a Hooks<'a>,
    /// The best curves of the search that is under way.
    drawn: Option<Candidate>,
    /// Whether those are to be shown.
    is_news: bool,
    /// The best candidate of this planning mesh that is through all stages asked for.
    nearest: Option<(Standing, Candidate)>,
    /// The best of all meshes.
    best: Option<Best>,
    /// Where the best plan that was shown stands.
    shown: Option<Standing>,
    /// When the next one may be shown.
    next: Instant,
    saved: Instant,
    /// What went wrong on the way, a sentence each.
    faults: Vec<String>,
    /// What two loose halves did.
    pub halves: Halves,
    /// Cuts between two sides that passed on this planning mesh, in this run of the job or in one before.
    pub passed: Passed,
}

/// The best plan of all planning meshes, and what is proved on its own.
struct Best {
    standing: Standing,
    plan: Plan,
    pass: u32,
    bound: f64,
    bound_for: BoundFor,
}

impl<'a> Incumbents<'a> {
    /// None yet.
    pub(super) fn new(hooks: &'a Hooks<'a>) -> Self {
        let now = Instant::now();
        Self {
            hooks,
            drawn: None,
            is_news: false,
            nearest: None,
            best: None,
            shown: None,
            next: now,
            saved: now,
            faults: Vec::new(),
            halves: Halves::default(),
            passed: Passed::default(),
        }
    }

    /// Work begins on another planning mesh.
    pub(super) fn begin_mesh(&mut self) {
        self.nearest = None;
        self.passed = Passed::default();
        self.begin_search();
    }

    /// A search begins: more is asked than of what was drawn before.
    pub(super) fn begin_search(&mut self) {
        (self.drawn, self.is_news) = (None, false);
    }

    /// A candidate of the search has curves. Tells whether it is the best of the search now.
    pub(super) fn offer_drawn(&mut self, candidate: Candidate) -> bool {
        let best = self.drawn.as_ref().map(Candidate::standing);
        let is_better = best.is_none_or(|best| candidate.standing().is_better_than(&best));
        if is_better {
            self.is_news = candidate.curves().is_sound();
            self.drawn = Some(candidate);
        }
        is_better
    }

    /// The best curves of the search.
    pub(super) fn drawn(&self) -> Option<&Candidate> {
        self.drawn.as_ref()
    }

    /// The best curves of the search, once it is over.
    pub(super) fn take_drawn(&mut self) -> Option<Candidate> {
        self.drawn.take()
    }

    /// The search went on: what is new is shown and stored, as often as may be.
    pub(super) fn search_went_on(&mut self, bench: &Workbench<'_, '_, '_>) {
        if self.is_news && self.hooks.better.is_some() && Instant::now() >= self.next {
            let since = Instant::now();
            self.is_news = false;
            // What goes wrong here goes wrong again when the search is over, and is told then.
            let with_sheets = self.drawn.clone().and_then(|drawn| bench.with_sheets(drawn).ok());
            if let Some(candidate) = with_sheets.filter(|c| c.sheets().is_some()) {
                if let Ok(plan) = bench.plan(&candidate) {
                    self.show(&plan);
                }
                self.drawn = Some(candidate);
            }
            self.next = Instant::now() + since.elapsed().div_f64(SHOWING);
        }
        if self.hooks.checkpoint.is_some() && self.saved.elapsed() >= BETWEEN_CHECKPOINTS {
            let best = self.drawn.as_ref().and_then(Candidate::edges);
            self.store(&bench.checkpoint(best, &self.passed));
        }
    }

    /// A candidate is through all stages asked for: it is kept if it is the best of its mesh, and put
    /// together, shown and stored. Tells whether it is.
    pub(super) fn offer(
        &mut self,
        bench: &Workbench<'_, '_, '_>,
        candidate: Candidate,
    ) -> Result<bool, PlanError> {
        let plan = bench.plan(&candidate)?;
        let standing = Standing::of(&plan);
        if self.nearest.as_ref().is_some_and(|(best, _)| !standing.is_better_than(best)) {
            return Ok(false);
        }
        self.keep(bench, candidate, plan);
        Ok(true)
    }

    /// A finer look tells how the best of this mesh stands, or which other one stands in its place: it is kept whatever
    /// was thought before. Until it is put together nothing is lost.
    pub(super) fn replace(
        &mut self,
        bench: &Workbench<'_, '_, '_>,
        candidate: Candidate,
    ) -> Result<(), PlanError> {
        let plan = bench.plan(&candidate)?;
        self.best = None;
        self.keep(bench, candidate, plan);
        Ok(())
    }

    fn keep(&mut self, bench: &Workbench<'_, '_, '_>, candidate: Candidate, plan: Plan) {
        let standing = Standing::of(&plan);
        self.store(&bench.checkpoint(candidate.edges(), &self.passed));
        self.nearest = Some((standing, candidate));
        if self.best.as_ref().is_none_or(|best| standing.is_better_than(&best.standing)) {
            self.show(&plan);
            let Ending { lower_bound: bound, bound_for, .. } = plan.ending;
            self.best = Some(Best { standing, plan, pass: bench.pass, bound, bound_for });
        }
    }

    /// The best candidate of this mesh that is through all stages asked for.
    pub(super) fn nearest(&self) -> Option<&Candidate> {
        self.nearest.as_ref().map(|(_, candidate)| candidate)
    }

    /// Something went wrong that takes nothing away from what there is.
    pub(super) fn fault(&mut self, fault: &impl std::fmt::Display) {
        self.faults.push(format!("the work was broken off by a fault: {fault}"));
    }

    /// What a step came to; none where a fault broke it off, which is noted, so that other ways to a plan are still tried.
    /// Whoever stops the work stops all of it.
    pub(super) fn unless_faulty<T>(
        &mut self,
        step: Result<T, PlanError>,
    ) -> Result<Option<T>, PlanError> {
        match step {
            Ok(made) => Ok(Some(made)),
            Err(cancelled @ PlanError::Cancelled(_)) if !self.has_plan() => Err(cancelled),
            Err(PlanError::Cancelled(_)) => Ok(None),
            Err(error) => {
                self.fault(&error);
                Ok(None)
            }
        }
    }

    /// Work on a planning mesh is over: what was proved on it holds for its best plan, and `laps` are the
    /// seconds that it took. What the search leaves behind comes back, stored.
    pub(super) fn end_mesh(
        &mut self,
        bench: &Workbench<'_, '_, '_>,
        laps: Vec<(String, f64)>,
    ) -> Checkpoint {
        let best: Option<CutSet> =
            self.nearest().or(self.drawn()).and_then(Candidate::edges).cloned();
        if let Some(best) = self.best.as_mut().filter(|best| best.pass == bench.pass) {
            let ending = bench.ending(StopReason::NotYet, best.plan.cost);
            (best.bound, best.bound_for) = (ending.lower_bound, ending.bound_for);
            best.plan.figures.seconds.extend(laps);
        }
        // What was proved is worth keeping even where there is no plan.
        let checkpoint = bench.checkpoint(best.as_ref(), &self.passed);
        self.store(&checkpoint);
        checkpoint
    }

    /// Whether there is a plan.
    pub(super) fn has_plan(&self) -> bool {
        self.best.is_some()
    }

    /// The best plan, once all work is over.
    pub(super) fn into_plan(self, stopped_by: StopReason, request: &PlanRequest) -> Option<Plan> {
        let Best { mut plan, bound, bound_for, standing, .. } = self.best?;
        plan.warnings.extend(self.faults);
        let comes_off = matches!(standing.tried, Tried::Passed | Tried::Narrowly);
        if !comes_off {
            plan.warnings.extend(self.halves.in_words());
        }
        let ending = Ending::new(stopped_by, plan.cost, bound, bound_for);
        close(&mut plan, ending, request);
        Some(plan)
    }

    fn show(&mut self, plan: &Plan) {
        // A plan without sheets, of work that is being stopped, is shown by nobody.
        let Some(show) = self.hooks.better.filter(|_| plan.sheets.is_some()) else { return };
        let standing = Standing::of(plan);
        if self.shown.is_none_or(|shown| standing.is_better_than(&shown)) {
            show(plan);
            self.shown = Some(standing);
        }
    }

    fn store(&mut self, checkpoint: &Checkpoint) {
        // One that cannot be written is no reason to lose the plan.
        if let (Some(keep), Ok(bytes)) = (self.hooks.checkpoint, checkpoint.to_bytes()) {
            keep(&bytes);
        }
        self.saved = Instant::now();
    }
}
