//! The way in: what is asked is checked, then planned.

use super::answer::Plan;
use super::check::check_request;
use super::checkpoint::Checkpoint;
use super::error::PlanError;
use super::hooks::Hooks;
use super::pass::run_passes;
use super::request::PlanRequest;
use super::scheme::{Judged, judge_scheme};
use crate::control::Control;
use crate::mesh::Model;

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
