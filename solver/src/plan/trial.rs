//! The release trial of a candidate.

use std::sync::Arc;

use super::request::PlanRequest;
use super::setup::Setup;
use super::sheets::{CutSurfaces, PlannedSheets};
use super::verdict::{Demand, NotTried, PlanTrial, TrialVerdict};
use crate::control::{Control, Stage};
use crate::mesh::Vector;
use crate::trial::{
    BridgePlace, Finer, Plug, TrialError, TrialReport, TrialSettings, TrialSetup, pieces_in, run_in,
};

/// The mould is also drawn off at these angles from upright, away from the side where it is cut most, so
/// that the model leaves through the opening, degrees. Common practice, no source.
const TILTS: [f64; 3] = [80.0, 45.0, 20.0];

/// Try a plan once, with finer elements after coarse ones as `finer` says. `before` is what earlier trials asked of it;
/// `end`, in seconds on the job's clock, without what is given on top, is when the trial has to end; after that none begins.
pub(super) fn tried(
    setup: &Setup,
    sheets: Option<&PlannedSheets>,
    request: &PlanRequest,
    before: &[Demand],
    (end, finer): (f64, Finer),
    control: &Control<'_>,
) -> TrialVerdict {
    let Some(sheets) = sheets.filter(|_| !control.is_cancelled() && !control.is_past(end)) else {
        return TrialVerdict::NotRun(NotTried::Stopped);
    };
    match try_release(setup, sheets, request, (end, finer), control) {
        Ok(report) => TrialVerdict::Ran(Arc::new(PlanTrial {
            report,
            model: setup.working.clone(),
            paint: setup.paint.clone(),
            hand_force: request.knife.hand_force,
            to_mould: setup.gate.to_mould,
            demands: before.to_vec(),
        })),
        Err(TrialError::Cancelled(_)) => TrialVerdict::NotRun(NotTried::Stopped),
        Err(error) => TrialVerdict::NotRun(NotTried::Failed { message: error.to_string() }),
    }
}

/// Directions in which a mould cut between two sides is drawn, the most open ones first.
const ATTEMPTS: usize = 3;

/// How much goes into a trial.
pub(super) struct Effort {
    /// Elements, about.
    pub elements: usize,
    /// When it has to end, seconds on the job's clock without what is given on top.
    pub until: f64,
    /// The direction that is tried first, if another cut came off in one.
    pub first: Option<Vector>,
    /// How many directions are tried, the most open ones first.
    pub attempts: usize,
    /// The pull at which one is given up, N, if that is less than hands have.
    pub give_up: Option<f64>,
}

impl Effort {
    /// All that hands have, along as many directions as usual.
    pub fn of(elements: usize, until: f64) -> Self {
        Self { elements, until, first: None, attempts: ATTEMPTS, give_up: None }
    }
}

/// Try what surfaces cut, with so many elements.
pub(super) fn try_surfaces(
    setup: &Setup,
    surfaces: &CutSurfaces,
    request: &PlanRequest,
    effort: &Effort,
    control: &Control<'_>,
) -> Result<TrialReport, TrialError> {
    let settings = TrialSettings {
        elements: effort.elements,
        directions: effort.first.into_iter().chain([Vector::z()]).collect(),
        attempts: Some(effort.attempts),
        give_up: effort.give_up,
        finer: Finer::Never,
        ..settings(request, effort.until)
    };
    asked(setup, surfaces, request, &settings, |asked| run_in(&setup.filled, asked, control))
}

/// Separate pieces of rubber that surfaces leave among the elements of such a trial.
pub(super) fn pieces_of(
    setup: &Setup,
    surfaces: &CutSurfaces,
    request: &PlanRequest,
    elements: usize,
    control: &Control<'_>,
) -> Result<usize, TrialError> {
    let settings = TrialSettings { elements, ..settings(request, f64::MAX) };
    asked(setup, surfaces, request, &settings, |asked| pieces_in(&setup.filled, asked, control))
}

fn try_release(
    setup: &Setup,
    sheets: &PlannedSheets,
    request: &PlanRequest,
    (end, finer): (f64, Finer),
    control: &Control<'_>,
) -> Result<TrialReport, TrialError> {
    control.stage(Stage::Trial, 0.9, "the rubber is drawn off the model, by simulation");
    let surfaces = sheets.cutting_surfaces(setup, &request.sheets);
    let settings = TrialSettings {
        elements: request.trial.elements_for(request.budget.seconds),
        directions: directions(sheets.opening_side()),
        finer,
        ..settings(request, end)
    };
    asked(setup, &surfaces, request, &settings, |asked| run_in(&setup.filled, asked, control))
}

fn settings(request: &PlanRequest, seconds: f64) -> TrialSettings {
    TrialSettings {
        friction: request.trial.friction,
        hand_force: request.knife.hand_force,
        seconds: Some(seconds),
        ..TrialSettings::default()
    }
}

/// Ask something of a trial of what surfaces cut.
fn asked<T>(
    setup: &Setup,
    surfaces: &CutSurfaces,
    request: &PlanRequest,
    settings: &TrialSettings,
    ask: impl FnOnce(&TrialSetup<'_>) -> T,
) -> T {
    let bridges: Vec<BridgePlace> = setup
        .bridges
        .bridges
        .iter()
        .map(|b| BridgePlace { centre: b.centre, radius: 0.5 * b.neck_width.max(b.depth) })
        .collect();
    let discs = setup.near.iter().filter_map(|near| near.disc.as_ref());
    let plugs: Vec<Plug<'_>> =
        discs.map(|disc| Plug { disc: &disc.surface, width: disc.width() }).collect();
    let asked = TrialSetup {
        body: &setup.body,
        model: &setup.working,
        sheets: &surfaces.sheets,
        across: &surfaces.across,
        rubber: &request.rubber,
        bridges: &bridges,
        plugs: &plugs,
        settings,
    };
    ask(&asked)
}

/// Straight up, then tilted away from the opening.
fn directions(side: Option<Vector>) -> Vec<Vector> {
    let tilted = side.into_iter().flat_map(|side| {
        TILTS.map(|angle| {
            let (sin, cos) = angle.to_radians().sin_cos();
            Vector::z() * cos - side * sin
        })
    });
    std::iter::once(Vector::z()).chain(tilted).collect()
}
