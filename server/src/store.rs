//! What the service remembers: models and jobs, in the order they came.
//!
//! Everything lives in memory behind this one type, so that a durable store can take its place
//! without the handlers noticing.

use std::collections::{BTreeMap, HashMap};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::SystemTime;

use slitwright_proto::v1;
use slitwright_solver::mesh::Model;

use crate::jobs::Job;

/// Limits of what is remembered.
#[derive(Clone, Copy, Debug)]
pub struct StoreLimits {
    /// Most models.
    pub models: usize,
    /// Most bytes of model files together.
    pub model_bytes: u64,
    /// Most jobs that have ended; the oldest is forgotten first.
    pub ended_jobs: usize,
}

impl Default for StoreLimits {
    fn default() -> Self {
        Self { models: 10_000, model_bytes: 4 << 30, ended_jobs: 1000 }
    }
}

/// A model that was read and checked.
pub struct StoredModel {
    /// As the protocol shows it.
    pub message: v1::Model,
    /// As the solver takes it.
    pub model: Arc<Model>,
}

/// Something asked of the store cannot be done.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum StoreError {
    /// No such model.
    #[error("there is no model named {0}: ListModels shows those that there are")]
    NoModel(String),
    /// No such job.
    #[error("there is no plan named {0}: ListPlans shows those that there are")]
    NoJob(String),
    /// Models take up all the room.
    #[error("no room for another model ({0}): delete one that is no longer needed")]
    ModelsFull(String),
    /// A job for the model has not ended.
    #[error("{model} is in use by {job}: cancel it or wait for its end")]
    ModelInUse {
        /// The model.
        model: String,
        /// The job.
        job: String,
    },
    /// The job has not ended.
    #[error("{0} has not ended: cancel it first")]
    JobActive(String),
    /// The same request id came with something else.
    #[error("request_id {id} was used for {job} with another model or request: choose a new one")]
    RequestIdTaken {
        /// The id.
        id: String,
        /// The job that has it.
        job: String,
    },
}

/// Models and jobs.
pub struct Store {
    limits: StoreLimits,
    state: Mutex<State>,
}

#[derive(Default)]
struct State {
    models: Shelf<StoredModel>,
    model_bytes: u64,
    jobs: Shelf<Job>,
    request_ids: HashMap<String, String>,
}

impl Store {
    /// An empty store.
    pub fn new(limits: StoreLimits) -> Self {
        Self { limits, state: Mutex::default() }
    }

    fn state(&self) -> MutexGuard<'_, State> {
        // No code between lock and unlock leaves the state half changed, so a panic elsewhere in
        // a holder's thread does not spoil it.
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Whether a model file of `bytes` more would fit.
    pub fn check_room(&self, bytes: u64) -> Result<(), StoreError> {
        self.room_in(&self.state(), bytes)
    }

    fn room_in(&self, state: &State, bytes: u64) -> Result<(), StoreError> {
        if state.models.len() >= self.limits.models {
            return Err(StoreError::ModelsFull(format!("{} models", self.limits.models)));
        }
        if state.model_bytes.saturating_add(bytes) > self.limits.model_bytes {
            let room = self.limits.model_bytes >> 20;
            return Err(StoreError::ModelsFull(format!("{room} MiB of model files")));
        }
        Ok(())
    }

    /// Keeps a model.
    pub fn add_model(&self, model: StoredModel) -> Result<v1::Model, StoreError> {
        let mut state = self.state();
        self.room_in(&state, model.message.size_bytes)?;
        state.model_bytes += model.message.size_bytes;
        let message = model.message.clone();
        state.models.add(message.name.clone(), Arc::new(model));
        Ok(message)
    }

    /// One model.
    pub fn model(&self, name: &str) -> Result<Arc<StoredModel>, StoreError> {
        self.state().models.get(name).ok_or_else(|| StoreError::NoModel(name.to_owned()))
    }

    /// Models after a position, oldest first, and the position to go on from.
    pub fn models(&self, after: u64, most: usize) -> (Vec<Arc<StoredModel>>, Option<u64>) {
        self.state().models.page(after, most)
    }

    /// Forgets a model that no running or waiting job needs.
    pub fn remove_model(&self, name: &str) -> Result<(), StoreError> {
        let mut state = self.state();
        if let Some(job) = state.jobs.iter().find(|job| job.model_name == name && !job.has_ended())
        {
            return Err(StoreError::ModelInUse { model: name.to_owned(), job: job.name.clone() });
        }
        let model =
            state.models.remove(name).ok_or_else(|| StoreError::NoModel(name.to_owned()))?;
        state.model_bytes -= model.message.size_bytes;
        Ok(())
    }

