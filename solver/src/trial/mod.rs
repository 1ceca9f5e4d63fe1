//! The release trial: the cut rubber comes off the rigid model, by simulation.
//!
//! The model stands still. The rubber at rest is filled with tetrahedra (`solid`, `lattice`, `region`),
//! finely where it or the model is thin (`detail`, `refine`, `tets`), once for many trials (`filled`), and parted along the sheets of the
//! cuts (`lips`, `parting`). Hands draw lips and flaps aside, once, and then the rubber off along one direction
//! after the other (`hands`, `pull`, `directions`, `draw`), step by step; after each step the rubber comes to rest
//! (`relax`) under its own forces (`elastic`), against the model and friction on it (`contact`). What has not
//! come to rest decides nothing (`course`). [`run`] tells whether it comes off, how far it is stretched and what pull it takes ([`TrialReport`]).
//!
//! With a time to keep to, coarse trials go before finer ones (`budget`).
//!
//! What the trial does not see: lips do not touch each other; the rubber is kept out of the model at its
//! nodes, to a good third of an element between them (`faces`), and out of the inmost half of the model's thin parts
//! (`cores`, `crossed`); gravity and suction are left out; the
//! gate of a model that hangs on a sprue is not open.
//!
//! Lengths in mm, forces in N, stresses in MPa. Everything is in the mould frame.

mod blocks;
mod budget;
mod contact;
mod cores;
mod course;
mod crossed;
mod detail;
mod directions;
mod draw;
mod elastic;
mod faces;
mod feel;
mod filled;
mod hands;
mod lattice;
mod lips;
mod material;
mod measure;
mod opening;
mod parting;
mod pull;
mod refine;
mod region;
mod relax;
mod report;
mod rig;
mod solid;
mod space;
#[cfg(test)]
pub(crate) mod tests;
mod tets;

pub use budget::{GROWTH, LEAST_GAIN, pieces_in, run, run_in};
pub use contact::{Obstacle, RigidModel, Touch};
pub use elastic::{Elastic, Workspace};
pub use filled::FilledRubber;
pub use lattice::fill;
pub use material::Material;
pub use parting::{Parted, part};
pub use pull::{Grasp, Pull};
pub use region::RubberRegion;
pub use relax::{Relaxation, Settled};
pub use report::*;
pub use solid::{Skin, Solid};
pub use space::Region;

use crate::body::RubberError;
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
    /// A setting cannot be used.
    #[error("trial.{field} is {value}: it must lie between {low} and {high}")]
    OutOfRange {
        /// Field of [`TrialSettings`].
        field: &'static str,
        /// Value given.
        value: f64,
        /// Least allowed.
        low: f64,
        /// Greatest allowed.
        high: f64,
    },
    /// No direction to draw along.
    #[error("trial.directions: give at least one, each three finite numbers that are not all zero")]
    NoDirection,
    /// The rubber's values make no sense.
    #[error("{}", .0.iter().map(ToString::to_string).collect::<Vec<_>>().join("; "))]
    Rubber(Vec<RubberError>),
    /// The elements are larger than walls of the rubber.
    #[error(
        "elements of {spacing:.1} mm fill {meshed:.1} cm^3 of {volume:.1} cm^3 of rubber: raise trial.elements"
    )]
    TooCoarse {
        /// Edge of the lattice's cubes, mm.
        spacing: f64,
        /// Volume of the mesh, cm^3.
        meshed: f64,
        /// Volume of the rubber, cm^3.
        volume: f64,
    },
    /// Someone asked the work to stop.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
}
