//! What a process does as one of several that share a ledger: it renews its leases, takes over jobs of
//! those that are gone, and hears what the others do.
//!
//! On threads of its own: however long a solver is silent or held up, its job stays with it.

use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use super::shared::Shared;
use crate::store::{News, Orders, Run, StoreError};

/// Leases are renewed so many times before they would run out.
const RENEWALS: u32 = 4;
/// How long to wait after a failure, at first. Twice as long each time, until it is as long as between
/// renewals.
const FIRST_WAIT: Duration = Duration::from_millis(100);

/// The two threads.
pub struct Group {
    state: Arc<State>,
    threads: Vec<JoinHandle<()>>,
}

#[derive(Default)]
struct State {
    bell: Mutex<Bell>,
    rung: Condvar,
}

#[derive(Default)]
struct Bell {
    /// Leases are to be renewed now: orders may have come.
    now: bool,
    over: bool,
}

impl Group {
    /// Starts the threads.
    pub fn start(shared: Arc<Shared>) -> std::io::Result<Self> {
        let state = Arc::new(State::default());
        let start = |name: &str, work: fn(&Shared, &State)| {
            let (shared, state) = (Arc::clone(&shared), Arc::clone(&state));
            let thread = std::thread::Builder::new().name(name.to_owned());
            thread.spawn(move || work(&shared, &state))
        };
        let threads = vec![start("leases", renew)?, start("news", listen)?];
        Ok(Self { state, threads })
    }

    /// Ends the threads. Blocks.
    pub fn stop(self) {
        self.state.bell().over = true;
        self.state.rung.notify_all();
        for thread in self.threads {
            if thread.join().is_err() {
                tracing::error!("a thread of the group ended by a panic");
            }
        }
    }
}

impl State {
    fn bell(&self) -> MutexGuard<'_, Bell> {
        self.bell.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn ring(&self) {
        self.bell().now = true;
        self.rung.notify_all();
    }

    /// Waits until the bell rings, or for so long. Tells whether to go on.
    fn wait(&self, most: Duration) -> bool {
        let silent = |bell: &mut Bell| !bell.now && !bell.over;
        let waited = self.rung.wait_timeout_while(self.bell(), most, silent);
        let mut bell = waited.unwrap_or_else(PoisonError::into_inner).0;
        bell.now = false;
        !bell.over
    }

    /// Waits for so long after a failure. Tells whether to go on.
    fn wait_after_failure(&self, wait: Duration) -> bool {
        let waited = self.rung.wait_timeout_while(self.bell(), wait, |bell| !bell.over);
        !waited.unwrap_or_else(PoisonError::into_inner).0.over
    }
}

fn renew(shared: &Shared, state: &State) {
    let Some(lease) = shared.ledger().group().map(|group| group.lease()) else { return };
    let every = lease / RENEWALS;
    // Jobs of others are left alone before.
    let mut take_over = Instant::now();
    let mut renewed = Instant::now();
    let mut failures = 0_u32;
    loop {
        let asked = Instant::now();
        // Not at the first word after an outage either, when all leases have run out.
        match renew_once(shared, failures == 0 && asked >= take_over) {
            Ok(()) => {
                renewed = asked;
                if failures > 0 {
                    tracing::info!(failures, "the store can be reached again");
                    // The others may not have had the time to renew theirs yet.
                    take_over = asked + lease;
                    shared.hub().hear_all();
                }
                failures = 0;
                // In case that someone's word was lost.
                shared.wake();
                if !state.wait(every) {
                    return;
                }
            }
            Err(error) => {
                tracing::warn!(%error, failures, "leases cannot be renewed");
                if let Some(since) = Instant::now().checked_sub(lease)
                    && since > renewed
                {
                    shared.stop_begun_before(since);
                }
                let wait = FIRST_WAIT.saturating_mul(1 << failures.min(16)).min(every);
                failures = failures.saturating_add(1);
                if !state.wait_after_failure(wait) {
                    return;
                }
            }
        }
    }
}

fn renew_once(shared: &Shared, take_over: bool) -> Result<(), StoreError> {
    let ledger = shared.ledger();
    let Some(group) = ledger.group() else { return Ok(()) };
    let runs = shared.runs();
    if !runs.is_empty() {
        let kept = group.renew(&runs)?;
        for run in &runs {
            match orders(&kept, run) {
                Some(orders) => shared.obey(run, orders),
                None => shared.lose(run),
            }
        }
    }
    if take_over {
        let jobs = ledger.recover()?;
        if jobs > 0 {
            tracing::warn!(jobs, "took over from a process that is gone");
            // The others hear of it from the ledger, this process does not.
            shared.hub().hear_all();
        }
    }
    Ok(())
}

fn orders(kept: &[(Run, Orders)], run: &Run) -> Option<Orders> {
    kept.iter().find(|(known, _)| known == run).map(|(_, orders)| *orders)
}

fn listen(shared: &Shared, state: &State) {
    let Some(group) = shared.ledger().group() else { return };
    let longest = group.lease() / RENEWALS;
    let mut wait = FIRST_WAIT;
    loop {
        let begun = std::cell::Cell::new(false);
        let heard = group.listen(&|news| {
            begun.set(true);
            hear(shared, state, news);
            !state.bell().over
        });
        if let Err(error) = heard {
            tracing::warn!(%error, "no news of the others at the moment");
        }
        wait = if begun.get() { FIRST_WAIT } else { (2 * wait).min(longest) };
        if !state.wait_after_failure(wait) {
            return;
        }
    }
}

fn hear(shared: &Shared, state: &State, news: News) {
    match news {
        News::Silence => {}
        News::Queued => shared.wake(),
        News::Orders => state.ring(),
        News::Job(name) => shared.hub().hear(&name),
        News::Listening => {
            shared.hub().hear_all();
            shared.wake();
            state.ring();
        }
    }
}
