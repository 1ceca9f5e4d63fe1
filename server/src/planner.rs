//! The seam between the service and the solver.

use slitwright_solver::control::Control;
use slitwright_solver::mesh::{self, LengthUnit, MeshFormat, Model, PrepareError, PrepareOptions};
use slitwright_solver::plan::{Plan, PlanError, PlanRequest, make_plan};

/// Does the work. Called on threads that may be blocked.
pub trait Planner: Send + Sync + 'static {
    /// Reads and checks a model.
    fn prepare(
        &self,
        bytes: &[u8],
        format: MeshFormat,
        unit: LengthUnit,
        options: &PrepareOptions,
    ) -> Result<Model, PrepareError>;

    /// Makes a plan. Looks at `control` at least every 100 ms.
    fn plan(
        &self,
        model: &Model,
        request: &PlanRequest,
        control: &Control<'_>,
    ) -> Result<Plan, PlanError>;
}

/// The solver itself.
#[derive(Clone, Copy, Debug, Default)]
pub struct SolverPlanner;

impl Planner for SolverPlanner {
    fn prepare(
        &self,
        bytes: &[u8],
        format: MeshFormat,
        unit: LengthUnit,
        options: &PrepareOptions,
    ) -> Result<Model, PrepareError> {
        mesh::prepare(bytes, format, unit, options)
    }

    fn plan(
        &self,
        model: &Model,
        request: &PlanRequest,
        control: &Control<'_>,
    ) -> Result<Plan, PlanError> {
        make_plan(model, request, control)
    }
}
