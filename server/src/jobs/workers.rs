//! The threads that work, and what callers ask of them.

use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use slitwright_proto::v1;

use super::group::Group;
use super::hub::Hub;
use super::run::Bench;
use super::slots::{Offer, Slots, Strings};
use crate::planner::Planner;
use crate::store::{
    CancelRunning, Claimed, Extension, Ledger, Models, NewJob, Orders, Run, StoreError,
};

/// How long to wait before the queue is looked at again after that failed: at first, and at most. Twice
/// as long each time.
const AGAIN: (Duration, Duration) = (Duration::from_millis(250), Duration::from_secs(10));

/// Threads that take jobs from the ledger's queue.
pub struct Workers {
    shared: Arc<Shared>,
    threads: Mutex<Vec<JoinHandle<()>>>,
    /// `None` when the ledger is this process's alone.
    group: Mutex<Option<Group>>,
}

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

impl Workers {
    /// Starts workers for `places` jobs at a time, and one for a quick job beside them.
    pub fn start(
        ledger: Arc<dyn Ledger>,
        models: Arc<Models>,
        hub: Arc<Hub>,
        planner: Arc<dyn Planner>,
        places: usize,
    ) -> std::io::Result<Self> {
        let slots = Slots::new(places);
        let count = slots.threads();
        let shared = Arc::new(Shared {
            bench: Bench { ledger, hub, models, planner },
            state: Mutex::new(State { slots, closing: false, wakes: 0 }),
            changed: Condvar::new(),
            claiming: Mutex::new(()),
        });
        let threads = (1..=count)
            .map(|number| {
                let shared = Arc::clone(&shared);
                std::thread::Builder::new().name(format!("plan-worker-{number}")).spawn(move || {
                    while let Some((claimed, strings)) = shared.next() {
                        let run = claimed.run.clone();
                        shared.bench.work(claimed, &strings);
                        shared.free(&run);
                    }
                })
            })
            .collect::<Result<_, _>>()?;
        let group = match shared.bench.ledger.group() {
            Some(_) => Some(Group::start(Arc::clone(&shared))?),
            None => None,
        };
        Ok(Self { shared, threads: Mutex::new(threads), group: Mutex::new(group) })
    }

    /// Queues a job. Blocks.
    pub fn submit(&self, job: &NewJob) -> Result<v1::PlanJob, StoreError> {
        let job = self.shared.bench.ledger.submit(job)?;
        self.shared.wake();
        Ok(job)
    }

    /// Asks a job to stop. One that waits ends here and now and frees its place. So does one that
    /// runs here and has no plan to keep, though its thread is only free when the solver next looks at
    /// the flag. One with a plan ends when the solver hands that over. Blocks.
    pub fn cancel(&self, name: &str) -> Result<v1::PlanJob, StoreError> {
        self.shared.cancel(name)
    }

    /// Gives a job more time. Blocks.
    pub fn extend(&self, name: &str, more: &Extension) -> Result<v1::PlanJob, StoreError> {
        let (job, _) = self.shared.bench.ledger.extend(name, more)?;
        if job.state() == v1::JobState::Running
            && let Some(strings) = self.shared.strings(name)
        {
            strings.give_time(job.extra_seconds);
        }
        self.shared.wake();
        Ok(job)
    }

    /// Gives a job another place in the queue. Blocks.
    pub fn prioritise(&self, name: &str, priority: i32) -> Result<v1::PlanJob, StoreError> {
        self.shared.bench.ledger.prioritise(name, priority)
    }

    /// What the workers work from.
    pub fn ledger(&self) -> &dyn Ledger {
        self.shared.bench.ledger.as_ref()
    }

    /// When a place is likely to be free, if any is taken.
    pub fn soonest_end(&self) -> Option<Duration> {
        self.shared.state().slots.soonest_end(Instant::now())
    }

    /// Begins no more jobs; those under way are stored where they are and go on when the service is
    /// back.
    pub fn close(&self) {
        {
            let mut state = self.shared.state();
            state.closing = true;
            state.slots.all().for_each(Strings::ask_to_leave_at_once);
        }
        self.shared.changed.notify_all();
        self.shared.bench.hub.close();
    }

    /// Waits for the threads to end. Blocks.
    pub fn join(&self) {
        let threads =
            std::mem::take(&mut *self.threads.lock().unwrap_or_else(PoisonError::into_inner));
        for thread in threads {
            if thread.join().is_err() {
                tracing::error!("a worker thread ended by a panic outside any job");
            }
        }
        // Leases are renewed until nothing is under way any more.
        let group = self.group.lock().unwrap_or_else(PoisonError::into_inner).take();
        if let Some(group) = group {
            group.stop();
        }
    }
}

impl Shared {
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
    fn strings(&self, job: &str) -> Option<Strings> {
        let known = |state: &State| state.slots.strings(job).cloned();
        let found = known(&self.state());
        found.or_else(|| {
            let _claiming = self.claiming.lock().unwrap_or_else(PoisonError::into_inner);
            known(&self.state())
        })
    }

    fn cancel(&self, name: &str) -> Result<v1::PlanJob, StoreError> {
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
