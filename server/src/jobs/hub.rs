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

impl Followed {
    fn hear(&self) {
        let here = self.running;
        self.live.send_modify(|live| {
            // The last report of a run here is no news of one elsewhere.
            live.progress = live.progress.take().filter(|_| here);
            live.turns += 1;
        });
    }
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

    /// Another process has changed something about a job: what there is to know is in the ledger.
    pub fn hear(&self, job: &str) {
        if let Some(followed) = self.jobs().get(job) {
            followed.hear();
        }
    }

    /// Other processes may have changed anything.
    pub fn hear_all(&self) {
        self.jobs().values().for_each(Followed::hear);
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
    fn what_another_process_does_is_read_from_the_ledger() {
        let hub = Hub::default();
        let mut here = hub.follow("plans/here");
        let there = hub.follow("plans/there");
        for job in ["plans/here", "plans/there"] {
            hub.begin(job, 0);
            hub.tell(job, |live| live.progress = Some(v1::Progress::default()));
        }
        hub.turn("plans/there");
        here.mark_unchanged();
        hub.hear("plans/there");
        assert!(!here.has_changed().expect("followed"), "no news of this one");
        hub.hear_all();
        assert!(here.borrow().progress.is_some() && here.borrow().turns == 2);
        assert!(there.borrow().progress.is_none() && there.borrow().turns == 4);
    }

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
