//! The release trial: rules from the protocol and back, and what came out.

use slitwright_proto::v1;
use slitwright_solver::plan::{NotTried, PlanTrial, TrialMode, TrialRequest, TrialVerdict};
use slitwright_solver::trial::{Doubt, Hindrance, Outcome};

use super::geometry::{direction, point};
use super::violations::{Collector, join};

/// Fewer elements than this are no mesh, more than this are no evening's work.
const ELEMENTS: (u32, u32) = (500, 2_000_000);

pub(super) fn rules(
    message: Option<&v1::TrialRules>,
    path: &str,
    faults: &mut Collector,
) -> TrialRequest {
    let message = message.copied().unwrap_or_default();
    let default = TrialRequest::default();
    let mode = match v1::TrialMode::try_from(message.mode) {
        Ok(v1::TrialMode::Unspecified | v1::TrialMode::Correct) => TrialMode::Correct,
        Ok(v1::TrialMode::Off) => TrialMode::Off,
        Ok(v1::TrialMode::Judge) => TrialMode::Judge,
        Err(_) => {
            let words = format!("is {}: this server knows no mode of that number", message.mode);
            faults.add(join(path, "mode"), words);
            default.mode
        }
    };
    let friction = message.friction.unwrap_or(default.friction);
    let friction = faults.number(&join(path, "friction"), friction, 0.0, 2.0, "");
    if let Some(elements) = message.elements
        && !(ELEMENTS.0..=ELEMENTS.1).contains(&elements)
    {
        let (low, high) = ELEMENTS;
        faults.add(
            join(path, "elements"),
            format!("is {elements}: give a number from {low} to {high}, or leave it out"),
        );
    }
    TrialRequest { mode, friction, elements: message.elements.map(|n| n as usize) }
}

pub(super) fn rules_to_proto(request: &TrialRequest) -> v1::TrialRules {
    v1::TrialRules {
        mode: match request.mode {
            TrialMode::Off => v1::TrialMode::Off,
            TrialMode::Judge => v1::TrialMode::Judge,
            TrialMode::Correct => v1::TrialMode::Correct,
        }
        .into(),
        friction: Some(request.friction),
        elements: request.elements.map(|n| u32::try_from(n).unwrap_or(u32::MAX)),
    }
}

pub(super) fn trial(verdict: &TrialVerdict) -> v1::Trial {
    let without = |outcome: v1::TrialOutcome, message: &str| v1::Trial {
        outcome: outcome.into(),
        message: message.to_owned(),
        ..v1::Trial::default()
    };
    match verdict {
        TrialVerdict::NotRun(NotTried::NotAsked) => without(v1::TrialOutcome::NotAsked, ""),
        TrialVerdict::NotRun(NotTried::NotYet) => without(v1::TrialOutcome::NotYet, ""),
        TrialVerdict::NotRun(NotTried::Stopped) => without(v1::TrialOutcome::Stopped, ""),
        TrialVerdict::NotRun(NotTried::Failed { message }) => {
            without(v1::TrialOutcome::Failed, message)
        }
        TrialVerdict::Ran(trial) => ran(trial),
    }
}

fn ran(trial: &PlanTrial) -> v1::Trial {
    let to_model = trial.to_mould.inverse();
    let report = &trial.report;
    let (outcome, stuck) = match report.outcome {
        Outcome::Released => (v1::TrialOutcome::Released, None),
        Outcome::OutOfTime => (v1::TrialOutcome::OutOfTime, None),
        Outcome::NoVerdict { .. } => (v1::TrialOutcome::NoVerdict, None),
        Outcome::Stuck { hindrance: why, place } => (v1::TrialOutcome::Stuck, Some((why, place))),
    };
    v1::Trial {
        outcome: outcome.into(),
        message: String::new(),
        hindrance: stuck.map_or(v1::Hindrance::Unspecified, |(why, _)| hindrance(why)).into(),
        doubt: doubt(&report.outcome).into(),
        stuck_at: stuck.map(|(_, place)| point(&(to_model * place))),
        direction: Some(direction(&(to_model * report.direction))),
        greatest_strain: report.greatest_stretch,
        stretched_at: Some(point(&(to_model * report.stretched_at))),
        strain_99: report.stretch_99,
        greatest_pull_n: report.greatest_pull(),
        pull: report
            .pull
            .iter()
            .map(|p| v1::PullPoint { travel_mm: p.travel, force_n: p.force, settled: p.settled })
            .collect(),
        bridges: report
            .bridges
            .iter()
            .map(|b| v1::BridgeTrial { strain: b.stretch, gap_mm: b.gap })
            .collect(),
        demands: trial
            .demands
            .iter()
            .map(|d| v1::Demand {
                hindrance: hindrance(d.hindrance).into(),
                place: Some(point(&(to_model * d.place))),
                ring_length_mm: d.ring_length,
                girth_mm: d.girth,
                asked_mm: d.asked,
                cut_mm: d.cut,
            })
            .collect(),
        overlap: report.overlap,
        elements: report.mesh.elements as u64,
        spacing_mm: report.mesh.spacing,
        pieces: u32::try_from(report.mesh.pieces).unwrap_or(u32::MAX),
    }
}

fn hindrance(hindrance: Hindrance) -> v1::Hindrance {
    match hindrance {
        Hindrance::Pull => v1::Hindrance::Pull,
        Hindrance::Tear => v1::Hindrance::Tear,
        Hindrance::Caught => v1::Hindrance::Caught,
    }
}

pub(super) fn doubt(outcome: &Outcome) -> v1::Doubt {
    match outcome {
        Outcome::NoVerdict { why: Doubt::Unsettled } => v1::Doubt::Unsettled,
        Outcome::NoVerdict { why: Doubt::Pierced } => v1::Doubt::Pierced,
        Outcome::Released | Outcome::OutOfTime | Outcome::Stuck { .. } => v1::Doubt::Unspecified,
    }
}
