//! Where things of a plan are, in words.

pub(super) use crate::body::{Frame, Whereabouts};
use crate::mesh::{Point, TriangleMesh};
use crate::plan::{Plan, TrialVerdict};

/// What names places of a plan. `model` is any mesh of the model in the plan's coordinates.
pub(super) fn whereabouts(plan: &Plan, model: &TriangleMesh) -> Whereabouts {
    let to_mould = match (&plan.sheets, &plan.trial) {
        (Some(report), _) => Some(&report.skin.to_mould),
        (None, TrialVerdict::Ran(trial)) => Some(&trial.to_mould),
        (None, TrialVerdict::NotRun(_)) => None,
    };
    // The board passes through the mould frame's origin.
    let board = to_mould.map(|to_mould| to_mould.inverse() * Point::origin());
    Whereabouts::of(plan.up, board.as_ref(), model)
}
