//! The release trial of a plan: what is tried, what a failure asks of the cuts, what is told.

use super::improve::Found;
use super::reasons::middle_of_ring;
use super::relief::relief_near;
use super::setup::Setup;
use super::sheets::PlannedSheets;
use super::{Limit, PlanRequest};
use crate::control::{Control, Stage};
use crate::girth::Ring;
use crate::mesh::{Point, TriangleMesh, Vector};
use crate::nalgebra::Isometry3;
use crate::optimise::cut_set::CutSet;
use crate::optimise::relief::Relief;
use crate::optimise::search::Search;
use crate::trial::{
    BridgePlace, Doubt, Hindrance, Outcome, TrialError, TrialReport, TrialSettings, TrialSetup, run,
};

/// What the trials of a plan came to.
#[derive(Clone, Debug, PartialEq)]
pub enum TrialVerdict {
    /// None was made.
    NotRun(NotTried),
    /// One was made of the plan as it is.
    Ran(Box<PlanTrial>),
}

/// Why there was no trial.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum NotTried {
    /// The request asked for none.
    NotAsked,
    /// The search still goes on.
    NotYet,
    /// The work was stopped, or time was up, before it could begin.
    Stopped,
    /// It could not be made.
    Failed {
        /// Why.
        message: String,
    },
}

/// A trial, and those of plans before it.
#[derive(Clone, Debug, PartialEq)]
pub struct PlanTrial {
    /// What came out, in the mould frame.
    pub report: TrialReport,
    /// The mesh that was tried, in the mould frame.
    pub model: TriangleMesh,
    /// Pull of two hands that was asked for, N.
    pub hand_force: f64,
    /// From the model's own coordinates to the mould frame.
    pub to_mould: Isometry3<f64>,
    /// What earlier trials that failed asked of the cuts, in order.
    pub demands: Vec<Demand>,
}

/// What a failed trial asks of the cuts, at a ring of rubber that was overstretched.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Demand {
    /// What kept the model in.
    pub hindrance: Hindrance,
    /// Middle of the ring, in the mould frame, mm.
    pub place: Point,
    /// Relaxed length of the ring, mm.
    pub ring_length: f64,
    /// Girth that it has to let pass by the girth model, mm.
    pub girth: f64,
    /// What is asked now, mm: more only where no cut is asked for.
    pub asked: f64,
    /// Length of cut that is asked for across the rubber that was stretched round the hindrance, mm: as
    /// long as that where it relieves most, else longer. 0 if no rubber was stretched there.
    pub cut: f64,
}

/// What a failed trial asks of the search.
pub(super) enum Ask {
    /// Cut across the rubber that was stretched.
    Cut(Relief),
    /// Where none was: more of the ring than the girth model asks.
    Opening(Ring),
}

/// The same with what the plan tells of it.
pub(super) struct Asked {
    /// For the search.
    pub what: Ask,
    /// For people.
    pub demand: Demand,
}

/// The mould is also drawn off at these angles from upright, away from the side where it is cut most, so
/// that the model leaves through the opening, degrees. Common practice, no source.
const TILTS: [f64; 3] = [80.0, 45.0, 20.0];
/// What a failure asks of a ring more than it passes or has to pass, as a share. More each time was tried:
/// plans grew until they fell apart, and took hardly less pull.
const RAISE: f64 = 0.1;
/// Rings that pass within this share of the model's longest side of a place pass beside it.
const BESIDE: f64 = 0.08;

/// Try a plan once. `before` is what earlier trials asked of it; `end`, in seconds on the job's clock,
/// is when the trial has to end.
pub(super) fn tried(
    setup: &Setup,
    sheets: Option<&PlannedSheets>,
    request: &PlanRequest,
    before: &[Demand],
    end: f64,
    control: &Control<'_>,
) -> TrialVerdict {
    let Some(sheets) = sheets.filter(|_| !control.is_cancelled()) else {
        return TrialVerdict::NotRun(NotTried::Stopped);
    };
    match try_release(setup, sheets, request, end, control) {
        Ok(report) => TrialVerdict::Ran(Box::new(PlanTrial {
            report,
            model: setup.working.clone(),
            hand_force: request.knife.hand_force,
            to_mould: setup.gate.to_mould,
            demands: before.to_vec(),
        })),
        Err(TrialError::Cancelled(_)) => TrialVerdict::NotRun(NotTried::Stopped),
        Err(error) => TrialVerdict::NotRun(NotTried::Failed { message: error.to_string() }),
    }
}

