//! The way in: what is asked is checked, then planned.

use super::answer::Plan;
use super::check::check_request;
use super::checkpoint::Checkpoint;
use super::error::PlanError;
use super::hooks::Hooks;
use super::pass::run_passes;
use super::request::PlanRequest;
use super::scheme::{Judged, judge_scheme};
use crate::advice::{About, advise};
use crate::body::Gate;
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
        return Ok(advised(Plan { misses, ..plan }, model, request, control));
    }
    let resumed = hooks.resume.map(Checkpoint::from_bytes).transpose()?;
    let plan = run_passes(model, request, resumed, control, hooks)?;
    Ok(advised(plan, model, request, control))
}

/// The plan with what to see to before anything is poured, unless somebody waits for the end of the work.
fn advised(mut plan: Plan, model: &Model, request: &PlanRequest, control: &Control<'_>) -> Plan {
    if control.is_cancelled() {
        return plan;
    }
    // A plan has been made with it, so that there is one.
    let found = Gate::find(&model.original, &request.gate).map_err(|fault| fault.to_string());
    let advice = found.and_then(|gate| {
        // The lips of a cut that is led from within end on the model or at a hinge: they cannot slide.
        let exterior = plan.cuts.iter().filter(|cut| cut.kind.is_from_outside());
        let sheets = exterior.flat_map(|cut| cut.sheets.iter().map(|sheet| (cut.order, sheet)));
        let about = About {
            model: &model.working,
            gate: &gate,
            mould: &request.mould,
            sheets: sheets.collect(),
            front: plan.two_sides.as_ref().map(|sides| sides.direction),
        };
        advise(&about).map_err(|fault| fault.to_string())
    });
    match advice {
        Ok(advice) => plan.advice = Some(advice),
        Err(fault) => {
            plan.warnings
                .push(format!("there is no advice on what to see to before the pour: {fault}"));
        }
    }
    plan
}
