//! Models: their entries, their files, and those that are in memory to be worked on.

use std::collections::VecDeque;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError, Weak};

use slitwright_proto::v1;
use slitwright_solver::control::Cancel;
use slitwright_solver::mesh::{Model, PrepareError, ReadLimits};

use super::{Ledger, ModelEntry, ModelFiles, Owner, Page, StoreError};
use crate::convert::{Collector, format_from_proto, options_from_proto, unit_from_proto};
use crate::planner::Planner;

/// A stored model cannot be made ready to work on.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ModelFault {
    /// It cannot be read back.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// It passed its checks when it came, and no longer does.
    #[error("the model was sound when it came and is refused now ({0}): send it again")]
    Refused(PrepareError),
}

/// Models of the service.
pub struct Models {
    ledger: Arc<dyn Ledger>,
    files: Arc<dyn ModelFiles>,
    planner: Arc<dyn Planner>,
    ready: Mutex<Ready>,
}

/// What decides how a model is prepared: file, format, unit, options.
type Key = (String, i32, i32, v1::PrepareOptions);

/// Models in memory.
struct Ready {
    /// Most bytes of those that nobody uses.
    most_idle: usize,
    /// Those that someone uses, or used a short time ago.
    known: Vec<(Key, Weak<Model>)>,
    /// The last ones used, oldest first: they stay although nobody uses them any more.
    recent: VecDeque<Arc<Model>>,
}

impl Models {
    /// Models of a ledger and their files.
    pub fn new(
        ledger: Arc<dyn Ledger>,
        files: Arc<dyn ModelFiles>,
        planner: Arc<dyn Planner>,
        most_idle: usize,
    ) -> Self {
        let ready = Ready { most_idle, known: Vec::new(), recent: VecDeque::new() };
        Self { ledger, files, planner, ready: Mutex::new(ready) }
    }

    /// Whether a model file of `bytes` more would fit, and its owner may have it.
    pub fn check_room(&self, bytes: u64, owner: Option<&Owner>) -> Result<(), StoreError> {
        self.ledger.check_room(bytes, owner)
    }

    /// Keeps a model with its file. `model` is what was made of it.
    pub fn add(
        &self,
        entry: &ModelEntry,
        owner: Option<&Owner>,
        bytes: &[u8],
        model: Model,
    ) -> Result<(), StoreError> {
        self.files.add(entry, owner, bytes)?;
        self.ready().put(key(entry), &Arc::new(model));
        Ok(())
    }

    /// One model.
    pub fn entry(&self, name: &str) -> Result<ModelEntry, StoreError> {
        self.ledger.model(name)
    }

    /// Models after a position, oldest first.
    pub fn page(&self, after: u64, most: usize) -> Result<Page<ModelEntry>, StoreError> {
        self.ledger.models(after, most)
    }

    /// Forgets a model, and its file when no other model shares it.
    pub fn remove(&self, name: &str) -> Result<(), StoreError> {
        self.files.remove(name)
    }

    /// A model to work on: from memory, or read and prepared again. Takes as long as an upload's
    /// checks.
    pub fn ready_to_plan(&self, entry: &ModelEntry) -> Result<Arc<Model>, ModelFault> {
        self.ready_until(entry, &Cancel::new())
    }

    /// The same, until someone cancels.
    pub fn ready_until(
        &self,
        entry: &ModelEntry,
        cancel: &Cancel,
    ) -> Result<Arc<Model>, ModelFault> {
        let key = key(entry);
        if let Some(model) = self.ready().get(&key) {
            return Ok(model);
        }
        let bytes = self.files.read(&entry.message.sha256)?;
        let model = Arc::new(self.prepare(entry, &bytes, cancel)?);
        self.ready().put(key, &model);
        Ok(model)
    }

    fn prepare(
        &self,
        entry: &ModelEntry,
        bytes: &[u8],
        cancel: &Cancel,
    ) -> Result<Model, ModelFault> {
        let message = &entry.message;
        let mut faults = Collector::default();
        let format = format_from_proto(message.format, "format", &mut faults);
        let unit = unit_from_proto(message.unit, format, "unit", &mut faults);
        let mut options = options_from_proto(Some(&entry.options), "options", &mut faults);
        // It was within the limits when it came; they may be others now.
        options.limits = ReadLimits {
            max_bytes: u64::MAX,
            max_triangles: u64::MAX,
            max_corners: u64::MAX,
            ..ReadLimits::default()
        };
        let damaged = |text: String| StoreError::Damaged(format!("{}: {text}", message.name));
        let format = match (format, faults.finish(())) {
            (Some(format), Ok(())) => format,
            (_, Err(faults)) => return Err(damaged(faults.to_string()).into()),
            (None, Ok(())) => return Err(damaged("no format".to_owned()).into()),
        };
        self.planner.prepare(bytes, format, unit, &options, cancel).map_err(ModelFault::Refused)
    }

    fn ready(&self) -> MutexGuard<'_, Ready> {
        // At worst a model is forgotten that would have been of use.
        self.ready.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

fn key(entry: &ModelEntry) -> Key {
    let message = &entry.message;
    (message.sha256.clone(), message.format, message.unit, entry.options.clone())
}

/// Bytes that a model takes up, but for what is small.
fn size(model: &Model) -> usize {
    [&model.original, &model.working]
        .iter()
        .map(|mesh| size_of_val(mesh.positions.as_slice()) + size_of_val(mesh.faces.as_slice()))
        .chain(model.paint.iter().map(|paint| paint.bytes()))
        .chain(model.mends.iter().map(|mend| size_of_val(mend.faces.as_slice())))
        .sum()
}

impl Ready {
    fn get(&mut self, key: &Key) -> Option<Arc<Model>> {
        let model = self.known.iter().find(|(known, _)| known == key)?.1.upgrade()?;
        self.touch(&model);
        Some(model)
    }

    fn put(&mut self, key: Key, model: &Arc<Model>) {
        self.known.retain(|(known, model)| *known != key && model.strong_count() > 0);
        self.known.push((key, Arc::downgrade(model)));
        self.touch(model);
    }

    fn touch(&mut self, model: &Arc<Model>) {
        self.recent.retain(|other| !Arc::ptr_eq(other, model));
        self.recent.push_back(Arc::clone(model));
        let mut sum: usize = self.recent.iter().map(|model| size(model)).sum();
        while sum > self.most_idle
            && let Some(oldest) = self.recent.pop_front()
        {
            sum -= size(&oldest);
        }
    }
}
