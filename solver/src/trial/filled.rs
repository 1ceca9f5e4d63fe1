//! Rubber filled with elements, kept from one trial of a mould to the next.
//!
//! What is cut does not change the elements, only where they are parted: a search that tries many cuts in one mould fills it once
//! for each number of elements.

use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use super::contact::RigidModel;
use super::region::{Filled, mesh_rubber};
use super::{TrialError, TrialSetup};
use crate::control::Control;

/// So many numbers of elements are kept, those asked for last: a search uses two or three, and each takes a few MiB.
const KEPT: usize = 4;

/// What came of filling: the elements, or why there are none.
type Made = Result<Arc<Filled>, TrialError>;

/// The elements of one mould by the number asked for, the last one asked for last.
#[derive(Default)]
pub struct FilledRubber {
    kept: Mutex<Vec<(usize, Made)>>,
}

impl FilledRubber {
    /// The rubber filled with at most about `elements` tetrahedra. All setups that ask must be of one mould:
    /// same body, model and plugs.
    pub(super) fn with(
        &self,
        setup: &TrialSetup<'_>,
        model: &RigidModel,
        elements: usize,
        control: &Control<'_>,
    ) -> Made {
        if let Some(known) = self.known(elements) {
            return known;
        }
        // Two trials that begin at once both fill it: a thread of the pool that waited for a lock could be the one that the
        // other waits for.
        let made = mesh_rubber(setup, model, elements, control).map(Arc::new);
        if !matches!(made, Err(TrialError::Cancelled(_))) {
            let mut kept = self.lock();
            kept.retain(|(number, _)| *number != elements);
            let over = (kept.len() + 1).saturating_sub(KEPT);
            kept.drain(..over);
            kept.push((elements, made.clone()));
        }
        made
    }

    fn known(&self, elements: usize) -> Option<Made> {
        let mut kept = self.lock();
        let at = kept.iter().position(|(number, _)| *number == elements)?;
        let found = kept.remove(at);
        let made = found.1.clone();
        kept.push(found);
        Some(made)
    }

    fn lock(&self) -> MutexGuard<'_, Vec<(usize, Made)>> {
        // Nothing is computed under it, so whoever broke off left it whole.
        self.kept.lock().unwrap_or_else(PoisonError::into_inner)
    }
}
