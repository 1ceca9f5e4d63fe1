//! How the work on a plan ended, and what is proved of the best there can be: worked out once, when all
//! work is over.

use serde::{Deserialize, Serialize};

use super::verdict::{NotTried, TrialVerdict};
use crate::optimise::gap::gap;
use crate::optimise::search::SearchEnd;
use crate::trial::Outcome;

/// Why the work ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum StopReason {
    /// The work goes on: this is the best plan until now.
    NotYet,
    /// The gap asked for was reached.
    GapReached,
    /// The plan is optimal for the planning graph.
    Optimal,
    /// A plan that was made again, after a trial that failed, passed its own.
    Corrected,
    /// The rounds asked for were done.
    Rounds,
    /// The time budget ran out, in the search or in a trial.
    TimeBudget,
    /// No further improvement was found: the bound stopped moving, or a failed trial asked for nothing that
    /// could be had.
    Stalled,
    /// Someone asked for the best plan so far, before or during a trial.
    Cancelled,
    /// A fault of the program: this is the best plan until then, and its warnings say what happened.
    Fault,
    /// Nothing was searched: somebody else's cuts were judged. There is no bound then.
    Judged,
}

impl From<SearchEnd> for StopReason {
    fn from(end: SearchEnd) -> Self {
        match end {
            SearchEnd::Optimal => Self::Optimal,
            SearchEnd::TimeBudget => Self::TimeBudget,
            SearchEnd::Stalled => Self::Stalled,
            SearchEnd::Cancelled => Self::Cancelled,
        }
    }
}

/// What a lower bound holds for.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub enum BoundFor {
    /// Nothing: none was looked for.
    Nothing,
    /// Every set of cuts along the planning mesh that releases the model by the girth model, whatever a
    /// trial says of it; but for an edge of that mesh a cut, since an end may fall between two vertices.
    GirthModel {
        /// Mean edge of the planning mesh, mm.
        planning_edge: f64,
    },
}

/// How the work on a plan ended.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Ending {
    /// Why.
    pub stopped_by: StopReason,
    /// Lower bound on the cost of what [`Ending::bound_for`] tells, mm: the relaxation's value on the
    /// planning graph, over the greatest ratio of a way along the graph to a straight line. 0, which says
    /// nothing, where there is none.
    pub lower_bound: f64,
    /// What the bound holds for.
    pub bound_for: BoundFor,
    /// (cost - bound) / cost: see [`gap`].
    pub gap: f64,
}

impl Ending {
    /// The ending of a plan of `cost` mm.
    pub fn new(stopped_by: StopReason, cost: f64, lower_bound: f64, bound_for: BoundFor) -> Self {
        Self { stopped_by, lower_bound, bound_for, gap: gap(cost, lower_bound) }
    }

    /// The ending of cuts of `cost` mm that were judged as they are, if nobody stopped the work and their trial had the time.
    pub(super) fn judged(cost: f64, trial: &TrialVerdict, is_cancelled: bool) -> Self {
        let is_late = match trial {
            TrialVerdict::Ran(trial) => trial.report.outcome == Outcome::OutOfTime,
            TrialVerdict::NotRun(why) => *why == NotTried::Stopped,
        };
        let trials = if is_late { TrialsEnd::OutOfTime } else { TrialsEnd::AsSearched };
        let stopped_by = stop_reason(StopReason::Judged, trials, is_cancelled);
        Self::new(stopped_by, cost, 0.0, BoundFor::Nothing)
    }
}

/// How the work after the search ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum TrialsEnd {
    /// There was none, or the search's own plan stands as it was tried.
    AsSearched,
    /// A plan that was made again passes.
    Corrected,
    /// Time ran out before a trial had ended, or before another plan could be made.
    OutOfTime,
    /// Nothing more could be asked for, or what was asked for could not be had.
    GaveUp,
    /// A fault of the program.
    Fault,
}

/// Why all work ended, from how its parts did: whoever stopped it comes first, whatever they
/// interrupted.
pub(super) fn stop_reason(search: StopReason, trials: TrialsEnd, is_cancelled: bool) -> StopReason {
    match trials {
        _ if is_cancelled => StopReason::Cancelled,
        TrialsEnd::OutOfTime => StopReason::TimeBudget,
        TrialsEnd::Corrected => StopReason::Corrected,
        TrialsEnd::GaveUp => StopReason::Stalled,
        TrialsEnd::Fault => StopReason::Fault,
        TrialsEnd::AsSearched => search,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A plan that was made again says so, whatever the search before it had said; who stopped the work comes first.
    #[test]
    fn why_work_ended_is_what_came_last_unless_somebody_stopped_it() {
        let search = StopReason::GapReached;
        for (trials, told) in [
            (TrialsEnd::AsSearched, StopReason::GapReached),
            (TrialsEnd::Corrected, StopReason::Corrected),
            (TrialsEnd::OutOfTime, StopReason::TimeBudget),
            (TrialsEnd::GaveUp, StopReason::Stalled),
            (TrialsEnd::Fault, StopReason::Fault),
        ] {
            assert_eq!(stop_reason(search, trials, false), told);
            assert_eq!(stop_reason(search, trials, true), StopReason::Cancelled);
        }
    }
}
