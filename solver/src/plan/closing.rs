//! The last that is told of a plan: its ending, and the limit that depends on it.

use super::answer::{Limit, Plan};
use super::ending::{BoundFor, Ending, StopReason};
use super::request::PlanRequest;

/// Name of the limit that tells of the search.
const GAP: &str = "gap";

/// What makes cuts count as more than they are long.
pub(crate) const ADDED: &str = "with what is added for separate cuts and for hard places";

/// Give a plan its ending, in place of the one it had.
pub(super) fn close(plan: &mut Plan, ending: Ending, request: &PlanRequest) {
    plan.ending = ending;
    plan.limits.retain(|limit| limit.name != GAP);
    // The bound knows nothing of trials: a cut between two sides that passes one is measured against no gap.
    if ending.bound_for == BoundFor::Nothing || plan.two_sides.is_some() {
        return;
    }
    let asked = request.budget.target_gap;
    plan.limits.push(Limit {
        name: GAP.to_owned(),
        met: ending.gap <= asked || ending.stopped_by == StopReason::Optimal,
        text: gap_text(plan.cost, &ending, asked),
    });
}

/// The gap for people: what the bound is and what it is not. In exact terms it is a lower bound of the girth model on the
/// planning mesh.
fn gap_text(cost: f64, ending: &Ending, asked: f64) -> String {
    let (gap, asked) = (100.0 * ending.gap, 100.0 * asked);
    let bound = ending.lower_bound;
    if cost <= 0.0 {
        return format!("nothing is cut, and nothing is cheaper: {gap:.1} %, asked {asked:.1} %");
    }
    if bound <= 0.0 {
        return format!(
            "the cuts count as {cost:.1} mm, {ADDED}; how much less would pass the simple check of girths that plans begin \
             with is not known ({gap:.1} % less, asked {asked:.1} %)"
        );
    }
    format!(
        "the cuts count as {cost:.1} mm, {ADDED}. None that count as less than {bound:.1} mm pass the simple check of girths \
         that plans begin with; the trial may ask for more cut. Up to {gap:.1} % less is not ruled out, asked {asked:.1} %"
    )
}
