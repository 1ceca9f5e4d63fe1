//! The ledger as an SQLite database: one file, one process.

mod clock;
mod jobs;
mod models;
mod queue;
mod reserve;
mod rows;
mod runs;
mod schema;

use std::collections::HashSet;
use std::path::Path;
use std::sync::{Mutex, PoisonError};

use rusqlite::{Connection, Transaction, TransactionBehavior};
use slitwright_proto::v1;

use self::reserve::Reserve;
use super::{
    CancelRunning, Claimed, Counts, Ending, Extension, Ledger, Listing, ModelEntry, NewJob, Orders,
    Owner, Page, Run, Step, StoreError, StoreLimits,
};

/// A ledger in one database file.
///
/// One connection serves all: a transaction takes as long as the disk needs to have it, and lists
/// leave plans and checkpoints, which are large, where they are.
pub struct SqliteLedger {
    /// `None` once it is closed.
    database: Mutex<Option<Connection>>,
    reserve: Reserve,
    limits: StoreLimits,
}

impl SqliteLedger {
    /// Opens the database at `path`, or makes it.
    pub fn open(path: &Path, limits: StoreLimits) -> Result<Self, StoreError> {
        let database = schema::open(path, limits.database_bytes)?;
        let reserve = Reserve::of(path);
        Ok(Self { database: Mutex::new(Some(database)), reserve, limits })
    }

    /// Keeps a model, but not its file.
    pub fn add_model(&self, model: &ModelEntry, owner: Option<&Owner>) -> Result<(), StoreError> {
        self.change(|t| models::add(t, &self.limits, model, owner))
    }

    /// Forgets a model that no running or waiting job needs, but not its file.
    pub fn remove_model(&self, name: &str) -> Result<ModelEntry, StoreError> {
        self.change_at_need(|t| models::remove(t, name))
    }

    /// SHA-256 of every file that a model needs.
    pub fn contents(&self) -> Result<HashSet<String>, StoreError> {
        self.read(models::contents)
    }

