//! What the trial says about a plan's limits.

use super::answer::Limit;
use super::verdict::{NotTried, PlanTrial, TrialVerdict};
use crate::body::Whereabouts;
use crate::trial::{Doubt, Hindrance, Outcome};

/// The limit, once there was or should have been a trial.
pub(super) fn trial_limit(verdict: &TrialVerdict, places: &Whereabouts) -> Option<Limit> {
    let (met, text) = match verdict {
        TrialVerdict::NotRun(NotTried::NotAsked | NotTried::NotYet) => return None,
        TrialVerdict::NotRun(NotTried::Stopped) => {
            (false, "not run: the work was stopped or out of time".to_owned())
        }
        TrialVerdict::NotRun(NotTried::Failed { message }) => {
            (false, format!("not run: {message}"))
        }
        TrialVerdict::Ran(trial) => outcome_text(trial, places),
    };
    Some(Limit { name: "release trial".to_owned(), met, text })
}

fn outcome_text(trial: &PlanTrial, places: &Whereabouts) -> (bool, String) {
    let report = &trial.report;
    let pull = report.greatest_pull();
    let figures = format!(
        "greatest pull {pull:.0} N, greatest stretch {:.0} %, 99 % of the rubber below {:.0} %",
        100.0 * report.greatest_stretch,
        100.0 * report.stretch_99
    );
    match report.outcome {
        Outcome::Released => (true, format!("the rubber comes off in simulation: {figures}")),
        Outcome::NoVerdict { why: Doubt::Unsettled } => {
            (false, format!("no verdict, the rubber did not come to rest: {figures}"))
        }
        Outcome::NoVerdict { why: Doubt::Pierced } => {
            (false, format!("no verdict, a part of the model went through the rubber: {figures}"))
        }
        Outcome::OutOfTime => {
            (false, format!("time ran out before it ended; until then {figures}"))
        }
        Outcome::Stuck { hindrance, place } => {
            let held = places.place(&(trial.to_mould.inverse() * place));
            let why = match hindrance {
                Hindrance::Pull => "it takes more pull than two hands have",
                Hindrance::Tear => "the rubber is stretched beyond its elongation at break",
                Hindrance::Caught => "it is still caught when drawn as far as the model is long",
            };
            (
                false,
                format!(
                    "the rubber stays on in simulation: {why}; the model holds it back most {held}; {figures}"
                ),
            )
        }
    }
}
