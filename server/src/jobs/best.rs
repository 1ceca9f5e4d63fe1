//! Which of two plans is better, and the figures that tell of it.

use std::time::SystemTime;

use slitwright_proto::v1;
use slitwright_solver::optimise::gap::gap;

use crate::convert::standing_from_proto;
use crate::store::timestamp;

/// Name of the limit that says whether the model comes off.
const RELEASE: &str = "release";
/// Name of the limit that tells of the search, not of the plan.
const GAP: &str = "gap";
/// Name of the limit that tells of the trial, which has a figure of its own.
const TRIAL: &str = "release trial";

/// Figures of a plan, as number `number` of the better ones.
pub fn figures(plan: &v1::Plan, number: u32, used_seconds: f64) -> v1::BetterPlan {
    let lips = plan.sheet_report.as_ref().and_then(|report| report.exterior.as_ref());
    let missed = || {
        let counts = |limit: &&v1::Limit| limit.name != GAP && limit.name != TRIAL;
        plan.limits.iter().filter(|limit| !limit.met).filter(counts)
    };
    v1::BetterPlan {
        number,
        create_time: Some(timestamp(SystemTime::now())),
        used_seconds,
        length_mm: plan.total_length_mm,
        cost_mm: plan.cost_mm,
        lower_bound_mm: plan.lower_bound_mm,
        gap: plan.gap,
        releases: missed().all(|limit| limit.name != RELEASE),
        missed_limits: u32::try_from(missed().count()).unwrap_or(u32::MAX),
        risk: lips.map(|lips| lips.risk),
        weak_length_mm: lips.map(|lips| lips.weak_length_mm),
        trial: plan.trial.as_ref().map_or(0, |trial| trial.outcome),
        standing: plan.standing,
    }
}

/// Whether the first is better than the second, in the solver's order. One that an earlier version of this
/// program has stored, which tells of no order, gives way to any other.
pub fn is_better(one: &v1::BetterPlan, other: &v1::BetterPlan) -> bool {
    let standing = |plan: &v1::BetterPlan| plan.standing.as_ref().map(standing_from_proto);
    match (standing(one), standing(other)) {
        (Some(one), Some(other)) => one.is_better_than(&other),
        (one, other) => one.is_some() && other.is_none(),
    }
}

/// What was learnt of the bound after a plan was found holds for that plan too.
pub fn raise_bound(plan: &mut v1::Plan, figures: &mut v1::BetterPlan, bound: f64) {
    if bound > plan.lower_bound_mm {
        plan.lower_bound_mm = bound;
        plan.gap = gap(plan.cost_mm, bound);
        (figures.lower_bound_mm, figures.gap) = (plan.lower_bound_mm, plan.gap);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn plan(standing: v1::Standing) -> v1::Plan {
        v1::Plan { cost_mm: standing.cost_mm, standing: Some(standing), ..Default::default() }
    }

    /// What the solver's order says of two plans is what the figures say that are stored of them.
    #[test]
    fn figures_stand_as_the_solver_has_it() {
        let with = |cost_mm, outcome: v1::TrialOutcome, came_mm| v1::Standing {
            trial: outcome.into(),
            came_mm,
            cost_mm,
            ..Default::default()
        };
        let falling = [
            with(95.0, v1::TrialOutcome::Released, 0.0),
            with(99.0, v1::TrialOutcome::Stuck, 30.0),
            with(90.0, v1::TrialOutcome::Stuck, 12.0),
            with(80.0, v1::TrialOutcome::OutOfTime, 40.0),
            with(70.0, v1::TrialOutcome::NotYet, 0.0),
            v1::Standing { shortfall_mm: 2.0, ..with(60.0, v1::TrialOutcome::NotYet, 0.0) },
            v1::Standing { falls_apart: true, ..with(50.0, v1::TrialOutcome::Released, 0.0) },
        ]
        .map(|standing| figures(&plan(standing), 1, 0.0));
        for (k, better) in falling.iter().enumerate() {
            assert!(!is_better(better, better), "as good is not better");
            for worse in &falling[k + 1..] {
                assert!(
                    is_better(better, worse) && !is_better(worse, better),
                    "{better:?} {worse:?}"
                );
            }
        }
        let of_old = v1::BetterPlan { standing: None, ..falling[0] };
        assert!(is_better(&falling[6], &of_old) && !is_better(&of_old, &falling[6]));
    }

    #[test]
    fn a_bound_only_rises() {
        let mut plan = v1::Plan {
            lower_bound_mm: 60.0,
            gap: 0.25,
            ..plan(v1::Standing { cost_mm: 80.0, ..Default::default() })
        };
        let mut told = figures(&plan, 1, 0.0);
        raise_bound(&mut plan, &mut told, 50.0);
        assert_eq!((plan.lower_bound_mm, plan.gap), (60.0, 0.25));
        raise_bound(&mut plan, &mut told, 72.0);
        assert_eq!((plan.lower_bound_mm, told.lower_bound_mm), (72.0, 72.0));
        assert!((plan.gap - 0.1).abs() < 1e-12 && (told.gap - 0.1).abs() < 1e-12);
    }
}
