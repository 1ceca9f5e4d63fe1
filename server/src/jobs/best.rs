//! Which of two plans is better, and the figures that tell of it.

use std::time::SystemTime;

use slitwright_proto::v1;

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
    }
}

/// Whether the first is better than the second: it releases the model and the other does not, or it
/// misses fewer limits, or does better when tried, or costs less.
pub fn is_better(one: &v1::BetterPlan, other: &v1::BetterPlan) -> bool {
    let rank = |plan: &v1::BetterPlan| {
        let trial = match plan.trial() {
            v1::TrialOutcome::Released => 0,
            v1::TrialOutcome::Stuck => 2,
            // Not tried, or not to the end.
            _ => 1,
        };
        (!plan.releases, plan.missed_limits, trial)
    };
    rank(one).cmp(&rank(other)).then(one.cost_mm.total_cmp(&other.cost_mm)).is_lt()
}

/// Whether the last plan of a run stands although `best` seems better: that one was never tried, and
/// this one was, after what earlier trials had asked of it.
pub fn knows_more(last: &v1::BetterPlan, best: &v1::BetterPlan) -> bool {
    let tried = |plan: &v1::BetterPlan| {
        matches!(plan.trial(), v1::TrialOutcome::Released | v1::TrialOutcome::Stuck)
    };
    tried(last) && !tried(best) && last.releases >= best.releases
}

/// What was learnt of the bound after a plan was found holds for that plan too.
pub fn raise_bound(plan: &mut v1::Plan, figures: &mut v1::BetterPlan, bound: f64) {
    if bound > plan.lower_bound_mm {
        let gap = if plan.cost_mm > 0.0 { (plan.cost_mm - bound) / plan.cost_mm } else { 0.0 };
        plan.lower_bound_mm = bound;
        plan.gap = gap.max(0.0);
        (figures.lower_bound_mm, figures.gap) = (plan.lower_bound_mm, plan.gap);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn plan(cost_mm: f64, releases: bool) -> v1::Plan {
        v1::Plan {
            cost_mm,
            limits: vec![v1::Limit {
                name: RELEASE.to_owned(),
                met: releases,
                ..Default::default()
            }],
            ..Default::default()
        }
    }

    #[test]
    fn a_plan_that_releases_beats_a_cheaper_one_that_does_not() {
        let of = |cost, releases| figures(&plan(cost, releases), 1, 0.0);
        assert!(is_better(&of(90.0, true), &of(80.0, false)));
        assert!(!is_better(&of(80.0, false), &of(90.0, true)));
        assert!(is_better(&of(80.0, true), &of(90.0, true)));
        assert!(!is_better(&of(80.0, true), &of(80.0, true)), "as good is not better");
    }

    #[test]
    fn limits_missed_come_before_cost_but_for_the_gap() {
        let missing = |cost, name: &str| {
            let mut plan = plan(cost, true);
            plan.limits.push(v1::Limit { name: name.to_owned(), ..Default::default() });
            figures(&plan, 1, 0.0)
        };
        assert!(is_better(&figures(&plan(90.0, true), 1, 0.0), &missing(80.0, "hinge width")));
        assert!(is_better(&missing(80.0, "gap"), &figures(&plan(90.0, true), 1, 0.0)));
        assert!(is_better(&missing(90.0, "hinge width"), &figures(&plan(80.0, false), 1, 0.0)));
    }

    #[test]
    fn a_plan_that_was_tried_stands_against_one_that_was_not() {
        let of = |cost, outcome: v1::TrialOutcome| {
            let trial = Some(v1::Trial { outcome: outcome.into(), ..Default::default() });
            figures(&v1::Plan { trial, ..plan(cost, true) }, 1, 0.0)
        };
        let untried = of(80.0, v1::TrialOutcome::NotYet);
        let released = of(90.0, v1::TrialOutcome::Released);
        let stuck = of(95.0, v1::TrialOutcome::Stuck);
        assert!(is_better(&released, &untried) && is_better(&released, &stuck));
        assert!(!is_better(&stuck, &untried) && knows_more(&stuck, &untried));
        assert!(!knows_more(&stuck, &released) && !knows_more(&untried, &stuck));
    }

    #[test]
    fn a_bound_only_rises() {
        let mut plan = v1::Plan { lower_bound_mm: 60.0, gap: 0.25, ..plan(80.0, true) };
        let mut told = figures(&plan, 1, 0.0);
        raise_bound(&mut plan, &mut told, 50.0);
        assert_eq!((plan.lower_bound_mm, plan.gap), (60.0, 0.25));
        raise_bound(&mut plan, &mut told, 72.0);
        assert_eq!((plan.lower_bound_mm, told.lower_bound_mm), (72.0, 72.0));
        assert!((plan.gap - 0.1).abs() < 1e-12 && (told.gap - 0.1).abs() < 1e-12);
    }
}
