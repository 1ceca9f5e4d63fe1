//! A release trial in words.

use super::sheet_words::place;
use super::words::millimetres;
use crate::mesh::{Point, Vector};
use crate::plan::{Demand, NotTried, PlanTrial, TrialVerdict, bridge_letter};
use crate::trial::{Doubt, Hindrance, Outcome, TrialReport};

/// Stretch of a bridge's rubber, and gaps in mm, below this are no news.
const LEAST_NEWS: f64 = 0.01;

/// What the trial of a plan says, a sentence or two each.
pub(super) fn of_plan(verdict: &TrialVerdict) -> Vec<String> {
    match verdict {
        TrialVerdict::NotRun(NotTried::NotAsked) => {
            vec!["None was asked for: release rests on the girths alone.".to_owned()]
        }
        TrialVerdict::NotRun(NotTried::NotYet) => {
            vec!["Not run yet: the search goes on.".to_owned()]
        }
        TrialVerdict::NotRun(NotTried::Stopped) => {
            vec!["NOT RUN: the work was stopped or time was up before it could begin.".to_owned()]
        }
        TrialVerdict::NotRun(NotTried::Failed { message }) => vec![format!("NOT RUN: {message}.")],
        TrialVerdict::Ran(trial) => of_run(trial),
    }
}

fn of_run(trial: &PlanTrial) -> Vec<String> {
    let report = &trial.report;
    let to_model = trial.to_mould.inverse();
    let at = |p: &Point| place(&(to_model * p));
    let mut words = vec![format!("{}.", trial_verdict(report, trial.hand_force))];
    if let Outcome::Stuck { place, .. } = &report.outcome {
        words.push(format!("The model holds the rubber back most near {}.", at(place)));
    }
    words.push(format!(
        "Greatest stretch {:.0} % near {}.",
        100.0 * report.greatest_stretch,
        at(&report.stretched_at)
    ));
    for (index, bridge) in report.bridges.iter().enumerate() {
        if bridge.stretch >= LEAST_NEWS || bridge.gap >= LEAST_NEWS {
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
    words.extend(trial_doubts(report));
    words.push(format!("{} elements, {:.1} mm apart.", report.mesh.elements, report.mesh.spacing));
    words
}

fn of_demand(demand: &Demand, at: &impl Fn(&Point) -> String) -> String {
    let why = match demand.hindrance {
        Hindrance::Pull => "too much pull",
        Hindrance::Tear => "a tear",
        Hindrance::Caught => "still caught",
    };
    let asked = if demand.cut > 0.0 {
        format!("{} of cut run across the rubber that was stretched there", millimetres(demand.cut))
    } else {
        format!("it has to open to {}", millimetres(demand.asked))
    };
    format!(
        "An earlier plan failed ({why}) at a ring of {} near {}, which has to let a girth of {} pass; since \
         then {asked}.",
        millimetres(demand.ring_length),
        at(&demand.place),
        millimetres(demand.girth),
    )
}

/// How the trial ended, in one line. `hand_force` is what two hands can pull, N.
pub fn trial_verdict(report: &TrialReport, hand_force: f64) -> String {
    let way = way_of(&report.direction);
    let far = millimetres(travel(report));
    match report.outcome {
        Outcome::Released => format!(
            "Comes off {way}: takes {:.0} N of the {hand_force:.0} N that hands pull, stretched by {:.0} %",
            report.greatest_pull(),
            100.0 * report.stretch_99
        ),
        Outcome::Stuck { hindrance: Hindrance::Pull, .. } => {
            format!(
                "Stuck after {far} {way}: takes more than the {hand_force:.0} N that hands pull"
            )
        }
        Outcome::Stuck { hindrance: Hindrance::Tear, .. } => {
            format!("Tears after {far} {way}: stretched beyond its elongation at break")
        }
        Outcome::Stuck { hindrance: Hindrance::Caught, .. } => {
            format!("Stuck: drawn {way} as far as the model is long and still caught")
        }
        Outcome::NoVerdict { why: Doubt::Unsettled } => {
            format!("No verdict: after {far} {way} the rubber did not come to rest")
        }
        Outcome::OutOfTime => format!("No verdict: time ran out after {far} {way}"),
    }
}

/// What makes a trial doubtful, a sentence each.
pub fn trial_doubts(report: &TrialReport) -> Vec<String> {
    let mut doubts = Vec::new();
    if report.overlap > 0.5 {
        doubts.push(
            "Rubber slipped into the model, whose parts there are finer than the elements: do not \
             rely on this, try again with more elements."
                .to_owned(),
        );
    }
    if report.mesh.pieces > 1 {
        doubts.push(format!("The cuts part the mould into {} pieces.", report.mesh.pieces));
    }
    let unsettled = report.pull.iter().filter(|point| !point.settled).count();
    if unsettled > 0 {
        doubts.push(format!(
            "At {unsettled} of {} steps the rubber had not come to rest: the pull there may be too high.",
            report.pull.len()
        ));
    }
    doubts
}

/// The direction in words.
fn way_of(direction: &Vector) -> String {
    if direction.z > 0.9999 {
        "straight up".to_owned()
    } else {
        let tilt = direction.z.clamp(-1.0, 1.0).acos().to_degrees();
        let turn = direction.y.atan2(direction.x).to_degrees().rem_euclid(360.0);
        format!("{tilt:.0} degrees off upright (towards {turn:.0} degrees from x)")
    }
}

/// How far the rubber has come, mm.
pub(super) fn travel(report: &TrialReport) -> f64 {
    report.pull.last().map_or(0.0, |point| point.travel)
}
