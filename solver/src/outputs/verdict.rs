//! The first line about a plan: what to cut, and whether that lets the model out.

use super::trial_words::{is_doubtful, outcome_in_short};
use super::words::millimetres;
use crate::plan::{NotTried, Plan, TrialVerdict};

/// The plan in one line: its cuts, what its trial came to, limits missed.
pub(super) fn verdict(plan: &Plan) -> String {
    let missed = match plan.limits.iter().filter(|limit| !limit.met).count() {
        0 => String::new(),
        1 => "; 1 limit missed".to_owned(),
        more => format!("; {more} limits missed"),
    };
    let cuts = match plan.cuts.len() {
        // Nothing to cut is good news only if nothing stands against it.
        0 if missed.is_empty() && plan.bridges.is_empty() => "No cut needed".to_owned(),
        0 => "No cut in this plan".to_owned(),
        1 => format!("1 cut, {}", millimetres(plan.total_length)),
        more => format!("{more} cuts, {} in all", millimetres(plan.total_length)),
    };
    format!("{cuts}; {}{missed}", tried(&plan.trial))
}

/// What the trial came to, for the first line; loud where it is no good news.
fn tried(verdict: &TrialVerdict) -> String {
    match verdict {
        TrialVerdict::NotRun(NotTried::NotAsked) => "release not tried".to_owned(),
        TrialVerdict::NotRun(NotTried::NotYet) => "release not tried yet".to_owned(),
        TrialVerdict::NotRun(NotTried::Stopped | NotTried::Failed { .. }) => {
            "release NOT TRIED".to_owned()
        }
        TrialVerdict::Ran(trial) => {
            let doubt = if is_doubtful(&trial.report) { " (DOUBTFUL)" } else { "" };
            format!("{} in the trial{doubt}", outcome_in_short(&trial.report.outcome))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mesh::Point;
    use crate::outputs::fixtures::{cut, empty_plan, trial_of_block};
    use crate::plan::CutKind;
    use crate::trial::{Hindrance, Outcome};

    /// A trial that failed, or was never made, stands in the first line, whatever else is well.
    #[test]
    fn the_first_line_hides_no_failed_trial() {
        let mut plan = empty_plan();
        plan.cuts = vec![cut(1, CutKind::FromGate, vec![Point::origin()])];
        plan.total_length = 83.4;
        let place = Point::origin();
        let stuck = |hindrance| Outcome::Stuck { hindrance, place };
        for (outcome, words) in [
            (Outcome::Released, "1 cut, 83 mm; comes off in the trial"),
            (stuck(Hindrance::Pull), "1 cut, 83 mm; STAYS ON in the trial"),
            (stuck(Hindrance::Caught), "1 cut, 83 mm; STAYS ON in the trial"),
            (stuck(Hindrance::Tear), "1 cut, 83 mm; TEARS in the trial"),
            (Outcome::OutOfTime, "1 cut, 83 mm; NO VERDICT in the trial"),
        ] {
            let mut trial = trial_of_block(1.5);
            trial.report.outcome = outcome;
            plan.trial = TrialVerdict::Ran(std::sync::Arc::new(trial));
            assert_eq!(verdict(&plan), words);
        }
        let mut trial = trial_of_block(1.5);
        trial.report.overlap = 0.8;
        plan.trial = TrialVerdict::Ran(std::sync::Arc::new(trial));
        assert_eq!(verdict(&plan), "1 cut, 83 mm; comes off in the trial (DOUBTFUL)");
        plan.trial = TrialVerdict::NotRun(NotTried::Failed { message: "no room".to_owned() });
        assert_eq!(verdict(&plan), "1 cut, 83 mm; release NOT TRIED");
        plan.trial = TrialVerdict::NotRun(NotTried::NotAsked);
        assert_eq!(verdict(&plan), "1 cut, 83 mm; release not tried");
    }
}
