//! How fine a trial is: as asked, or coarse first and finer while time is left.

use super::TrialError;
use super::draw::{pieces_left, trial};
use super::filled::FilledRubber;
use super::report::*;
use crate::control::Control;
use crate::mesh::Vector;

/// Elements of the first trial where time is short.
const COARSEST: usize = 4000;
/// A trial of a stated number of elements may take so many times as many where walls ask for it.
const FINER: usize = 4;
/// A finer trial has at least this many times the elements, or it is not worth its time.
pub const LEAST_GAIN: f64 = 1.6;
/// The work grows with this power of the elements: in three dimensions there are n^(1/3) along a side,
/// and the slowest oscillation takes as many steps to die down.
pub const GROWTH: f64 = 4.0 / 3.0;
/// Share of the time left that a trial is meant to take.
const SHARE: f64 = 0.6;

/// Try whether the rubber comes off the model.
pub fn run(setup: &TrialSetup<'_>, control: &Control<'_>) -> Result<TrialReport, TrialError> {
    run_in(&FilledRubber::default(), setup, control)
}

/// The same in a mould whose rubber other trials may have filled with elements before.
pub fn run_in(
    filled: &FilledRubber,
    setup: &TrialSetup<'_>,
    control: &Control<'_>,
) -> Result<TrialReport, TrialError> {
    check(setup)?;
    // From a thread of the pool: another one would have to be woken up anew for each of the many short turns that it
    // gives the pool.
    rayon::scope(|_| run_here(filled, setup, control))
}

/// Separate pieces of rubber that the cuts leave among the elements that such a trial would have. Elements lose thin rubber by
/// which parts hang: where there are more pieces than the rubber has, they are too coarse.
pub fn pieces_in(
    filled: &FilledRubber,
    setup: &TrialSetup<'_>,
    control: &Control<'_>,
) -> Result<usize, TrialError> {
    check(setup)?;
    let elements = setup.settings.elements;
    at_least(elements, FINER * elements, |n| pieces_left(setup, filled, n, control))
}

fn run_here(
    filled: &FilledRubber,
    setup: &TrialSetup<'_>,
    control: &Control<'_>,
) -> Result<TrialReport, TrialError> {
    let settings = setup.settings;
    let Some(seconds) = settings.seconds else {
        return trial(setup, filled, settings.elements, None, control);
    };
    let (first, most) = match settings.finer {
        Finer::Never => (settings.elements, FINER * settings.elements),
        Finer::IfReleased | Finer::Always => (COARSEST.min(settings.elements), settings.elements),
    };
    let mut begun = control.elapsed().as_secs_f64();
    let mut report = at_least(first, most, |n| trial(setup, filled, n, None, control))?;
    let is_worth_it = |outcome: &Outcome| match settings.finer {
        Finer::Never => false,
        Finer::IfReleased => *outcome == Outcome::Released,
        Finer::Always => *outcome != Outcome::OutOfTime,
    };
    while is_worth_it(&report.outcome) {
        let now = control.elapsed().as_secs_f64();
        let took = (now - begun).max(1e-3);
        let affordable =
            (SHARE * (control.with_extra_time(seconds) - now).max(0.0) / took).powf(1.0 / GROWTH);
        let before = report.mesh.elements as f64;
        let finer = (affordable * before).min(settings.elements as f64);
        if finer < LEAST_GAIN * before {
            break;
        }
        begun = now;
        // What came farthest is tried first.
        let first = Some(report.direction);
        let again = trial(setup, filled, finer as usize, first, control)?;
        if again.outcome == Outcome::OutOfTime {
            report.relaxation_steps += again.relaxation_steps;
            break;
        }
        let coarse = std::mem::replace(&mut report, again);
        report.relaxation_steps += coarse.relaxation_steps;
        report.coarser = coarse.coarser;
        report.coarser.push(CoarserTrial {
            elements: coarse.mesh.elements,
            outcome: coarse.outcome,
            greatest_stretch: coarse.greatest_stretch,
            stretch_99: coarse.stretch_99,
        });
    }
    Ok(report)
}

/// Something of so many elements, or of more, up to `most`, where they are larger than walls.
fn at_least<T>(
    mut elements: usize,
    most: usize,
    made: impl Fn(usize) -> Result<T, TrialError>,
) -> Result<T, TrialError> {
    loop {
        match made(elements) {
            Err(TrialError::TooCoarse { .. }) if elements < most => {
                elements = (2 * elements).min(most);
            }
            other => return other,
        }
    }
}

fn check(setup: &TrialSetup<'_>) -> Result<(), TrialError> {
    let settings = setup.settings;
    let ranges = [
        ("elements", settings.elements as f64, 100.0, 5e6),
        ("friction", settings.friction, 0.0, 2.0),
        ("hand_force", settings.hand_force, 1e-6, 1e5),
        ("give_up", settings.give_up.unwrap_or(1.0), 1e-6, 1e5),
        ("opening", settings.opening.unwrap_or(1.0), 1e-6, 1e4),
        ("steps", settings.steps as f64, 1.0, 1e4),
        ("tolerance", settings.tolerance, 1e-6, 1.0),
    ];
    for (field, value, low, high) in ranges {
        if !(low..=high).contains(&value) {
            return Err(TrialError::OutOfRange { field, value, low, high });
        }
    }
    let bad = |d: &Vector| !d.iter().all(|c| c.is_finite()) || d.norm() <= 1e-9;
    if settings.directions.is_empty() || settings.directions.iter().any(bad) {
        return Err(TrialError::NoDirection);
    }
    setup.rubber.check().map_err(TrialError::Rubber)
}
