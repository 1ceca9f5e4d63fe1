//! Shows better plans and checkpoints to whoever follows the search.

use std::time::{Duration, Instant};

use super::assemble::{Parts, assemble};
use super::checkpoint::Checkpoint;
use super::compare::is_better;
use super::improve::{Found, Watch};
use super::pass::Pass;
use super::setup::Setup;
use super::sheets::make_sheets;
use super::{Hooks, NotTried, Plan, TrialVerdict};
use crate::optimise::cut_set::CutSet;
use crate::optimise::search::Search;

/// Least time between two checkpoints.
const BETWEEN_CHECKPOINTS: Duration = Duration::from_secs(10);
/// Showing plans may take this share of the time.
const SHOWING: f64 = 0.05;

/// Follows one pass.
pub(super) struct Follow<'p, 'a, 'c> {
    pass: &'p Pass<'a, 'c>,
    setup: &'p Setup,
    /// The best plan shown, or made by earlier passes.
    best: Option<Plan>,
    /// Better than that, but not shown yet.
    waiting: Option<Found>,
    /// When the next one may be shown.
    next: Instant,
    saved: Instant,
}

impl<'p, 'a, 'c> Follow<'p, 'a, 'c> {
    pub(super) fn new(pass: &'p Pass<'a, 'c>, setup: &'p Setup, best: Option<&Plan>) -> Self {
        let now = Instant::now();
        Self { pass, setup, best: best.cloned(), waiting: None, next: now, saved: now }
    }

    fn hooks(&self) -> &'a Hooks<'a> {
        self.pass.hooks
    }

    /// Hand a checkpoint on.
    pub(super) fn save(&mut self, checkpoint: &Checkpoint) {
        // One that cannot be written is no reason to lose the plan.
        if let (Some(keep), Ok(bytes)) = (self.hooks().checkpoint, checkpoint.to_bytes()) {
            keep(&bytes);
        }
        self.saved = Instant::now();
    }

    fn show(&mut self, search: &Search<'_, '_>) {
        let Some(show) = self.hooks().better.filter(|_| Instant::now() >= self.next) else {
            return;
        };
        let Some(found) = self.waiting.take() else { return };
        let since = Instant::now();
        let (model, request, control) = (self.pass.model, self.pass.request, self.pass.control);
        // What goes wrong here goes wrong again at the end of the search, and is told then.
        // A plan without sheets, of work that is being stopped, is shown by nobody.
        let Ok(Some(sheets)) = make_sheets(self.setup, &found, request, control) else { return };
        let parts = Parts {
            setup: self.setup,
            separator: search.separator(),
            pool: search.pool(),
            found: &found,
            sheets: Some(sheets),
            trial: TrialVerdict::NotRun(NotTried::NotYet),
        };
        let made = assemble(parts, model, request, Vec::new(), control);
        if let Ok(plan) = made
            && self.best.as_ref().is_none_or(|best| is_better(&plan, best))
        {
            show(&plan);
            self.best = Some(plan);
        }
        self.next = Instant::now() + since.elapsed().div_f64(SHOWING);
    }
}

impl Watch for Follow<'_, '_, '_> {
    fn went_on(&mut self, search: &Search<'_, '_>, best: Option<&CutSet>) {
        self.show(search);
        if self.hooks().checkpoint.is_some() && self.saved.elapsed() >= BETWEEN_CHECKPOINTS {
            self.save(&Checkpoint::of(self.pass.number, search, best));
        }
    }

    fn better(&mut self, search: &Search<'_, '_>, found: Found) {
        self.waiting = Some(found);
        self.show(search);
    }
}
