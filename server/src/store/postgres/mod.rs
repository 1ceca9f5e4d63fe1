//! The ledger and the model files as a PostgreSQL database that several processes share.
//!
//! What a transaction reads to decide by is locked or counted under an advisory lock, so that two
//! processes never decide by the same state. Leases are counted by the database's clock.

mod config;
mod fault;
mod jobs;
mod lessee;
mod link;
mod models;
mod news;
mod notice;
mod queue;
mod runs;
mod schema;

use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};

use postgres::Client;
use slitwright_proto::v1;

use self::fault::Fault;
use self::lessee::Lessee;
use self::link::{Link, Pool, Work};
use super::{
    CancelRunning, Claimed, Counts, Ending, Extension, Group, Ledger, Listing, ModelEntry,
    ModelFiles, NewJob, News, Orders, Owner, Page, Run, Step, StoreError, StoreLimits,
};

pub use config::{DatabaseConfig, DatabaseFault};

/// Most connections of one process, besides the one that listens and the one that renews leases.
const CONNECTIONS: u32 = 8;
/// Longest time that a call waits for a connection.
const PATIENCE: Duration = Duration::from_secs(3);
/// How long a database that is away is waited for at the start, and how long between two tries.
const AT_START: Duration = Duration::from_secs(30);
const BETWEEN: Duration = Duration::from_secs(1);
/// How often what got in the way of others is tried.
const TRIES: u32 = 10;

/// A ledger in a PostgreSQL database.
pub struct PostgresLedger {
    config: DatabaseConfig,
    limits: StoreLimits,
    lessee: Lessee,
    /// `None` once it is closed.
    pools: Mutex<Option<Pools>>,
}

#[derive(Clone)]
struct Pools {
    calls: Pool,
    /// Leases are renewed by themselves, however busy the others are.
    leases: Pool,
}

impl PostgresLedger {
    /// Opens the database, and makes its tables if they are missing. One that is away is waited for, half a
    /// minute.
    pub fn open(config: DatabaseConfig, limits: StoreLimits) -> Result<Self, StoreError> {
        let mut client = connected(&config)?;
        schema::migrate(&mut client)?;
        let lease = config.lease;
        // Whoever waits longer for a connection has lost its leases by then.
        let patience = PATIENCE.min(lease / 2);
        let pools = Pools {
            calls: link::pool(&config, CONNECTIONS, PATIENCE),
            leases: link::pool(&config, 1, patience),
        };
        let lessee = Lessee { worker: uuid::Uuid::new_v4().to_string(), lease };
        Ok(Self { config, limits, lessee, pools: Mutex::new(Some(pools)) })
    }

    fn pools(&self) -> Result<Pools, StoreError> {
        let pools = self.pools.lock().unwrap_or_else(PoisonError::into_inner);
        pools.clone().ok_or_else(|| StoreError::Unavailable("it is closed".to_owned()))
    }

