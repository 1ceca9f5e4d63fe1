//! Work on a mesh that cannot be interrupted.

use super::TriangleMesh;
use crate::control::{Cancel, Cancelled, apart};

/// Work on a mesh of more faces takes longer than a tenth of a second.
const LARGE: usize = 100_000;

impl TriangleMesh {
    /// Work that looks at the mesh and nothing else: on a copy of a large one, so that whoever cancels can walk away from it.
    pub(crate) fn worked_on_until<T: Send + 'static>(
        &self,
        cancel: &Cancel,
        work: impl FnOnce(&Self) -> T + Send + 'static,
    ) -> Result<T, Cancelled> {
        if self.faces.len() < LARGE {
            cancel.check()?;
            return Ok(work(self));
        }
        let copy = self.clone();
        apart(cancel, move || work(&copy))
    }
}
