//! Across bridges, and how the mould is opened and drawn off: what the trial's hands did.

use super::blocks::{Block, plain};
use crate::mesh::Point;
use crate::outputs::trial_words::{of_plan, travel, trial_verdict};
use crate::outputs::whereabouts::{Frame, Whereabouts};
use crate::outputs::words::{LINED, cut_of_bridge, millimetres, sentence};
use crate::plan::{Plan, PlanTrial, PlannedBridge, TrialVerdict, bridge_letter};
use crate::trial::Outcome;

/// Standard gravity, m/s^2 (ISO 80000-3): a pull as a spring balance shows it.
const GRAVITY: f64 = 9.806_65;
/// Less than this is no pull that a hand would feel, N (common sense, no source).
const LEAST_PULL: f64 = 1.0;

/// Which lips to draw apart at each bridge, how far, and where the blade goes.
pub(super) fn bridges(plan: &Plan, places: &Whereabouts) -> Vec<Block> {
    if plan.bridges.is_empty() {
        return Vec::new();
    }
    let mut blocks = vec![Block::Heading("Bridges: rubber through holes of the model".to_owned())];
    for (index, bridge) in plan.bridges.iter().enumerate() {
        blocks.push(Block::Part(format!("Bridge {}", bridge_letter(index))));
        let words = match cut_of_bridge(plan, index) {
            Some(cut) => across(plan, places, index, bridge, cut.order),
            None if bridge.lined => vec![LINED.to_owned()],
            None => vec![
                "This plan does NOT cut it: the rubber in this hole holds the model.".to_owned(),
            ],
        };
        blocks.push(Block::Items(words));
    }
    blocks
}

fn across(
    plan: &Plan,
    places: &Whereabouts,
    index: usize,
    bridge: &PlannedBridge,
    order: u32,
) -> Vec<String> {
    let mut words = vec!["Clear the lips first, with the knife laid down.".to_owned()];
    words.push(match beside(plan, bridge) {
        Some(cut) => {
            let mut words = format!(
                "Draw the lips of cut {cut} apart, one to each side of its line. {} of cut opens beside the \
                 bridge; the blade needs {}{}.",
                millimetres(bridge.opening),
                millimetres(bridge.opening_needed),
                if bridge.is_open_enough() { "" } else { ": TOO SHORT" }
            );
            if let TrialVerdict::Ran(trial) = &plan.trial {
                let far = lips_drawn(trial);
                if far > 0.0 {
                    words.push_str(&format!(" In the trial each lip went {} aside", millimetres(far)));
                    words.push_str(&trial.report.bridges.get(index).map_or_else(
                        || ".".to_owned(),
                        |own| format!(", and a gap of {} was there for the blade.", millimetres(own.gap)),
                    ));
                }
            }
            words
        }
        None => "No other cut opens beside it: the blade has to come from the base opening.".to_owned(),
    });
    words.push(format!(
        "Cut {order}: lead the blade in {}, and across the rubber in the hole, {} wide there, along the line \
         on the model. Keep the hand that holds the lips out of its way.",
        places.place(&bridge.centre),
        millimetres(bridge.neck_width)
    ));
    words
}

/// The exterior cut that comes nearest to a bridge's line.
fn beside(plan: &Plan, bridge: &PlannedBridge) -> Option<u32> {
    let apart = |line: &[Point]| {
        let all = line.iter().flat_map(|p| bridge.rim.iter().map(move |q| (p - q).norm_squared()));
        all.fold(f64::INFINITY, f64::min)
    };
    let outside = plan.cuts.iter().filter(|cut| cut.kind.is_from_outside());
    let all = outside.map(|cut| {
        (cut.order, cut.branches.iter().map(|line| apart(line)).fold(f64::INFINITY, f64::min))
    });
    let nearest = all.filter(|(_, apart)| apart.is_finite()).min_by(|a, b| a.1.total_cmp(&b.1));
    nearest.map(|(order, _)| order)
}

/// How far hands drew each lip aside, mm.
fn lips_drawn(trial: &PlanTrial) -> f64 {
    trial.report.frames.iter().map(|frame| frame.opening).fold(0.0, f64::max)
}

/// How the model is got out, step by step.
pub(super) fn opening(plan: &Plan, places: &Whereabouts) -> Vec<Block> {
    let mut blocks = vec![Block::Heading("Opening the mould and drawing it off".to_owned())];
    let TrialVerdict::Ran(trial) = &plan.trial else {
        blocks.push(Block::Loud("The release was not tried: no way out is known.".to_owned()));
        blocks.push(Block::Items(
            of_plan(&plan.trial, places).iter().map(|words| plain(words)).collect(),
        ));
        return blocks;
    };
    if matches!(trial.report.outcome, Outcome::NoVerdict { .. } | Outcome::OutOfTime) {
        blocks.push(Block::Loud(format!(
            "Whether the model comes out is NOT known. {}.",
            trial_verdict(trial)
        )));
    }
    if matches!(trial.report.outcome, Outcome::Stuck { .. }) {
        blocks.push(Block::Loud(format!(
            "In the trial the model did NOT come out. {}.",
            trial_verdict(trial)
        )));
    }
    if trial.report.outcome != Outcome::Released {
        blocks.push(Block::Text(
            "What follows is what the trial's hands did. Do not force it: where the rubber holds, stop and look."
                .to_owned(),
        ));
    }
    blocks.push(Block::Steps(steps(plan, trial)));
    let told: Vec<String> =
        of_plan(&plan.trial, places).iter().map(|words| sentence(&plain(words))).collect();
    blocks.push(Block::Text("What the trial found:".to_owned()));
    blocks.push(Block::Items(told));
    blocks
}

fn steps(plan: &Plan, trial: &PlanTrial) -> Vec<String> {
    let report = &trial.report;
    let mut steps = vec!["Put the knife down, out of reach.".to_owned()];
    let numbers: Vec<String> = plan
        .cuts
        .iter()
        .filter(|cut| cut.kind.is_from_outside())
        .map(|cut| cut.order.to_string())
        .collect();
    let far = lips_drawn(trial);
    if !numbers.is_empty() && far > 0.0 {
        steps.push(format!(
            "Draw the lips of {} {} apart, one to each side of the line: up to {} each.",
            if numbers.len() == 1 { "cut" } else { "cuts" },
            numbers.join(", "),
            millimetres(far)
        ));
    }
    let direction = trial.to_mould.inverse() * report.direction;
    let way = Frame::of_mould(&trial.to_mould).map(|frame| frame.way(&direction));
    steps.push(format!(
        "Hold the model still and draw the rubber off it{}.",
        way.map_or_else(String::new, |way| format!(", {way}"))
    ));
    let most = report.pull.iter().max_by(|a, b| a.force.total_cmp(&b.force));
    match most {
        Some(most) if most.force >= LEAST_PULL => steps.push(format!(
            "The pull is greatest, {:.0} N (as much as {:.1} kg hanging), when the rubber has come {}. Hands \
             were given {:.0} N.",
            most.force,
            most.force / GRAVITY,
            millimetres(most.travel),
            trial.hand_force
        )),
        Some(_) => steps.push(format!(
            "It takes next to no pull, less than {LEAST_PULL:.0} N. Hands were given {:.0} N.",
            trial.hand_force
        )),
        None => {}
    }
    steps.push(match report.outcome {
        Outcome::Released => format!("After {} it is free.", millimetres(travel(report))),
        _ => format!(
            "After {} the trial ended with the rubber still on.",
            millimetres(travel(report))
        ),
    });
    steps
}
