//! Plans side by side: rows from stored plans, and the comparison for the protocol.

use slitwright_proto::v1;
use slitwright_solver::plan::{Compared, Comparison, keeps_and_releases};
use slitwright_solver::trial::{Doubt, Hindrance, Outcome};

use super::geometry::place;
use super::violations::Collector;

/// What a stored plan comes to. The place where a trial was stuck is not part of a comparison.
pub fn compared(name: &str, plan: &v1::Plan) -> Compared {
    let missed: Vec<String> =
        plan.limits.iter().filter(|limit| !limit.met).map(|limit| limit.name.clone()).collect();
    let figures = plan.sheet_report.as_ref().and_then(|report| report.exterior.as_ref());
    // Near-bridges are no bridges that have to be cut.
    let is_bridge = |cut: &&v1::Cut| matches!(cut.why, Some(v1::cut::Why::CutsBridge(_)));
    let crossed = plan.cuts.iter().filter(is_bridge).count();
    let bridges = (crossed, plan.bridges.len());
    Compared {
        name: name.to_owned(),
        works: keeps_and_releases(&missed, bridges),
        missed,
        total_length: plan.total_length_mm,
        cuts: plan.cuts.len(),
        cost: plan.cost_mm,
        weak_length: figures.map(|f| f.weak_length_mm),
        risk: figures.map(|f| f.risk),
        worst_angle: figures.map(|f| f.worst_angle_degrees),
        greatest_depth: figures.map(|f| f.greatest_depth_mm),
        area: plan.sheet_report.as_ref().map(|report| report.area_mm2),
        bridges,
        narrowest_hinge: plan.hinges.iter().map(|h| h.width_mm).min_by(f64::total_cmp),
        greatest_strain: plan.stretches.iter().map(|s| s.strain).fold(0.0, f64::max),
        seam_on_show: plan.seam_on_show_mm,
        trial: plan.trial.as_ref().and_then(|trial| Some((outcome(trial)?, trial.greatest_pull_n))),
        on_front: false,
    }
}

fn outcome(trial: &v1::Trial) -> Option<Outcome> {
    match trial.outcome() {
        v1::TrialOutcome::Released => Some(Outcome::Released),
        v1::TrialOutcome::OutOfTime => Some(Outcome::OutOfTime),
        v1::TrialOutcome::NoVerdict => Some(Outcome::NoVerdict {
            why: match trial.doubt() {
                v1::Doubt::Pierced => Doubt::Pierced,
                // Plans that were stored before there was a second reason name none.
                v1::Doubt::Unsettled | v1::Doubt::Unspecified => Doubt::Unsettled,
            },
        }),
        v1::TrialOutcome::Stuck => Some(Outcome::Stuck {
            hindrance: match trial.hindrance() {
                v1::Hindrance::Tear => Hindrance::Tear,
                v1::Hindrance::Caught => Hindrance::Caught,
                v1::Hindrance::Pull | v1::Hindrance::Unspecified => Hindrance::Pull,
            },
            place: place(trial.stuck_at.as_ref(), "", &mut Collector::default()),
        }),
        _ => None,
    }
}

/// The comparison for the protocol.
pub fn comparison_to_proto(comparison: &Comparison) -> Vec<v1::ComparedPlan> {
    comparison.rows.iter().map(row).collect()
}

fn row(row: &Compared) -> v1::ComparedPlan {
    let count = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
    v1::ComparedPlan {
        name: row.name.clone(),
        works: row.works,
        missed: row.missed.clone(),
        total_length_mm: row.total_length,
        cuts: count(row.cuts),
        cost_mm: row.cost,
        weak_length_mm: row.weak_length,
        risk: row.risk,
        worst_angle_degrees: row.worst_angle,
        greatest_depth_mm: row.greatest_depth,
        area_mm2: row.area,
        bridges_cut: count(row.bridges.0),
        bridges: count(row.bridges.1),
        narrowest_hinge_mm: row.narrowest_hinge,
        greatest_strain: row.greatest_strain,
        seam_on_show_mm: row.seam_on_show,
        trial: match row.trial {
            None => v1::TrialOutcome::Unspecified,
            Some((Outcome::Released, _)) => v1::TrialOutcome::Released,
            Some((Outcome::Stuck { .. }, _)) => v1::TrialOutcome::Stuck,
            Some((Outcome::OutOfTime, _)) => v1::TrialOutcome::OutOfTime,
            Some((Outcome::NoVerdict { .. }, _)) => v1::TrialOutcome::NoVerdict,
        }
        .into(),
        greatest_pull_n: row.trial.map(|(_, pull)| pull),
        on_front: row.on_front,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::convert::trial::doubt;

    #[test]
    fn a_stored_trial_without_a_verdict_keeps_its_reason() {
        for why in [Doubt::Unsettled, Doubt::Pierced] {
            let verdict = Outcome::NoVerdict { why };
            let stored = v1::Trial {
                outcome: v1::TrialOutcome::NoVerdict.into(),
                doubt: doubt(&verdict).into(),
                ..v1::Trial::default()
            };
            assert_eq!(outcome(&stored), Some(verdict));
        }
    }
}
