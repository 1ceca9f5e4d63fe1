//! What a run finds, on its way into the ledger and to those who follow.

use std::sync::atomic::Ordering;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use slitwright_proto::v1;
use slitwright_solver::outputs::record;
use slitwright_solver::plan::Plan;

use super::best::{figures, is_better, raise_bound};
use super::hub::Hub;
use super::slots::Strings;
use crate::convert::plan_to_proto;
use crate::store::{Claimed, Ledger, Orders, Run, Step, StoreError};

/// Reports are stored at most this often; followers get every one.
const EVERY: Duration = Duration::from_secs(5);

/// Keeps what one run finds.
pub struct Keeper {
    ledger: Arc<dyn Ledger>,
    hub: Arc<Hub>,
    run: Run,
    strings: Strings,
    state: Mutex<State>,
}

/// A plan on its way into the ledger.
pub struct Found {
    /// Its figures.
    pub figures: v1::BetterPlan,
    /// As the protocol shows it.
    pub message: v1::Plan,
    /// In full; `None` leaves what is stored of it.
    pub record: Option<Vec<u8>>,
}

struct State {
    progress: Option<v1::Progress>,
    best: Option<v1::BetterPlan>,
    /// A better plan that could not be stored yet.
    owed: Option<Found>,
    /// Seconds on top of the request's when the solver last said where it was.
    time_given: f64,
    stored: Instant,
}

impl Keeper {
    pub fn new(
        ledger: Arc<dyn Ledger>,
        hub: Arc<Hub>,
        claimed: &Claimed,
        strings: Strings,
    ) -> Self {
        let state = State {
            progress: None,
            best: claimed.job.best,
            owed: None,
            time_given: claimed.job.extra_seconds,
            stored: Instant::now(),
        };
        Self { ledger, hub, run: claimed.run.clone(), strings, state: Mutex::new(state) }
    }

    fn state(&self) -> MutexGuard<'_, State> {
        // Each holder makes one whole change; a panic cannot leave a half of one.
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The newest report.
    pub fn last_progress(&self) -> Option<v1::Progress> {
        self.state().progress.clone()
    }

    /// Figures of the best plan that is stored.
    pub fn best(&self) -> Option<v1::BetterPlan> {
        self.state().best
    }

    /// Seconds on top of the request's that the solver knew of when it last said where it was.
    pub fn time_given(&self) -> f64 {
        self.state().time_given
    }

    /// What the job ends with when the solver's last plan is `last`: that one when it is as good as
    /// any, else the best one of all runs, with what is known of the bound by now. `None` leaves the
    /// stored one as it is.
    pub fn closing_plan(&self, last: &Plan, used_seconds: f64) -> Option<Found> {
        self.better(last, used_seconds);
        let (owed, best) = {
            let mut state = self.state();
            (state.owed.take(), state.best)
        };
        if owed.is_some() {
            return owed;
        }
        let mut best = best?;
        let message = plan_to_proto(last);
        let found = figures(&message, best.number, used_seconds);
        // At the same cost it is the same plan, which knows more of the bound by now, and may have
        // been tried.
        if found.cost_mm == best.cost_mm || !is_better(&best, &found) {
            let figures = v1::BetterPlan {
                create_time: best.create_time,
                used_seconds: best.used_seconds,
                ..found
            };
            return Some(Found { figures, message, record: self.in_full(last) });
        }
        match self.ledger.job_with_plan(&self.run.job) {
            Ok(v1::PlanJob { plan: Some(mut plan), .. }) => {
                raise_bound(&mut plan, &mut best, message.lower_bound_mm);
                plan.stopped_by = message.stopped_by;
                Some(Found { figures: best, message: plan, record: None })
            }
            Ok(_) => None,
            Err(error) => {
                tracing::error!(job = self.run.job, %error, "the best plan cannot be read back");
                let figures = v1::BetterPlan { number: best.number + 1, ..found };
                Some(Found { figures, message, record: self.in_full(last) })
            }
        }
    }

    /// The plan in full. One that cannot be kept so is kept without: it cannot be drawn then, and says so.
    fn in_full(&self, plan: &Plan) -> Option<Vec<u8>> {
        let record = record::write(plan);
        if let Err(error) = &record {
            tracing::error!(job = self.run.job, %error, "a plan cannot be drawn later");
        }
        record.ok()
    }

    /// The solver reports.
    pub fn progress(&self, report: v1::Progress, used_seconds: f64) {
        if report.best_cost_mm.is_some() {
            self.strings.has_plan.store(true, Ordering::SeqCst);
        }
        // After a cancelled job has ended another run of it may be under way already.
        if !self.strings.cancel.is_cancelled() {
            self.hub.tell(&self.run.job, |live| live.progress = Some(report.clone()));
        }
        let mut state = self.state();
        state.progress = Some(report);
        if state.stored.elapsed() >= EVERY {
            self.store(&mut state, None, used_seconds);
        }
    }

    /// The solver says where it is.
    pub fn checkpoint(&self, checkpoint: &[u8], used_seconds: f64) {
        let mut state = self.state();
        state.time_given = self.strings.time_given();
        self.store(&mut state, Some(checkpoint), used_seconds);
    }

    /// The solver has a plan that is better than those before in this run. It counts when it is
    /// better than that of earlier runs too.
    pub fn better(&self, plan: &Plan, used_seconds: f64) {
        self.strings.has_plan.store(true, Ordering::SeqCst);
        let message = plan_to_proto(plan);
        let mut state = self.state();
        let best = state.owed.as_ref().map(|owed| &owed.figures).or(state.best.as_ref());
        // One that is owed was told to nobody: its number is free.
        let number = state.best.as_ref().map_or(1, |best| best.number + 1);
        let figures = figures(&message, number, used_seconds);
        if best.is_none_or(|best| is_better(&figures, best)) {
            state.owed = Some(Found { figures, message, record: self.in_full(plan) });
            self.store(&mut state, None, used_seconds);
        }
    }

    /// Stores what there is and does what others want. What cannot be stored now is stored next time.
    fn store(&self, state: &mut State, checkpoint: Option<&[u8]>, used_seconds: f64) {
        state.stored = Instant::now();
        let owed = state.owed.as_ref();
        let step = Step {
            used_seconds,
            progress: state.progress.as_ref(),
            checkpoint,
            better: owed.map(|owed| (&owed.figures, &owed.message)),
            record: owed.and_then(|owed| owed.record.as_deref()),
        };
        match self.ledger.keep(&self.run, &step) {
            Ok(orders) => {
                if let Some(Found { figures, .. }) = state.owed.take() {
                    state.best = Some(figures);
                    self.hub.tell(&self.run.job, |live| live.best = figures.number);
                }
                self.obey(orders);
            }
            Err(StoreError::RunLost(job)) => {
                tracing::info!(job, "the run is no longer wanted");
                self.strings.cancel.cancel();
            }
            Err(error) => {
                tracing::error!(job = self.run.job, %error, "what was found is not stored yet")
            }
        }
    }

    fn obey(&self, orders: Orders) {
        if orders.cancel {
            self.strings.cancel.cancel();
        }
        self.strings.give_time(orders.extra_seconds);
    }
}
