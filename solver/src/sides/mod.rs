//! Two sides of a model and the sheet between them.
//!
//! Seen along one direction, one side of the model looks towards the viewer, the other away. Rubber that is
//! parted between the two comes off both without any stretch, but for undercuts: it is the cut that surely
//! releases, and shorter ones are made from it. In order: the skin on which sides are drawn ([`Surface`]), the
//! labels ([`Labeller`]), the border between them as curves ([`Border`]), the surface in the rubber that
//! starts on the border and runs to the outside ([`zero_set`]), and which part of it belongs to
//! which part of the border ([`PartingSheet`]).
//!
//! The sheet is where a potential is zero that is 1 on the front and -1 on the back, and that nothing flows
//! through the outside of (`field`). It leaves the model squarely, cannot cross itself or the model, and runs across
//! every hole that the direction looks through.
//!
//! Lengths in mm, in the mould frame.

mod border;
mod islands;
mod labels;
mod sheet;
mod surface;
mod wraps;
mod zero_set;

pub use border::{Border, BorderPath};
pub use labels::{Labeller, Labels};
pub use sheet::{BorderPlace, PartKind, PartingSheet, SheetPart, SheetPlace};
pub use surface::Surface;
pub use zero_set::zero_set;

use crate::control::Cancelled;
use crate::field::FieldError;
use crate::mesh::{LocatorError, RemeshError, TopologyError};

/// Two sides cannot be drawn.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum SidesError {
    /// The surface cannot be remeshed.
    #[error(transparent)]
    Remesh(RemeshError),
    /// The surface is not closed.
    #[error(transparent)]
    Topology(#[from] TopologyError),
    /// The surface cannot be searched.
    #[error(transparent)]
    Locator(LocatorError),
    /// The potential between the sides cannot be solved.
    #[error(transparent)]
    Field(FieldError),
    /// The labels leave no border outside of the gate: all of the model is one side.
    #[error("seen from this direction the model has one side only: no border leaves the gate")]
    OneSide,
    /// Someone asked the work to stop.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
}

impl From<FieldError> for SidesError {
    fn from(error: FieldError) -> Self {
        match error {
            FieldError::Cancelled => Self::Cancelled(Cancelled),
            other => Self::Field(other),
        }
    }
}
