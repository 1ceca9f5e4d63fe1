//! The order of plans: which of two is better.

use std::cmp::Ordering;

use super::answer::Plan;
use super::verdict::{PlanTrial, TrialVerdict};
use crate::trial::Outcome;

/// What decides which of two plans is better, whoever asks: the search, the corrections, who follows a
/// plan, who stores one. The order is total; of two plans the better one, in this order,
///
/// 1. leaves the mould whole,
/// 2. passes its trial,
/// 3. comes nearest to passing: it was tried to the end rather than until time ran out, and that rather
///    than not at all; then the mould comes farther before hands can pull no more,
/// 4. lacks least girth of release by the girth model,
/// 5. misses fewest limits besides,
/// 6. costs least.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Standing {
    /// Whether the cut rubber hangs together, by all that looked at it.
    pub is_whole: bool,
    /// How the trial came out.
    pub tried: Tried,
    /// How far the mould came before hands could pull no more, mm; 0 without a trial.
    pub came: f64,
    /// See [`Plan::shortfall`], mm.
    pub shortfall: f64,
    /// Limits missed but for the gap, the trial and the release, which count by themselves. As many as
    /// there may be where no sheets were made: theirs were not looked at.
    pub missed: u32,
    /// See [`Plan::cost`], mm.
    pub cost: f64,
}

/// How a trial came out, best first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Tried {
    /// The rubber came off with a pull that can be believed.
    Passed,
    /// It came off, but took more than that.
    Narrowly,
    /// It did not.
    Held,
    /// Its trial ended without an answer.
    NoVerdict,
    /// Time ran out first.
    OutOfTime,
    /// There was no trial.
    Not,
}

/// Names of limits that count by themselves.
const APART: [&str; 3] = ["gap", "release", "release trial"];
/// Names of limits that tell whether the mould stays whole.
const WHOLE: &str = "one piece";

impl Standing {
    /// Where a plan stands.
    pub fn of(plan: &Plan) -> Self {
        let missed = || plan.limits.iter().filter(|limit| !limit.met);
        let lies_whole = missed().all(|limit| limit.name != WHOLE);
        let hangs_together = plan.sheets.as_ref().is_none_or(|report| report.one_piece.holds());
        let besides = missed().filter(|limit| !APART.contains(&limit.name.as_str())).count();
        let besides = if plan.sheets.is_some() { besides } else { usize::MAX };
        Self {
            missed: u32::try_from(besides).unwrap_or(u32::MAX),
            ..Self::new(lies_whole && hangs_together, &plan.trial, plan.shortfall, plan.cost)
        }
    }

    /// Where a plan stands of which the limits are not known yet.
    pub(super) fn new(is_whole: bool, trial: &TrialVerdict, shortfall: f64, cost: f64) -> Self {
        let (is_one, tried, came) = match trial {
            TrialVerdict::NotRun(_) => (true, Tried::Not, 0.0),
            TrialVerdict::Ran(trial) => {
                let tried = match trial.report.outcome {
                    Outcome::Released if trial.is_easy() => Tried::Passed,
                    Outcome::Released => Tried::Narrowly,
                    Outcome::Stuck { .. } => Tried::Held,
                    Outcome::NoVerdict { .. } => Tried::NoVerdict,
                    Outcome::OutOfTime => Tried::OutOfTime,
                };
                (trial.report.mesh.pieces <= 1, tried, held_after(trial))
            }
        };
        Self { is_whole: is_whole && is_one, tried, came, shortfall, missed: 0, cost }
    }

    /// The order: less is better.
    pub fn order(&self, other: &Self) -> Ordering {
        let key = |s: &Self| (!s.is_whole, s.tried);
        // Of plans that pass none is nearer to passing.
        let came = |s: &Self| if s.tried <= Tried::Narrowly { 0.0 } else { s.came };
        key(self)
            .cmp(&key(other))
            .then(came(other).total_cmp(&came(self)))
            .then(self.shortfall.total_cmp(&other.shortfall))
            .then(self.missed.cmp(&other.missed))
            .then(self.cost.total_cmp(&other.cost))
    }

    /// Whether this one is the better of two; as good is not better.
    pub fn is_better_than(&self, other: &Self) -> bool {
        self.order(other).is_lt()
    }
}

/// How far the mould came before it was held with all that hands can pull, mm; else how far it came at all.
fn held_after(trial: &PlanTrial) -> f64 {
    let (mut travel, mut force) = (0.0, 0.0);
    for point in &trial.report.pull {
        if point.force >= trial.hand_force {
            let share = (trial.hand_force - force) / (point.force - force);
            return travel + share.clamp(0.0, 1.0) * (point.travel - travel);
        }
        (travel, force) = (point.travel, point.force);
    }
    travel
}

#[cfg(test)]
mod tests {
    use super::*;

    const PLAIN: Standing = Standing {
        is_whole: true,
        tried: Tried::Held,
        came: 10.0,
        shortfall: 0.0,
        missed: 1,
        cost: 80.0,
    };

    /// Each figure decides where all before it are equal, whatever those after it say.
    #[test]
    fn what_counts_more_decides_first() {
        let falling = [
            Standing { tried: Tried::Passed, came: 0.0, cost: 300.0, ..PLAIN },
            Standing { tried: Tried::Narrowly, came: 0.0, ..PLAIN },
            Standing { came: 20.0, shortfall: 9.0, missed: 9, cost: 900.0, ..PLAIN },
            Standing { missed: 0, cost: 700.0, ..PLAIN },
            Standing { cost: 60.0, ..PLAIN },
            PLAIN,
            Standing { shortfall: 1.0, missed: 0, cost: 1.0, ..PLAIN },
            Standing { shortfall: f64::INFINITY, missed: 0, cost: 0.5, ..PLAIN },
            Standing { came: 9.0, missed: 0, cost: 1.0, ..PLAIN },
            Standing { tried: Tried::OutOfTime, came: 50.0, missed: 0, cost: 1.0, ..PLAIN },
            Standing { tried: Tried::Not, came: 0.0, missed: 0, cost: 1.0, ..PLAIN },
            Standing { is_whole: false, tried: Tried::Passed, missed: 0, cost: 1.0, ..PLAIN },
        ];
        for (k, better) in falling.iter().enumerate() {
            assert!(!better.is_better_than(better));
            for worse in &falling[k + 1..] {
                assert!(better.is_better_than(worse), "{better:?} {worse:?}");
                assert!(!worse.is_better_than(better), "{better:?} {worse:?}");
            }
        }
    }
}