fn try_release(
    setup: &Setup,
    sheets: &PlannedSheets,
    request: &PlanRequest,
    seconds: f64,
    control: &Control<'_>,
) -> Result<TrialReport, TrialError> {
    control.stage(Stage::Trial, 0.9, "the rubber is drawn off the model, by simulation");
    let surfaces = sheets.cutting_surfaces(setup, &request.sheets);
    let bridges: Vec<BridgePlace> = setup
        .bridges
        .bridges
        .iter()
        .map(|b| BridgePlace { centre: b.centre, radius: 0.5 * b.neck_width.max(b.depth) })
        .collect();
    let settings = TrialSettings {
        elements: request.trial.elements_for(request.budget.seconds),
        friction: request.trial.friction,
        hand_force: request.knife.hand_force,
        directions: directions(sheets.opening_side()),
        seconds: Some(seconds),
        ..TrialSettings::default()
    };
    let asked = TrialSetup {
        body: &setup.body,
        model: &setup.working,
        sheets: &surfaces,
        rubber: &request.rubber,
        bridges: &bridges,
        settings: &settings,
    };
    run(&asked, control)
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

/// What the failed trial of a plan asks for. The ring that it says is stretched too far: of the rings left
/// by the plan that pass beside the place of the hindrance, the one that is stretched most. As a ring may be
/// cut anywhere, cut is asked for across the rubber that was stretched round the place, so many `times` the
/// usual; only where none was is more asked of the ring itself.
pub(super) fn overstretched(
    setup: &Setup,
    search: &Search<'_, '_>,
    found: &Found,
    trial: &PlanTrial,
    times: usize,
    control: &Control<'_>,
) -> Option<Asked> {
    let report = &trial.report;
    let Outcome::Stuck { hindrance, place } = report.outcome else { return None };
    let place = if hindrance == Hindrance::Tear { report.stretched_at } else { place };
    let graph = &setup.graph;
    let open = setup.fixed();
    let all = CutSet::new(found.cut.edges().iter().chain(&open).copied().collect());
    let rings = search.separator().holding_rings(&all.indicator(graph), control);
    let strain = |ring: &Ring| ring.width / graph.ring_length(&ring.outline).1.max(1e-9);
    let away = |ring: &Ring| {
        let ends = ring.outline.iter().flat_map(|&e| graph.edges[e as usize].ends);
        ends.map(|v| (graph.mesh.positions[v as usize] - place).norm())
            .fold(f64::INFINITY, f64::min)
    };
    let beside = BESIDE * graph.mesh.longest_side();
    let ring = rings
        .iter()
        .filter(|ring| away(ring) <= beside)
        .max_by(|a, b| strain(a).total_cmp(&strain(b)))
        .or_else(|| rings.iter().min_by(|a, b| away(a).total_cmp(&away(b))))
        .cloned();
    let ring = ring?;
    let felt = (hindrance, &place);
    let told = Demand {
        hindrance,
        place: middle_of_ring(graph, &ring),
        ring_length: graph.ring_length(&ring.outline).1,
        girth: ring.width,
        asked: ring.width,
        cut: 0.0,
    };
    if let Some((relief, cut)) = relief_near(felt, report, graph, &setup.body, &open, times) {
        return Some(Asked { what: Ask::Cut(relief), demand: Demand { cut, ..told } });
    }
    let asked = ring.reach.max(ring.width) * (1.0 + RAISE);
    let what = Ask::Opening(Ring { width: asked, ..ring });
    Some(Asked { what, demand: Demand { asked, ..told } })
}

/// What the trial says about the plan's limits.
pub(super) fn limits(verdict: &TrialVerdict) -> Option<Limit> {
    let (met, text) = match verdict {
        TrialVerdict::NotRun(NotTried::NotAsked | NotTried::NotYet) => return None,
        TrialVerdict::NotRun(NotTried::Stopped) => {
            (false, "not run: the work was stopped or out of time".to_owned())
        }
        TrialVerdict::NotRun(NotTried::Failed { message }) => {
            (false, format!("not run: {message}"))
        }
        TrialVerdict::Ran(trial) => outcome_text(&trial.report),
    };
    Some(Limit { name: "release trial".to_owned(), met, text })
}

fn outcome_text(report: &TrialReport) -> (bool, String) {
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
        Outcome::OutOfTime => (false, format!("not ended in the time there was: {figures}")),
        Outcome::Stuck { hindrance, .. } => {
            let why = match hindrance {
                Hindrance::Pull => "it takes more pull than two hands have",
                Hindrance::Tear => "the rubber is stretched beyond its elongation at break",
                Hindrance::Caught => "it is still caught when drawn as far as the model is long",
            };
            (false, format!("the rubber stays on in simulation: {why}; {figures}"))
        }
    }
}
