//! The threads that work, and what callers ask of them.

use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use slitwright_proto::v1;

use super::hub::Hub;
use super::run::Bench;
use super::slots::{Offer, Slots, Strings};
use crate::planner::Planner;
use crate::store::{CancelRunning, Claimed, Extension, Ledger, Models, NewJob, Run, StoreError};

/// How long to wait before the queue is looked at again after that failed.
const AGAIN: Duration = Duration::from_secs(1);

/// Threads that take jobs from the ledger's queue.
pub struct Workers {
    shared: Arc<Shared>,
    threads: Mutex<Vec<JoinHandle<()>>>,
}

struct Shared {
    bench: Bench,
    state: Mutex<State>,
    changed: Condvar,
}

struct State {
    slots: Slots,
    closing: bool,
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
            state: Mutex::new(State { slots, closing: false }),
            changed: Condvar::new(),
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
        Ok(Self { shared, threads: Mutex::new(threads) })
    }

    /// Queues a job. Blocks.
    pub fn submit(&self, job: &NewJob) -> Result<v1::PlanJob, StoreError> {
        let job = self.shared.bench.ledger.submit(job)?;
        self.shared.wake();
        Ok(job)
    }

    /// Asks a job to stop. One that waits ends here and now and frees its place. So does one that
    /// runs and has no plan to keep, though its thread is only free when the solver next looks at
    /// the flag. One with a plan ends when the solver hands that over. Blocks.
    pub fn cancel(&self, name: &str) -> Result<v1::PlanJob, StoreError> {
        let strings = self.shared.state().slots.strings(name).cloned();
        let has_plan =
            |strings: &Strings| strings.has_plan.load(std::sync::atomic::Ordering::SeqCst);
        let running = match &strings {
            Some(strings) if !has_plan(strings) => CancelRunning::AtOnce,
            _ => CancelRunning::ByItsRun,
        };
        let job = self.shared.bench.ledger.cancel(name, running)?;
        if crate::store::has_ended(job.state()) {
            self.shared.bench.hub.turn(name);
        }
        // It may have been claimed in between.
        if let Some(strings) = strings.or_else(|| self.shared.state().slots.strings(name).cloned())
        {
            strings.cancel.cancel();
        }
        Ok(job)
    }

    /// Gives a job more time. Blocks.
    pub fn extend(&self, name: &str, more: &Extension) -> Result<v1::PlanJob, StoreError> {
        let (job, _) = self.shared.bench.ledger.extend(name, more)?;
        if job.state() == v1::JobState::Running
            && let Some(strings) = self.shared.state().slots.strings(name)
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
            state.slots.all().for_each(Strings::ask_to_leave);
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
    }
}

impl Shared {
    fn state(&self) -> MutexGuard<'_, State> {
        // Each holder makes one whole change; a panic cannot leave a half of one.
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// There may be something to do.
    fn wake(&self) {
        // Under the lock, so that no thread is between finding nothing and waiting.
        let _state = self.state();
        self.changed.notify_all();
    }

    fn free(&self, run: &Run) {
        self.state().slots.free(run, Instant::now());
        self.changed.notify_all();
    }

    /// The next job, or `None` once the service goes down.
    fn next(&self) -> Option<(Claimed, Strings)> {
        let mut state = self.state();
        loop {
            if state.closing {
                return None;
            }
            let offer = state.slots.offer(Instant::now());
            let claimed = match offer {
                Offer::Next => self.bench.ledger.claim(None),
                Offer::Quick(most) => self.bench.ledger.claim(Some(most)),
                Offer::Nothing => Ok(None),
            };
            match claimed {
                Ok(Some(claimed)) => {
                    let strings = Strings::default();
                    strings.give_time(claimed.job.extra_seconds);
                    let needs = seconds(&claimed);
                    let run = claimed.run.clone();
                    state.slots.take(run, strings.clone(), needs, offer, Instant::now());
                    return Some((claimed, strings));
                }
                Ok(None) => {
                    state = self.changed.wait(state).unwrap_or_else(PoisonError::into_inner);
                }
                Err(error) => {
                    tracing::error!(%error, "the queue cannot be read");
                    let waited = self.changed.wait_timeout(state, AGAIN);
                    state = waited.unwrap_or_else(PoisonError::into_inner).0;
                }
            }
        }
    }
}

/// Seconds that a job still has of its request's.
fn seconds(claimed: &Claimed) -> f64 {
    let budget = claimed.job.request.as_ref().and_then(|request| request.budget);
    let used = claimed.checkpoint.as_ref().map_or(0.0, |checkpoint| checkpoint.used_seconds);
    budget.and_then(|budget| budget.time_limit_seconds).unwrap_or_default() - used
}
