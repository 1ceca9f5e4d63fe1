//! The release trial in sentences.

use super::sheet_words::place;
use super::words::millimetres;
use crate::mesh::Point;
use crate::plan::{Demand, NotTried, PlanTrial, TrialVerdict, bridge_letter};
use crate::trial::{Hindrance, Outcome};

/// Stretch of a bridge's rubber, and gaps, below this are no news.
const LEAST_STRAIN: f64 = 0.01;

/// What the trial says, a sentence or two each.
pub(super) fn of_trial(verdict: &TrialVerdict) -> Vec<String> {
    match verdict {
        TrialVerdict::NotRun(NotTried::NotAsked) => {
            vec!["No trial was asked for: release rests on the girths alone.".to_owned()]
        }
        TrialVerdict::NotRun(NotTried::Stopped) => {
            vec!["NOT RUN: the work was stopped, or time was up, before it could begin.".to_owned()]
        }
        TrialVerdict::NotRun(NotTried::Failed { message }) => vec![format!("NOT RUN: {message}.")],
        TrialVerdict::Ran(trial) => of_run(trial),
    }
}

fn of_run(trial: &PlanTrial) -> Vec<String> {
    let report = &trial.report;
    let to_model = trial.to_mould.inverse();
    let at = |p: &Point| place(&(to_model * p));
    let tilt = report.direction.z.clamp(-1.0, 1.0).acos().to_degrees();
    let way =
        if tilt < 1.0 { "straight up".to_owned() } else { format!("tilted by {tilt:.0} degrees") };
    let mut words = vec![match report.outcome {
        Outcome::Released => {
            format!("PASSED: drawn {way}, the rubber comes off in simulation.")
        }
        Outcome::OutOfTime => format!("NOT ENDED in the time there was; drawn {way}."),
        Outcome::Stuck { hindrance, place } => {
            format!(
                "FAILED: drawn {way}, the rubber is stuck near {}: {}.",
                at(&place),
                why(hindrance)
            )
        }
    }];
    words.push(format!(
        "Greatest pull {:.0} N; greatest stretch {:.0} % near {}, 99 in 100 elements stay below \
         {:.0} %.",
        report.greatest_pull(),
        100.0 * report.greatest_stretch,
        at(&report.stretched_at),
        100.0 * report.stretch_99
    ));
    for (index, bridge) in report.bridges.iter().enumerate() {
        if bridge.stretch >= LEAST_STRAIN || bridge.gap >= LEAST_STRAIN {
            words.push(format!(
                "Bridge {}: with the lips drawn aside its rubber is stretched by {:.0} %, with a gap \
                 of {} for the blade.",
                bridge_letter(index),
                100.0 * bridge.stretch,
                millimetres(bridge.gap)
            ));
        }
    }
    words.extend(trial.demands.iter().map(|demand| of_demand(demand, &at)));
    let mesh = &report.mesh;
    let mut size = format!("{} elements, {:.1} mm apart.", mesh.elements, mesh.spacing);
    if report.overlap > 0.5 * mesh.spacing {
        size += &format!(
            " Rubber came {} deep into the model between nodes: finer elements may say otherwise.",
            millimetres(report.overlap)
        );
    }
    words.push(size);
    words
}

fn why(hindrance: Hindrance) -> &'static str {
    match hindrance {
        Hindrance::Pull => "it takes more pull than two hands have",
        Hindrance::Tear => "the rubber is stretched beyond its elongation at break",
        Hindrance::Caught => "drawn as far as the model is long it is still caught",
    }
}

fn of_demand(demand: &Demand, at: &impl Fn(&Point) -> String) -> String {
    format!(
        "An earlier plan failed ({}); since then the ring of {} near {} has to open to {} where the \
         girths ask for {}.",
        why(demand.hindrance),
        millimetres(demand.ring_length),
        at(&demand.place),
        millimetres(demand.asked),
        millimetres(demand.girth)
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_plan_without_a_trial_says_so() {
        let words = of_trial(&TrialVerdict::NotRun(NotTried::NotAsked)).join(" ");
        assert!(words.contains("No trial"), "{words}");
        let failed = NotTried::Failed { message: "walls are too thin".to_owned() };
        let words = of_trial(&TrialVerdict::NotRun(failed)).join(" ");
        assert!(words.contains("NOT RUN: walls are too thin."), "{words}");
    }
}
