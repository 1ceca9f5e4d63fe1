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

#[cfg(test)]
mod tests {
    use super::super::fixtures::icosphere;
    use super::*;
    use std::sync::mpsc;

    /// Work that never ends by itself is left behind by whoever cancels; other work sees the mesh as it is.
    #[test]
    fn whoever_cancels_walks_away_from_a_large_mesh() {
        let cancel = Cancel::new();
        let ball = icosphere(1.0, 7);
        assert!(ball.faces.len() >= LARGE);
        for mesh in [&ball, &icosphere(1.0, 1)] {
            let copy = mesh.worked_on_until(&cancel, |mesh| mesh.clone());
            assert_eq!(copy.as_ref(), Ok(mesh));
        }
        let (gate, held) = mpsc::channel::<()>();
        let other = cancel.clone();
        let left = ball.worked_on_until(&cancel, move |_| {
            other.cancel();
            held.recv().is_err()
        });
        assert_eq!(left, Err(Cancelled));
        drop(gate);
    }
}
