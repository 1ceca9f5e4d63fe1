//! The way in: what is asked is checked, then planned.

use super::checkpoint::Checkpoint;
use super::pass::run_passes;
use super::{Hooks, Judged, Plan, PlanRequest, judge_scheme};
use crate::body::{GateError, MouldError, RubberError};
use crate::bridges::BridgeError;
use crate::control::{Cancelled, Control};
use crate::girth::GraphError;
use crate::mesh::{DecimateError, LocatorError, Model, RemeshError, TopologyError};
use crate::optimise::search::SearchError;
use crate::sheets::SheetError;

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
    Scheme(Vec<super::SchemeFault>),
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

/// Make a cut plan.
///
/// Blocks until the plan is there, the budget ends, or `control` is cancelled; in the last case
/// the best plan so far comes back if there is one.
pub fn make_plan(
    model: &Model,
    request: &PlanRequest,
    control: &Control<'_>,
) -> Result<Plan, PlanError> {
    make_plan_with(model, request, control, &Hooks::NONE)
}

/// Make a cut plan and let someone follow it, as [`make_plan`] does. A request with a scheme has its
/// cuts judged: nobody needs to follow that.
pub fn make_plan_with(
    model: &Model,
    request: &PlanRequest,
    control: &Control<'_>,
    hooks: &Hooks<'_>,
) -> Result<Plan, PlanError> {
    check_request(request)?;
    if let Some(scheme) = &request.scheme {
        let Judged { plan, misses } = judge_scheme(model, request, scheme, control)?;
        return Ok(Plan { misses, ..plan });
    }
    let resumed = hooks.resume.map(Checkpoint::from_bytes).transpose()?;
    run_passes(model, request, resumed, control, hooks)
}

/// Numbers of a request that cannot be used.
pub(super) fn check_request(request: &PlanRequest) -> Result<(), PlanError> {
    check_numbers(request)?;
    request.sheets.check()?;
    request.weights.check()?;
    Ok(request.areas.check()?)
}

fn check_numbers(request: &PlanRequest) -> Result<(), PlanError> {
    let knife = &request.knife;
    let budget = &request.budget;
    let zone = knife.opening_zone.unwrap_or(1.0);
    let positive = "must be a positive number";
    let not_negative = "must be zero or a positive number";
    let checks = [
        ("knife.hand_force", knife.hand_force, knife.hand_force > 0.0, positive),
        ("knife.opening_zone", zone, zone > 0.0, positive),
        ("knife.hinge_width", knife.hinge_width, knife.hinge_width >= 0.0, not_negative),
        ("knife.entry_price", knife.entry_price, knife.entry_price >= 0.0, not_negative),
        ("knife.least_cut", knife.least_cut, knife.least_cut >= 0.0, not_negative),
        ("budget.seconds", budget.seconds, budget.seconds > 0.0, positive),
        (
            "budget.target_gap",
            budget.target_gap,
            (0.0..1.0).contains(&budget.target_gap),
            "must lie between 0 and 1",
        ),
    ];
    for (field, value, good, advice) in checks {
        if !(good && value.is_finite()) {
            return Err(PlanError::BadNumber { field, value, advice });
        }
    }
    Ok(())
}
