//! The threads that work, and what callers ask of them.

use std::sync::{Arc, Mutex, PoisonError};
use std::thread::JoinHandle;
use std::time::Duration;

use slitwright_proto::v1;

use super::group::Group;
use super::hub::Hub;
use super::run::Bench;
use super::shared::Shared;
use super::slots::Slots;
use crate::planner::Planner;
use crate::store::{Extension, Ledger, Models, NewJob, StoreError};

/// Threads that take jobs from the ledger's queue.
pub struct Workers {
    shared: Arc<Shared>,
    threads: Mutex<Vec<JoinHandle<()>>>,
    /// `None` when the ledger is this process's alone.
    group: Mutex<Option<Group>>,
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
        let shared = Arc::new(Shared::new(Bench { ledger, hub, models, planner }, slots));
        let threads = (1..=count)
            .map(|number| {
                let shared = Arc::clone(&shared);
                let thread = std::thread::Builder::new().name(format!("plan-worker-{number}"));
                thread.spawn(move || shared.work())
            })
            .collect::<Result<_, _>>()?;
        let group = match shared.ledger().group() {
            Some(_) => Some(Group::start(Arc::clone(&shared))?),
            None => None,
        };
        Ok(Self { shared, threads: Mutex::new(threads), group: Mutex::new(group) })
    }

    /// Queues a job. Blocks.
    pub fn submit(&self, job: &NewJob) -> Result<v1::PlanJob, StoreError> {
        let job = self.shared.ledger().submit(job)?;
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
        let (job, _) = self.shared.ledger().extend(name, more)?;
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
        self.shared.ledger().prioritise(name, priority)
    }

    /// What the workers work from.
    pub fn ledger(&self) -> &dyn Ledger {
        self.shared.ledger()
    }

    /// When a place is likely to be free, if any is taken.
    pub fn soonest_end(&self) -> Option<Duration> {
        self.shared.soonest_end()
    }

    /// Begins no more jobs; those under way are stored where they are and go on when the service is
    /// back.
    pub fn close(&self) {
        self.shared.close();
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
