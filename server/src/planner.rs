//! The seam between the service and the solver.

use slitwright_solver::control::{Cancel, Control};
use slitwright_solver::mesh::{self, LengthUnit, MeshFormat, Model, PrepareError, PrepareOptions};
use slitwright_solver::optimise::search::SearchError;
use slitwright_solver::plan::{Hooks, Plan, PlanError, PlanRequest, make_plan_with};

/// Does the work. Called on threads that may be blocked.
pub trait Planner: Send + Sync + 'static {
    /// Reads and checks a model, until someone cancels.
    fn prepare(
        &self,
        bytes: &[u8],
        format: MeshFormat,
        unit: Option<LengthUnit>,
        options: &PrepareOptions,
        cancel: &Cancel,
    ) -> Result<Model, PrepareError> {
        mesh::prepare_with(bytes, format, unit, options, cancel)
    }

    /// Makes a plan. Looks at `control` at least every 100 ms, and tells `hooks` what it finds.
    fn plan(
        &self,
        model: &Model,
        request: &PlanRequest,
        control: &Control<'_>,
        hooks: &Hooks<'_>,
    ) -> Result<Plan, PlanFault>;
}

/// Why there is no plan.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PlanFault {
    /// Someone asked to stop before there was one.
    #[error("stopped before there was a plan")]
    Cancelled,
    /// Model and request do not go together; another request may help.
    #[error("{0}")]
    Unfit(String),
    /// Time ran out before there was one; more of it may help.
    #[error("{0}")]
    NoPlan(String),
    /// The checkpoint to go on from is of no use; work may begin without it.
    #[error("{0}")]
    Checkpoint(String),
    /// A fault of the program.
    #[error("{0}")]
    Internal(String),
}

/// The solver itself.
#[derive(Clone, Copy, Debug, Default)]
pub struct SolverPlanner;

impl Planner for SolverPlanner {
    fn plan(
        &self,
        model: &Model,
        request: &PlanRequest,
        control: &Control<'_>,
        hooks: &Hooks<'_>,
    ) -> Result<Plan, PlanFault> {
        make_plan_with(model, request, control, hooks).map_err(|error| match error {
            PlanError::Cancelled(_) => PlanFault::Cancelled,
            // A search that was stopped before it had anything says so in its own way.
            _ if control.is_cancelled() => PlanFault::Cancelled,
            PlanError::Checkpoint { .. } => PlanFault::Checkpoint(error.to_string()),
            PlanError::Search(SearchError::NoPlan(_)) => PlanFault::NoPlan(error.to_string()),
            PlanError::Topology(_)
            | PlanError::Locator(_)
            | PlanError::Search(SearchError::Relaxation(_)) => {
                PlanFault::Internal(error.to_string())
            }
            _ => PlanFault::Unfit(error.to_string()),
        })
    }
}
