//! Why there is no plan.

use super::scheme::SchemeFault;
use crate::body::{GateError, MouldError, RubberError};
use crate::bridges::BridgeError;
use crate::control::Cancelled;
use crate::girth::GraphError;
use crate::mesh::{DecimateError, LocatorError, RemeshError, TopologyError};
use crate::optimise::search::SearchError;
use crate::sheets::SheetError;
use crate::sides::SidesError;
use crate::trial::TrialError;

/// No plan can be made.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum PlanError {
    /// The rubber makes no sense; every fault is listed.
    #[error("{}", .0.iter().map(ToString::to_string).collect::<Vec<_>>().join("; "))]
    Rubber(Vec<RubberError>),
    /// A number of the request cannot be used.
    #[error("{field} is {value}: {advice}")]
    BadNumber {
        /// Field of the request.
        field: &'static str,
        /// Value given.
        value: f64,
        /// What it must be.
        advice: &'static str,
    },
    /// The planning edge asked for is out of range.
    #[error(
        "resolution.planning_edge is {edge} mm: for this model it must lie between {low:.2} and {high:.2} mm, or be left out"
    )]
    PlanningEdge {
        /// Edge asked for, mm.
        edge: f64,
        /// Least, mm.
        low: f64,
        /// Greatest, mm.
        high: f64,
    },
    /// The gate cannot be found.
    #[error(transparent)]
    Gate(#[from] GateError),
    /// The mould body cannot be built.
    #[error(transparent)]
    Mould(#[from] MouldError),
    /// The working mesh cannot be made.
    #[error(transparent)]
    Decimate(#[from] DecimateError),
    /// The planning mesh cannot be made.
    #[error(transparent)]
    Remesh(#[from] RemeshError),
    /// The planning mesh is not closed.
    #[error(transparent)]
    Topology(#[from] TopologyError),
    /// The original surface cannot be searched.
    #[error(transparent)]
    Locator(#[from] LocatorError),
    /// Holes cannot be found.
    #[error(transparent)]
    Bridges(BridgeError),
    /// The planning graph cannot be built.
    #[error(transparent)]
    Graph(#[from] GraphError),
    /// A number of the sheets' settings cannot be used, or sheets cannot be made.
    #[error(transparent)]
    Sheets(SheetError),
    /// The areas that are kept off leave no way to release the model.
    #[error(
        "areas.keep_off: no cut that stays clear of these areas releases the model: make them smaller, leave one out, or ask for a finer planning edge"
    )]
    KeptOff,
    /// A checkpoint cannot be gone on from.
    #[error("the checkpoint cannot be used: {message}; start without it")]
    Checkpoint {
        /// What is wrong with it.
        message: String,
    },
    /// Cuts that somebody has drawn cannot be read; every fault is listed.
    #[error("{}", .0.iter().map(ToString::to_string).collect::<Vec<_>>().join("; "))]
    Scheme(Vec<SchemeFault>),
    /// Two sides cannot be drawn.
    #[error(transparent)]
    Sides(SidesError),
    /// A trial cannot be made.
    #[error(transparent)]
    Trial(TrialError),
    /// The search found no plan.
    #[error(transparent)]
    Search(#[from] SearchError),
    /// The caller cancelled.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
}

impl From<SheetError> for PlanError {
    fn from(error: SheetError) -> Self {
        match error {
            SheetError::Cancelled(cancelled) => Self::Cancelled(cancelled),
            other => Self::Sheets(other),
        }
    }
}

impl From<BridgeError> for PlanError {
    fn from(error: BridgeError) -> Self {
        match error {
            BridgeError::Cancelled => Self::Cancelled(Cancelled),
            other => Self::Bridges(other),
        }
    }
}

impl From<SidesError> for PlanError {
    fn from(error: SidesError) -> Self {
        match error {
            SidesError::Cancelled(cancelled) => Self::Cancelled(cancelled),
            other => Self::Sides(other),
        }
    }
}