    fn read<T>(&self, work: impl Fn(&mut Work<'_>) -> Result<T, Fault>) -> Result<T, StoreError> {
        again(&self.pools()?.calls, |link| link.read(&work))
    }

    fn change<T>(&self, work: impl Fn(&mut Work<'_>) -> Result<T, Fault>) -> Result<T, StoreError> {
        again(&self.pools()?.calls, |link| link.change(&self.lessee.worker, &work))
    }
}

/// A connection to a database that may be on its way up: machines start in any order.
fn connected(config: &DatabaseConfig) -> Result<Client, StoreError> {
    let begun = Instant::now();
    loop {
        match link::connect(config) {
            Ok(client) => return Ok(client),
            Err(error) if fault::is_away(&error) && begun.elapsed() < AT_START => {
                tracing::warn!(error = fault::told(&error), "the database is away: tried again");
                std::thread::sleep(BETWEEN);
            }
            Err(error) => return Err(Fault::from(error).into()),
        }
    }
}

/// Does something on a connection, again if it got in the way of another process.
fn again<T>(pool: &Pool, work: impl Fn(&mut Link) -> Result<T, Fault>) -> Result<T, StoreError> {
    let mut tries = 0;
    loop {
        let mut link = pool.get().map_err(|error| StoreError::Unavailable(error.to_string()))?;
        tries += 1;
        match work(&mut link) {
            Err(Fault::Clash(text)) if tries < TRIES => {
                tracing::debug!(text, tries, "a change is tried again");
            }
            done => return Ok(done?),
        }
    }
}

impl Ledger for PostgresLedger {
    fn check_room(&self, bytes: u64, owner: Option<&Owner>) -> Result<(), StoreError> {
        self.read(|t| {
            models::check_owner(t, owner, bytes)?;
            models::check_room(t, &self.limits, bytes)
        })
    }
    fn model(&self, name: &str) -> Result<ModelEntry, StoreError> {
        self.read(|t| models::one(t, name))
    }
    fn models(&self, after: u64, most: usize) -> Result<Page<ModelEntry>, StoreError> {
        self.read(|t| models::page(t, after, most))
    }

    fn counts(&self) -> Result<Counts, StoreError> {
        self.read(|t| {
            let (models, model_bytes) = models::counts(t)?;
            Ok(Counts { jobs: jobs::counts(t)?, models, model_bytes })
        })
    }

    fn submit(&self, job: &NewJob) -> Result<v1::PlanJob, StoreError> {
        self.change(|t| {
            let job = queue::submit(t, &self.limits, job)?;
            jobs::forget_old(t, &self.limits)?;
            Ok(job)
        })
    }
    fn submitted(&self, job: &NewJob) -> Result<Option<v1::PlanJob>, StoreError> {
        self.read(|t| queue::submitted(t, job))
    }
    fn job(&self, name: &str) -> Result<v1::PlanJob, StoreError> {
        self.read(|t| jobs::one(t, name))
    }
    fn job_with_plan(&self, name: &str) -> Result<v1::PlanJob, StoreError> {
        self.read(|t| jobs::with_plan(t, name))
    }
    fn job_with_record(&self, name: &str) -> Result<(v1::PlanJob, Option<Vec<u8>>), StoreError> {
        self.read(|t| jobs::with_record(t, name))
    }
    fn jobs(&self, listing: &Listing) -> Result<Page<v1::PlanJob>, StoreError> {
        self.read(|t| jobs::page(t, listing))
    }
    fn better_plans(&self, name: &str, after: u32) -> Result<Vec<v1::BetterPlan>, StoreError> {
        self.read(|t| jobs::better_plans(t, name, after))
    }
    fn remove_job(&self, name: &str) -> Result<(), StoreError> {
        self.change(|t| jobs::remove(t, name))
    }
    fn forget_old(&self) -> Result<usize, StoreError> {
        self.change(|t| jobs::forget_old(t, &self.limits))
    }

    fn cancel(&self, name: &str, running: CancelRunning) -> Result<v1::PlanJob, StoreError> {
        self.change(|t| queue::cancel(t, name, running))
    }
    fn extend(&self, name: &str, more: &Extension) -> Result<(v1::PlanJob, bool), StoreError> {
        self.change(|t| queue::extend(t, &self.limits, name, more))
    }
    fn prioritise(&self, name: &str, priority: i32) -> Result<v1::PlanJob, StoreError> {
        self.change(|t| queue::prioritise(t, name, priority))
    }
    fn claim(&self, most_seconds: Option<f64>) -> Result<Option<Claimed>, StoreError> {
        self.change(|t| queue::claim(t, &self.lessee, most_seconds))
    }
    fn recover(&self) -> Result<usize, StoreError> {
        self.change(|t| queue::recover(t, &self.limits))
    }

    fn keep(&self, run: &Run, step: &Step<'_>) -> Result<Orders, StoreError> {
        self.change(|t| runs::keep(t, &self.lessee, run, step))
    }
    fn end(&self, run: &Run, ending: &Ending) -> Result<v1::JobState, StoreError> {
        self.change(|t| {
            let state = runs::end(t, run, ending)?;
            jobs::forget_old(t, &self.limits)?;
            Ok(state)
        })
    }
    fn give_back(&self, run: &Run) -> Result<(), StoreError> {
        self.change(|t| runs::give_back(t, run))
    }

    fn group(&self) -> Option<&dyn Group> {
        Some(self)
    }

    fn check_writable(&self) -> Result<(), StoreError> {
        self.change(|t| {
            t.execute("UPDATE slitwright.pulse SET time = slitwright.millis()", &[])?;
            Ok(())
        })
    }
    fn close(&self) {
        drop(self.pools.lock().unwrap_or_else(PoisonError::into_inner).take());
    }
}

impl Group for PostgresLedger {
    fn lease(&self) -> Duration {
        self.lessee.lease
    }
    fn renew(&self, runs: &[Run]) -> Result<Vec<(Run, Orders)>, StoreError> {
        let pool = self.pools()?.leases;
        again(&pool, |link| {
            link.change(&self.lessee.worker, |t| runs::renew(t, &self.lessee, runs))
        })
    }
    fn listen(&self, hear: &dyn Fn(News) -> bool) -> Result<(), StoreError> {
        Ok(news::listen(&self.config, &self.lessee.worker, hear)?)
    }
}

impl ModelFiles for PostgresLedger {
    fn add(
        &self,
        model: &ModelEntry,
        owner: Option<&Owner>,
        bytes: &[u8],
    ) -> Result<(), StoreError> {
        self.change(|t| models::add(t, &self.limits, model, owner, bytes))
    }
    fn remove(&self, name: &str) -> Result<(), StoreError> {
        self.change(|t| models::remove(t, name))
    }
    fn read(&self, sha256: &str) -> Result<Vec<u8>, StoreError> {
        Self::read(self, |t| models::read_file(t, sha256))
    }
}

impl Drop for PostgresLedger {
    fn drop(&mut self) {
        let pools = self.pools.get_mut().unwrap_or_else(PoisonError::into_inner).take();
        // Connections wait while they are let go of, which tasks must not.
        let dropping = std::thread::spawn(move || drop(pools));
        if dropping.join().is_err() {
            tracing::error!("connections to the database were not closed in good order");
        }
    }
}
