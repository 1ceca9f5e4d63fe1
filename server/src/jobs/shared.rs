//! What the threads that work share with each other and with those that speak to other processes.

use std::sync::{Condvar, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use slitwright_proto::v1;

use super::hub::Hub;
use super::run::Bench;
use super::slots::{Offer, Slots, Strings};
use crate::store::{CancelRunning, Claimed, Ledger, Orders, Run, StoreError};

/// How long to wait before the queue is looked at again after that failed: at first, and at most. Twice
/// as long each time.
const AGAIN: (Duration, Duration) = (Duration::from_millis(250), Duration::from_secs(10));

/// What the threads share.
pub struct Shared {
    bench: Bench,
    state: Mutex<State>,
    changed: Condvar,
    /// Held from an offer until a job is in its place: offers are made one at a time, and the ledger
    /// is asked without holding up the state.
    claiming: Mutex<()>,
}

struct State {
    slots: Slots,
    closing: bool,
    /// Goes up whenever there may be something to do.
    wakes: u64,
}

impl Shared {
    /// Nothing is worked on yet.
    pub fn new(bench: Bench, slots: Slots) -> Self {
        Self {
            bench,
            state: Mutex::new(State { slots, closing: false, wakes: 0 }),
            changed: Condvar::new(),
            claiming: Mutex::new(()),
        }
    }

    /// Works on one job after the other until the service goes down.
    pub fn work(&self) {
        while let Some((claimed, strings)) = self.next() {
            let run = claimed.run.clone();
            self.bench.work(claimed, &strings);
            self.free(&run);
        }
    }

    /// No job begins any more, and those under way are given back.
    pub fn close(&self) {
        {
            let mut state = self.state();
            state.closing = true;
            state.slots.all().for_each(Strings::ask_to_leave_at_once);
        }
        self.changed.notify_all();
        self.bench.hub.close();
    }

    /// When a place is likely to be free, if any is taken.
    pub fn soonest_end(&self) -> Option<Duration> {
        self.state().slots.soonest_end(Instant::now())
    }

    fn state(&self) -> MutexGuard<'_, State> {
        // Each holder makes one whole change; a panic cannot leave a half of one.
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// There may be something to do.
    pub fn wake(&self) {
        self.state().wakes += 1;
        self.changed.notify_all();
    }

    /// Where jobs are.
    pub fn ledger(&self) -> &dyn Ledger {
        self.bench.ledger.as_ref()
    }

    /// Who follows jobs.
    pub fn hub(&self) -> &Hub {
        &self.bench.hub
    }

    /// The runs that are under way.
    pub fn runs(&self) -> Vec<Run> {
        self.state().slots.runs()
    }

    /// A run's lease is renewed, and others want this of its job.
    pub fn obey(&self, run: &Run, orders: Orders) {
        let Some(strings) = self.state().slots.strings_of(run).cloned() else { return };
        strings.give_time(orders.extra_seconds);
        if orders.cancel
            && !strings.cancel.is_cancelled()
            && let Err(error) = self.cancel(&run.job)
        {
            // It is asked for again when the lease is next renewed.
            tracing::error!(job = run.job, %error, "the job is not cancelled yet");
        }
    }

    /// A run has lost its job: it has ended, or someone else has it.
    pub fn lose(&self, run: &Run) {
        if let Some(strings) = self.state().slots.strings_of(run) {
            tracing::info!(job = run.job, "the run is no longer wanted");
            strings.cancel.cancel();
        }
    }

    /// Stops the runs whose leases ended before `moment`, as far as this process knows.
    pub fn stop_begun_before(&self, moment: Instant) {
        for (run, strings) in self.state().slots.begun_before(moment) {
            if !strings.is_leaving() {
                tracing::warn!(job = run.job, "the lease is over: the run stops");
                strings.ask_to_leave();
            }
        }
    }

    fn free(&self, run: &Run) {
        self.state().slots.free(run, Instant::now());
        self.wake();
    }

    /// The strings of a job, also of one that is just being claimed.
    pub fn strings(&self, job: &str) -> Option<Strings> {
        let known = |state: &State| state.slots.strings(job).cloned();
        let found = known(&self.state());
        found.or_else(|| {
            let _claiming = self.claiming.lock().unwrap_or_else(PoisonError::into_inner);
            known(&self.state())
        })
    }

    /// Asks a job to stop. Blocks.
    pub fn cancel(&self, name: &str) -> Result<v1::PlanJob, StoreError> {
        let strings = self.state().slots.strings(name).cloned();
        let has_plan =
            |strings: &Strings| strings.has_plan.load(std::sync::atomic::Ordering::SeqCst);
        let running = match &strings {
            Some(strings) if !has_plan(strings) => CancelRunning::AtOnce,
            _ => CancelRunning::ByItsRun,
        };
        let job = self.bench.ledger.cancel(name, running)?;
        if crate::store::has_ended(job.state()) {
            self.bench.hub.turn(name);
        }
        if let Some(strings) = strings.or_else(|| self.strings(name)) {
            strings.cancel.cancel();
        }
        Ok(job)
    }

    /// The next job, or `None` once the service goes down.
    fn next(&self) -> Option<(Claimed, Strings)> {
        let mut again = AGAIN.0;
        loop {
            let claiming = self.claiming.lock().unwrap_or_else(PoisonError::into_inner);
            let (offer, wakes) = {
                let state = self.state();
                if state.closing {
                    return None;
                }
                (state.slots.offer(Instant::now()), state.wakes)
            };
            let claimed = match offer {
                Offer::Next => self.bench.ledger.claim(None),
                Offer::Quick(most) => self.bench.ledger.claim(Some(most)),
                Offer::Nothing => Ok(None),
            };
            if let Ok(Some(claimed)) = claimed {
                return Some(self.take(claimed, offer));
            }
            drop(claiming);
            let idle = |state: &mut State| state.wakes == wakes && !state.closing;
            if let Err(error) = claimed {
                tracing::error!(%error, "the queue cannot be read");
                let waited = self.changed.wait_timeout_while(self.state(), again, idle);
                drop(waited.unwrap_or_else(PoisonError::into_inner));
                again = (2 * again).min(AGAIN.1);
            } else {
                let waited = self.changed.wait_while(self.state(), idle);
                drop(waited.unwrap_or_else(PoisonError::into_inner));
                again = AGAIN.0;
            }
        }
    }

    fn take(&self, claimed: Claimed, offer: Offer) -> (Claimed, Strings) {
        let strings = Strings::default();
        strings.give_time(claimed.job.extra_seconds);
        let (needs, run) = (seconds(&claimed), claimed.run.clone());
        let mut state = self.state();
        state.slots.take(run, strings.clone(), needs, offer, Instant::now());
        if state.closing {
            // The others were asked before this one was there.
            strings.ask_to_leave_at_once();
        }
        (claimed, strings)
    }
}

/// Seconds that a job still has of its request's.
fn seconds(claimed: &Claimed) -> f64 {
    let budget = claimed.job.request.as_ref().and_then(|request| request.budget);
    let used = claimed.checkpoint.as_ref().map_or(0.0, |checkpoint| checkpoint.used_seconds);
    budget.and_then(|budget| budget.time_limit_seconds).unwrap_or_default() - used
}
