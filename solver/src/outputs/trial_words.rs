//! A release trial in words.

use super::words::millimetres;
use crate::mesh::Vector;
use crate::trial::{Hindrance, Outcome, TrialReport};

/// How the trial ended, in one line. `hand_force` is what two hands can pull, N.
pub fn trial_verdict(report: &TrialReport, hand_force: f64) -> String {
    let way = way_of(&report.direction);
    let far = millimetres(travel(report));
    match report.outcome {
        Outcome::Released => format!(
            "Comes off {way}: takes {:.0} N of the {hand_force:.0} N that hands pull, stretched by {:.0} %",
            most_pull(report),
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
        Outcome::OutOfTime => format!("No verdict: time ran out after {far} {way}"),
    }
}

/// What makes a trial doubtful, a sentence each.
pub fn trial_doubts(report: &TrialReport) -> Vec<String> {
    let mut doubts = Vec::new();
    if report.overlap > 0.5 * report.mesh.spacing {
        doubts.push(format!(
            "Rubber slipped {} into the model, whose parts there are finer than the elements of {}: \
             do not rely on this, try again with more elements.",
            millimetres(report.overlap),
            millimetres(report.mesh.spacing)
        ));
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

/// The greatest pull along the way, N.
pub(super) fn most_pull(report: &TrialReport) -> f64 {
    report.pull.iter().map(|point| point.force).fold(0.0, f64::max)
}