    /// Keeps a job, unless its request id names one that is there already: then that one is
    /// returned. `enqueue` runs before the job is kept, and a job it refuses is not kept.
    pub fn add_job<E: From<StoreError>>(
        &self,
        job: Arc<Job>,
        enqueue: impl FnOnce(&Arc<Job>) -> Result<(), E>,
    ) -> Result<Arc<Job>, E> {
        let mut state = self.state();
        if let Some(id) = &job.request_id
            && let Some(there) = state.request_ids.get(id).and_then(|name| state.jobs.get(name))
        {
            if there.model_name == job.model_name && there.request == job.request {
                return Ok(there);
            }
            return Err(
                StoreError::RequestIdTaken { id: id.clone(), job: there.name.clone() }.into()
            );
        }
        // Asked again under the lock: the model may have been deleted since the caller looked.
        if state.models.get(&job.model_name).is_none() {
            return Err(StoreError::NoModel(job.model_name.clone()).into());
        }
        enqueue(&job)?;
        if let Some(id) = &job.request_id {
            state.request_ids.insert(id.clone(), job.name.clone());
        }
        state.jobs.add(job.name.clone(), Arc::clone(&job));
        self.forget_old_jobs(&mut state);
        Ok(job)
    }

    fn forget_old_jobs(&self, state: &mut State) {
        let ended: Vec<_> =
            state.jobs.iter().filter(|job| job.has_ended()).map(|job| job.name.clone()).collect();
        let surplus = ended.len().saturating_sub(self.limits.ended_jobs);
        for name in &ended[..surplus] {
            state.drop_job(name);
        }
    }

    /// One job.
    pub fn job(&self, name: &str) -> Result<Arc<Job>, StoreError> {
        self.state().jobs.get(name).ok_or_else(|| StoreError::NoJob(name.to_owned()))
    }

    /// Jobs after a position, oldest first, and the position to go on from.
    pub fn jobs(&self, after: u64, most: usize) -> (Vec<Arc<Job>>, Option<u64>) {
        self.state().jobs.page(after, most)
    }

    /// Every job that has not ended.
    pub fn active_jobs(&self) -> Vec<Arc<Job>> {
        self.state().jobs.iter().filter(|job| !job.has_ended()).cloned().collect()
    }

    /// Forgets a job that has ended.
    pub fn remove_job(&self, name: &str) -> Result<(), StoreError> {
        let mut state = self.state();
        let job = state.jobs.get(name).ok_or_else(|| StoreError::NoJob(name.to_owned()))?;
        if !job.has_ended() {
            return Err(StoreError::JobActive(name.to_owned()));
        }
        state.drop_job(name);
        Ok(())
    }
}

impl State {
    fn drop_job(&mut self, name: &str) {
        if let Some(job) = self.jobs.remove(name)
            && let Some(id) = &job.request_id
        {
            self.request_ids.remove(id);
        }
    }
}

/// Things by name and in the order they came.
struct Shelf<T> {
    last: u64,
    by_position: BTreeMap<u64, Arc<T>>,
    positions: HashMap<String, u64>,
}

impl<T> Default for Shelf<T> {
    fn default() -> Self {
        Self { last: 0, by_position: BTreeMap::new(), positions: HashMap::new() }
    }
}

impl<T> Shelf<T> {
    fn len(&self) -> usize {
        self.by_position.len()
    }

    fn add(&mut self, name: String, item: Arc<T>) {
        self.last += 1;
        self.by_position.insert(self.last, item);
        self.positions.insert(name, self.last);
    }

    fn get(&self, name: &str) -> Option<Arc<T>> {
        self.by_position.get(self.positions.get(name)?).cloned()
    }

    fn remove(&mut self, name: &str) -> Option<Arc<T>> {
        self.by_position.remove(&self.positions.remove(name)?)
    }

    fn iter(&self) -> impl Iterator<Item = &Arc<T>> {
        self.by_position.values()
    }

    fn page(&self, after: u64, most: usize) -> (Vec<Arc<T>>, Option<u64>) {
        let mut rest =
            self.by_position.range((std::ops::Bound::Excluded(after), std::ops::Bound::Unbounded));
        let mut last = after;
        let page: Vec<_> = rest
            .by_ref()
            .take(most)
            .map(|(&position, item)| {
                last = position;
                Arc::clone(item)
            })
            .collect();
        let next = rest.next().is_some().then_some(last);
        (page, next)
    }
}

/// A time for the protocol.
pub fn timestamp(time: SystemTime) -> pbjson_types::Timestamp {
    // A clock before 1970 is no case for an error of its own.
    let since = time.duration_since(SystemTime::UNIX_EPOCH).unwrap_or_default();
    pbjson_types::Timestamp {
        seconds: i64::try_from(since.as_secs()).unwrap_or(i64::MAX),
        nanos: since.subsec_nanos().cast_signed(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shelf(names: &[&str]) -> Shelf<String> {
        let mut shelf = Shelf::default();
        for name in names {
            shelf.add((*name).to_owned(), Arc::new((*name).to_owned()));
        }
        shelf
    }

    #[test]
    fn pages_join_up_even_when_things_go_away_in_between() {
        let mut shelf = shelf(&["a", "b", "c", "d", "e"]);
        let (page, next) = shelf.page(0, 2);
        assert_eq!(page.iter().map(|s| s.as_str()).collect::<Vec<_>>(), ["a", "b"]);
        shelf.remove("b");
        shelf.remove("c");
        let (page, next) = shelf.page(next.expect("more"), 2);
        assert_eq!(page.iter().map(|s| s.as_str()).collect::<Vec<_>>(), ["d", "e"]);
        assert_eq!(next, None, "nothing after the last");
    }
}
