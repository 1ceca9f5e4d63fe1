//! Who follows which job.
//!
//! A followed job is a watched value, which keeps the newest state only: a slow reader holds up
//! nobody. What must not be missed, better plans and the end, is read from the ledger; the value only
//! tells that there is something to read.

use std::collections::HashMap;
use std::sync::{Mutex, MutexGuard, PoisonError};

use slitwright_proto::v1;
use tokio::sync::watch;

/// What followers of a job see.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Live {
    /// The newest report of the run that is under way.
    pub progress: Option<v1::Progress>,
    /// Number of the newest better plan that is stored.
    pub best: u32,
    /// Goes up whenever the job's state has changed.
    pub turns: u64,
}

struct Followed {
    live: watch::Sender<Live>,
    running: bool,
}

/// The jobs that are followed or run.
pub struct Hub {
    jobs: Mutex<HashMap<String, Followed>>,
    closing: watch::Sender<bool>,
}

impl Default for Hub {
    fn default() -> Self {
        Self { jobs: Mutex::default(), closing: watch::Sender::new(false) }
    }
}

impl Hub {
    fn jobs(&self) -> MutexGuard<'_, HashMap<String, Followed>> {
        // Each holder makes one whole change; a panic cannot leave a half of one.
        self.jobs.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Follows a job from now on.
    pub fn follow(&self, job: &str) -> watch::Receiver<Live> {
        let mut jobs = self.jobs();
        jobs.retain(|_, job| job.running || job.live.receiver_count() > 0);
        jobs.entry(job.to_owned())
            .or_insert_with(|| Followed { live: watch::Sender::default(), running: false })
            .live
            .subscribe()
    }

    /// Follows the way down of the service: true once it has begun.
    pub fn closing(&self) -> watch::Receiver<bool> {
        self.closing.subscribe()
    }

    /// The service is going down.
    pub fn close(&self) {
        self.closing.send_replace(true);
    }

    /// A run of the job has begun.
    pub fn begin(&self, job: &str, best: u32) {
        let mut jobs = self.jobs();
        let followed = jobs
            .entry(job.to_owned())
            .or_insert_with(|| Followed { live: watch::Sender::default(), running: false });
        followed.running = true;
        followed
            .live
            .send_modify(|live| *live = Live { progress: None, best, turns: live.turns + 1 });
    }

    /// The run under way has something to tell.
    pub fn tell(&self, job: &str, change: impl FnOnce(&mut Live)) {
        if let Some(followed) = self.jobs().get(job) {
            followed.live.send_modify(change);
        }
    }

    /// The job's state has changed, and no run of it is under way.
    pub fn turn(&self, job: &str) {
        let mut jobs = self.jobs();
        if let Some(followed) = jobs.get_mut(job) {
            followed.running = false;
            followed.live.send_modify(|live| live.turns += 1);
            if followed.live.receiver_count() == 0 {
                jobs.remove(job);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn jobs_that_nobody_follows_and_that_do_not_run_are_forgotten() {
        let hub = Hub::default();
        drop(hub.follow("plans/a"));
        let follower = hub.follow("plans/b");
        hub.begin("plans/c", 0);
        drop(hub.follow("plans/d"));
        let mut left: Vec<_> = hub.jobs().keys().cloned().collect();
        left.sort();
        assert_eq!(left, ["plans/b", "plans/c", "plans/d"], "a was forgotten when d came");
        hub.turn("plans/c");
        assert!(!hub.jobs().contains_key("plans/c"));
        drop(follower);
    }
}
