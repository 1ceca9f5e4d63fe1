//! Where plans stand among others.

use slitwright_proto::v1;
use slitwright_solver::plan::{Standing, Tried};

pub(super) fn standing_to_proto(standing: &Standing) -> v1::Standing {
    v1::Standing {
        falls_apart: !standing.is_whole,
        trial: match standing.tried {
            Tried::Passed | Tried::Narrowly => v1::TrialOutcome::Released,
            Tried::Held => v1::TrialOutcome::Stuck,
            Tried::NoVerdict => v1::TrialOutcome::NoVerdict,
            Tried::OutOfTime => v1::TrialOutcome::OutOfTime,
            Tried::Not => v1::TrialOutcome::NotYet,
        }
        .into(),
        came_mm: standing.came,
        shortfall_mm: standing.shortfall,
        missed_limits: standing.missed,
        cost_mm: standing.cost,
        narrowly_released: standing.tried == Tried::Narrowly,
    }
}

/// Where a plan stands that was stored.
pub fn standing_from_proto(standing: &v1::Standing) -> Standing {
    Standing {
        is_whole: !standing.falls_apart,
        tried: match standing.trial() {
            v1::TrialOutcome::Released if standing.narrowly_released => Tried::Narrowly,
            v1::TrialOutcome::Released => Tried::Passed,
            v1::TrialOutcome::Stuck => Tried::Held,
            v1::TrialOutcome::NoVerdict => Tried::NoVerdict,
            v1::TrialOutcome::OutOfTime => Tried::OutOfTime,
            _ => Tried::Not,
        },
        came: standing.came_mm,
        shortfall: standing.shortfall_mm,
        missed: standing.missed_limits,
        cost: standing.cost_mm,
    }
}
