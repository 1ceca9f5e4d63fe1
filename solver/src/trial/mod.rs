//! The release trial: the cut rubber comes off the rigid model, by simulation.
//!
//! In order: a body of tetrahedra (`solid`), its forces (`elastic`), the obstacle (`contact`), states
//! of rest (`relax`).
//!
//! Lengths in mm, forces in N, stresses in MPa. Everything is in the mould frame.

mod contact;
mod elastic;
mod relax;
mod solid;
#[cfg(test)]
mod tests;

pub use contact::{Obstacle, RigidModel, Touch};
pub use elastic::{Elastic, Material, Workspace};
pub use relax::{Pull, Relaxation, Settled};
pub use solid::{Skin, Solid};

use crate::control::Cancelled;
use crate::mesh::LocatorError;

/// A trial cannot be made.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum TrialError {
    /// The model or a sheet has no surface to search.
    #[error(transparent)]
    Locator(#[from] LocatorError),
    /// The model is not a closed, oriented surface.
    #[error("the model has no inside and outside: {message}")]
    Model {
        /// What the collision library says.
        message: String,
    },
    /// Someone asked the work to stop.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
}
