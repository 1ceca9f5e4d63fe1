//! A planner whose plans are counted: how they ended, and how long they took.

use std::sync::Arc;
use std::time::Instant;

use slitwright_solver::control::{Cancel, Control};
use slitwright_solver::mesh::{LengthUnit, MeshFormat, Model, PrepareError, PrepareOptions};
use slitwright_solver::plan::{Hooks, Plan, PlanRequest, StopReason};

use super::metrics::Metrics;
use crate::planner::{PlanFault, Planner};

/// A planner whose plans are counted.
pub struct CountedPlanner {
    /// Who does the work.
    pub inner: Arc<dyn Planner>,
    /// Where it is counted.
    pub metrics: Arc<Metrics>,
}

impl Planner for CountedPlanner {
    fn prepare(
        &self,
        bytes: &[u8],
        format: MeshFormat,
        unit: Option<LengthUnit>,
        options: &PrepareOptions,
        cancel: &Cancel,
    ) -> Result<Model, PrepareError> {
        self.inner.prepare(bytes, format, unit, options, cancel)
    }

    fn plan(
        &self,
        model: &Model,
        request: &PlanRequest,
        control: &Control<'_>,
        hooks: &Hooks<'_>,
    ) -> Result<Plan, PlanFault> {
        let mut count = PlanCount {
            metrics: &self.metrics,
            began: Instant::now(),
            // What a panic leaves behind.
            outcome: "panicked",
        };
        let outcome = self.inner.plan(model, request, control, hooks);
        count.outcome = match &outcome {
            Ok(plan) if plan.ending.stopped_by == StopReason::Cancelled => "cut_short",
            Ok(_) => "made",
            Err(PlanFault::Cancelled) => "cancelled",
            Err(PlanFault::Unfit(_)) => "unfit",
            Err(PlanFault::NoPlan(_)) => "none_found",
            Err(PlanFault::Internal(_) | PlanFault::Checkpoint(_)) => "failed",
        };
        outcome
    }
}

struct PlanCount<'a> {
    metrics: &'a Metrics,
    began: Instant,
    outcome: &'static str,
}

impl Drop for PlanCount<'_> {
    fn drop(&mut self) {
        self.metrics.plan_ends(self.outcome, self.began.elapsed());
    }
}
