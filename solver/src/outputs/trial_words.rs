//! A release trial in words.

use super::whereabouts::{Frame, Whereabouts};
use super::words::millimetres;
use crate::mesh::Point;
use crate::plan::{Demand, NotTried, PlanTrial, TrialVerdict, bridge_letter};
use crate::trial::{Doubt, Hindrance, Outcome, TrialReport};

/// Stretch of a bridge's rubber, and gaps in mm, below this are no news.
const LEAST_NEWS: f64 = 0.01;

/// What the trial of a plan says, a sentence or two each.
pub(super) fn of_plan(verdict: &TrialVerdict, places: &Whereabouts) -> Vec<String> {
    match verdict {
        TrialVerdict::NotRun(NotTried::NotAsked) => {
            vec!["None was asked for: release rests on the girths alone.".to_owned()]
        }
        TrialVerdict::NotRun(NotTried::NotYet) => {
            vec!["Not run yet: the search goes on.".to_owned()]
        }
        TrialVerdict::NotRun(NotTried::Stopped) => {
            vec!["NOT RUN: the work was stopped or time was up before it could begin. Give it more time.".to_owned()]
        }
        TrialVerdict::NotRun(NotTried::Failed { message }) => vec![format!("NOT RUN: {message}.")],
        TrialVerdict::Ran(trial) => of_run(trial, places),
    }
}

fn of_run(trial: &PlanTrial, places: &Whereabouts) -> Vec<String> {
    let report = &trial.report;
    let to_model = trial.to_mould.inverse();
    let at = |p: &Point| places.place(&(to_model * p));
    let mut words = vec![format!("{}.", trial_verdict(trial))];
    if let Outcome::Stuck { place, .. } = &report.outcome {
        words.push(format!("The model holds the rubber back most {}.", at(place)));
    }
    words.push(format!(
        "Stretched most at one place: by {:.0} %, {}.",
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
        "An earlier plan failed ({why}) at a ring of {}, {}, which has to let a girth of {} pass; since \
         then {asked}.",
        millimetres(demand.ring_length),
        at(&demand.place),
        millimetres(demand.girth),
    )
}

/// How the trial ended, in one line.
pub fn trial_verdict(trial: &PlanTrial) -> String {
    let (report, hand_force) = (&trial.report, trial.hand_force);
    let direction = trial.to_mould.inverse() * report.direction;
    // The rotation of a mould frame has an up.
    let way = Frame::of_mould(&trial.to_mould)
        .map_or_else(String::new, |frame| format!(", drawn {}", frame.way(&direction)));
    let far = millimetres(travel(report));
    match report.outcome {
        Outcome::Released => format!(
            "Comes off{way}: takes {:.0} N of the {hand_force:.0} N that hands pull; 99 % of the rubber stretched by less than {:.0} %",
            report.greatest_pull(),
            100.0 * report.stretch_99
        ),
        Outcome::Stuck { hindrance: Hindrance::Pull, .. } => {
            format!("Stuck after {far}{way}: takes more than the {hand_force:.0} N that hands pull")
        }
        Outcome::Stuck { hindrance: Hindrance::Tear, .. } => {
            format!("Tears after {far}{way}: stretched beyond its elongation at break")
        }
        Outcome::Stuck { hindrance: Hindrance::Caught, .. } => {
            format!("Stuck{way} as far as the model is long and still caught")
        }
        Outcome::NoVerdict { why: Doubt::Unsettled } => {
            format!("No verdict: after {far}{way} the rubber did not come to rest")
        }
        Outcome::NoVerdict { why: Doubt::Pierced } => format!(
            "No verdict{way}: a part of the model went through the rubber, whose elements there are larger than it; try again with more elements"
        ),
        Outcome::OutOfTime => format!("No verdict: time ran out after {far}{way}"),
    }
}

/// How a trial ended, in a few words; loud where the rubber stays on.
pub(super) fn outcome_in_short(outcome: &Outcome) -> &'static str {
    match outcome {
        Outcome::Released => "comes off",
        Outcome::Stuck { hindrance: Hindrance::Tear, .. } => "TEARS",
        Outcome::Stuck { .. } => "STAYS ON",
        Outcome::NoVerdict { .. } | Outcome::OutOfTime => "NO VERDICT",
    }
}

/// Whether a release in this trial is not to be relied on: rubber slipped into the model, or the cuts
/// part the mould. Steps that had not come to rest only make the pull too high.
pub(super) fn is_doubtful(report: &TrialReport) -> bool {
    report.overlap > MOST_OVERLAP || report.mesh.pieces > 1
}

/// [`TrialReport::overlap`] beyond which rubber may have slipped through the model.
const MOST_OVERLAP: f64 = 0.5;

/// What makes a trial doubtful, a sentence each.
pub fn trial_doubts(report: &TrialReport) -> Vec<String> {
    let mut doubts = Vec::new();
    if report.overlap > MOST_OVERLAP {
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

/// How far the rubber has come, mm.
pub(super) fn travel(report: &TrialReport) -> f64 {
    report.pull.last().map_or(0.0, |point| point.travel)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mesh::Vector;
    use crate::nalgebra::{Isometry3, Translation3, UnitQuaternion};
    use crate::outputs::fixtures::{empty_plan, trial_of_block};
    use crate::outputs::whereabouts::whereabouts;

    /// Directions and places in words are the model's own: here the mould frame is the model turned by
    /// 90 degrees about z, and moved.
    #[test]
    fn directions_and_places_are_the_models_own() {
        let mut trial = trial_of_block(1.5);
        // A point of the model at +x is at +y in the mould.
        let turn = UnitQuaternion::from_axis_angle(&Vector::z_axis(), std::f64::consts::FRAC_PI_2);
        trial.to_mould = Isometry3::from_parts(Translation3::new(100.0, 0.0, -8.0), turn);
        let (sin, cos) = 45f64.to_radians().sin_cos();
        trial.report.direction = trial.to_mould * Vector::new(-sin, 0.0, cos);
        let words = trial_verdict(&trial);
        assert!(
            words.starts_with("Comes off, drawn 45 degrees off upright to the left: takes"),
            "{words}"
        );
        let own = Point::new(30.0, 0.0, 20.0);
        trial.report.stretched_at = trial.to_mould * own;
        let model = crate::mesh::fixtures::icosphere(30.0, 2);
        let mut plan = empty_plan();
        plan.trial = TrialVerdict::Ran(std::sync::Arc::new(trial));
        let words = of_plan(&plan.trial, &whereabouts(&plan, &model)).join(" ");
        // The board is z = 0 of the mould frame: z = 8 of the model.
        assert!(words.contains("one place: by 50 %, 12 mm above the board, right."), "{words}");
    }
}