    /// Reads what belongs together in one go.
    fn read<T>(
        &self,
        work: impl FnOnce(&Transaction<'_>) -> Result<T, StoreError>,
    ) -> Result<T, StoreError> {
        self.transact(TransactionBehavior::Deferred, work)
    }

    /// Makes a change that is durable when this returns `Ok`, and is none otherwise.
    fn change<T>(
        &self,
        work: impl FnOnce(&Transaction<'_>) -> Result<T, StoreError>,
    ) -> Result<T, StoreError> {
        self.transact(TransactionBehavior::Immediate, work)
    }

    /// A change that makes room, or ends work that takes it: on a full disk it has the reserve.
    fn change_at_need<T>(
        &self,
        work: impl Fn(&Transaction<'_>) -> Result<T, StoreError>,
    ) -> Result<T, StoreError> {
        // Nobody else of this process writes in between.
        self.with(|database| {
            match transact_on(database, TransactionBehavior::Immediate, &work) {
                Err(StoreError::NoRoom(_)) if self.reserve.give_up() => {
                    let again = transact_on(database, TransactionBehavior::Immediate, &work);
                    // What is left of it, before somebody else has it.
                    self.reserve.take_back();
                    again
                }
                done => done,
            }
        })
    }

    fn transact<T>(
        &self,
        behavior: TransactionBehavior,
        work: impl FnOnce(&Transaction<'_>) -> Result<T, StoreError>,
    ) -> Result<T, StoreError> {
        self.with(|database| transact_on(database, behavior, work))
    }

    fn with<T>(
        &self,
        work: impl FnOnce(&mut Connection) -> Result<T, StoreError>,
    ) -> Result<T, StoreError> {
        // A transaction that a panic has cut short was rolled back when it was dropped.
        let mut database = self.database.lock().unwrap_or_else(PoisonError::into_inner);
        match database.as_mut() {
            Some(database) => work(database),
            None => Err(StoreError::Unavailable("it is closed".to_owned())),
        }
    }
}

fn transact_on<T>(
    database: &mut Connection,
    behavior: TransactionBehavior,
    work: impl FnOnce(&Transaction<'_>) -> Result<T, StoreError>,
) -> Result<T, StoreError> {
    let transaction = database.transaction_with_behavior(behavior)?;
    let found = work(&transaction)?;
    transaction.commit()?;
    Ok(found)
}

impl Ledger for SqliteLedger {
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
        self.change_at_need(|t| jobs::remove(t, name))
    }
    fn forget_old(&self) -> Result<usize, StoreError> {
        let forgotten = self.change(|t| jobs::forget_old(t, &self.limits))?;
        if forgotten > 0 {
            self.with(|database| Ok(database.execute_batch("PRAGMA incremental_vacuum")?))?;
        }
        Ok(forgotten)
    }

    fn cancel(&self, name: &str, running: CancelRunning) -> Result<v1::PlanJob, StoreError> {
        self.change_at_need(|t| queue::cancel(t, name, running))
    }
    fn extend(&self, name: &str, more: &Extension) -> Result<(v1::PlanJob, bool), StoreError> {
        self.change(|t| queue::extend(t, &self.limits, name, more))
    }
    fn prioritise(&self, name: &str, priority: i32) -> Result<v1::PlanJob, StoreError> {
        self.change(|t| queue::prioritise(t, name, priority))
    }
    fn claim(&self, most_seconds: Option<f64>) -> Result<Option<Claimed>, StoreError> {
        // Most of the time there is nothing: no need to write for that.
        if self.read(|t| queue::next(t, most_seconds))?.is_none() {
            return Ok(None);
        }
        self.change(|t| queue::claim(t, most_seconds))
    }
    fn recover(&self) -> Result<usize, StoreError> {
        self.change(|t| queue::recover(t, &self.limits))
    }

    fn keep(&self, run: &Run, step: &Step<'_>) -> Result<Orders, StoreError> {
        self.change(|t| runs::keep(t, run, step))
    }
    fn end(&self, run: &Run, ending: &Ending) -> Result<v1::JobState, StoreError> {
        let work = |t: &Transaction<'_>| {
            let state = runs::end(t, run, ending)?;
            jobs::forget_old(t, &self.limits)?;
            Ok(state)
        };
        // Whoever cancelled it was told that it ends. All else waits for room.
        match ending.state {
            v1::JobState::Cancelled => self.change_at_need(work),
            _ => self.change(work),
        }
    }
    fn give_back(&self, run: &Run) -> Result<(), StoreError> {
        self.change(|t| runs::give_back(t, run))
    }
    fn check_writable(&self) -> Result<(), StoreError> {
        self.change(|t| {
            t.prepare_cached("UPDATE pulse SET time = ?")?.execute([clock::now()])?;
            Ok(())
        })?;
        self.reserve.make();
        Ok(())
    }
    fn close(&self) {
        let database = self.database.lock().unwrap_or_else(PoisonError::into_inner).take();
        if let Some(Err((_, error))) = database.map(Connection::close) {
            // Nothing is lost: the log is read again at the next start.
            tracing::warn!(%error, "the store was not closed in good order");
        }
    }
}

#[cfg(test)]
mod tests {
    use std::cell::Cell;

    use super::*;

    /// A change finds no room once; then it has the reserve, and once more only. Nothing of the first try is kept.
    #[test]
    fn what_makes_room_is_tried_again_with_the_reserve() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("store.db");
        let reserve = folder.path().join("store.reserve");
        let ledger = SqliteLedger::open(&path, StoreLimits::default()).expect("opened");
        let pulse = |t: &Transaction<'_>| -> Result<i64, StoreError> {
            t.execute("UPDATE pulse SET time = time + 1", [])?;
            Ok(t.query_row("SELECT time FROM pulse", [], |row| row.get(0))?)
        };
        let tries = Cell::new(0);
        let full_until = |free: &dyn Fn() -> bool| {
            ledger.change_at_need(|t| {
                tries.set(tries.get() + 1);
                let time = pulse(t)?;
                if free() { Ok(time) } else { Err(StoreError::NoRoom("no page".to_owned())) }
            })
        };
        assert_eq!(full_until(&|| !reserve.exists()), Ok(1));
        assert_eq!(tries.replace(0), 2);
        assert!(reserve.exists(), "taken back");
        let refused = full_until(&|| false);
        assert!(matches!(refused, Err(StoreError::NoRoom(_))), "{refused:?}");
        assert_eq!(tries.replace(0), 2);
        assert!(reserve.exists(), "taken back");
        // What fails for another reason leaves it alone.
        let lost = ledger.change_at_need::<()>(|_| Err(StoreError::NoJob("plans/x".to_owned())));
        assert_eq!(lost, Err(StoreError::NoJob("plans/x".to_owned())));
        std::fs::remove_file(&reserve).expect("gone");
        assert!(matches!(full_until(&|| false), Err(StoreError::NoRoom(_))));
        assert_eq!(tries.replace(0), 1, "there is none");
        ledger.check_writable().expect("written");
        assert!(reserve.exists(), "made again");
    }
}
