//! Progress, from the solver to the protocol.

use slitwright_proto::v1;
use slitwright_solver::control::{Progress, Stage};

use crate::text::shortened;

/// Most bytes of a report's sentence.
const MESSAGE: usize = 500;

/// A report for the protocol.
pub fn progress_to_proto(progress: &Progress) -> v1::Progress {
    v1::Progress {
        stage: stage(progress.stage).into(),
        fraction: progress.fraction,
        elapsed_seconds: progress.elapsed_seconds,
        rounds: progress.rounds,
        rows: progress.rows,
        lower_bound_mm: progress.lower_bound,
        best_cost_mm: progress.best_cost,
        best_length_mm: progress.best_length,
        message: shortened(&progress.message, MESSAGE),
    }
}

fn stage(stage: Stage) -> v1::Stage {
    match stage {
        Stage::Mesh => v1::Stage::Mesh,
        Stage::Body => v1::Stage::Body,
        Stage::Bridges => v1::Stage::Bridges,
        Stage::Girth => v1::Stage::Girth,
        Stage::Optimise => v1::Stage::Optimise,
        Stage::Curves => v1::Stage::Curves,
        Stage::Trial => v1::Stage::Trial,
        Stage::Plan => v1::Stage::Plan,
    }
}
