//! The seam between the service and the solver.

use slitwright_solver::body::{self, PoseError, Poses};
use slitwright_solver::control::{Cancel, Control};
use slitwright_solver::mesh::{
    self, Beside, LengthUnit, MeshFormat, Model, Point, PrepareError, PrepareOptions,
    SurfaceLocator, Vector,
};
use slitwright_solver::optimise::search::SearchError;
use slitwright_solver::plan::{
    Hooks, Plan, PlanError, PlanRequest, Scheme, SchemeLine, make_plan_with,
};

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

    /// The same for a model that may name files beside its own, with word of how it gets on.
    fn prepare_beside(
        &self,
        bytes: &[u8],
        format: MeshFormat,
        unit: Option<LengthUnit>,
        options: &PrepareOptions,
        beside: &dyn Beside,
        control: &Control<'_>,
    ) -> Result<Model, PrepareError> {
        mesh::prepare_beside(bytes, format, unit, options, beside, control)
    }

    /// How a model stands with z up, as it does where no gate is asked for, and how it would rest.
    fn poses(&self, model: &Model) -> Result<Poses, PoseError> {
        body::poses(&model.original, &Vector::z())
    }

    /// What is wrong with the place of drawn cuts on a model, by the number of the cut and of its point: those
    /// farther off it than the scheme bears, with how far.
    fn off_model(&self, model: &Model, scheme: &Scheme) -> Result<Vec<OffModel>, PlanFault> {
        let surface = SurfaceLocator::new(&model.original)
            .map_err(|error| PlanFault::Internal(error.to_string()))?;
        let points = scheme.cuts.iter().enumerate().flat_map(|(cut, own)| {
            let points: &[Point] = match &own.line {
                SchemeLine::Points(points) => points,
                SchemeLine::Bridge(_) => &[],
            };
            points.iter().enumerate().map(move |(point, place)| (cut, point, place))
        });
        let off = points.filter_map(|(cut, point, place)| {
            let distance = surface.closest(place).distance;
            (distance > scheme.tolerance).then_some(OffModel { cut, point, distance })
        });
        Ok(off.collect())
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

/// A point of a drawn cut that is not on the model.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OffModel {
    /// Index of the cut.
    pub cut: usize,
    /// Index of the point on its line.
    pub point: usize,
    /// How far off the model it is, mm.
    pub distance: f64,
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
