//! The seam between the service and the solver.

use slitwright_solver::control::Control;
use slitwright_solver::mesh::{self, LengthUnit, MeshFormat, Model, PrepareError, PrepareOptions};
use slitwright_solver::plan::{Plan, PlanRequest};

/// Does the work. Called on threads that may be blocked.
pub trait Planner: Send + Sync + 'static {
    /// Reads and checks a model.
    fn prepare(
        &self,
        bytes: &[u8],
        format: MeshFormat,
        unit: Option<LengthUnit>,
        options: &PrepareOptions,
    ) -> Result<Model, PrepareError> {
        mesh::prepare(bytes, format, unit, options)
    }

    /// Makes a plan. Looks at `control` at least every 100 ms.
    fn plan(
        &self,
        model: &Model,
        request: &PlanRequest,
        control: &Control<'_>,
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
        _model: &Model,
        _request: &PlanRequest,
        _control: &Control<'_>,
    ) -> Result<Plan, PlanFault> {
        // PENDING: the call into the solver goes here once make_plan is on this branch.
        Err(PlanFault::Internal("this build has no planner yet".to_owned()))
    }
}
