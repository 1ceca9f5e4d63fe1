//! Cuts that somebody has drawn, judged by the same eyes as an automatic plan.
//!
//! [`judge_scheme`] carries the lines on to the planning mesh, looks for rings of rubber that they
//! leave too tight, makes the sheets, and tells what is wrong, where and by how much. It searches for
//! nothing: the plan that comes back has no bound.
//!
//! A drawn cut is judged on the planning mesh. Lines nearer to each other, or to the gate, than an edge
//! of it may be taken to meet.

mod carry;
mod misses;
mod sides;

use super::assemble::{Parts, assemble};
use super::improve::Found;
use super::make::{PlanError, check_request};
use super::pass::{CENTRES, RADII, finisher};
use super::setup::{StageClock, set_up};
use super::sheets::make_sheets;
use super::skin::Holes;
use super::trial::tried;
use super::{NotTried, Plan, PlanRequest, StopReason, TrialMode, TrialVerdict, bridge_letter};
use crate::control::{Control, Stage};
use crate::mesh::{Model, Point};
use crate::optimise::cut_set::CutSet;
use crate::optimise::rows::RowPool;
use crate::optimise::search::first_rings;
use crate::optimise::separation::Separator;

pub use misses::Miss;

/// Cuts as somebody would make them.
#[derive(Clone, Debug, PartialEq)]
pub struct Scheme {
    /// The cuts, in any order.
    pub cuts: Vec<SchemeCut>,
    /// How far points may lie off the model, and how near an end must come to the gate or to another
    /// line to meet it, mm.
    pub tolerance: f64,
}

impl Default for Scheme {
    fn default() -> Self {
        Self { cuts: Vec::new(), tolerance: 1.0 }
    }
}

/// One cut of a scheme.
#[derive(Clone, Debug, PartialEq)]
pub struct SchemeCut {
    /// What the person calls it, for messages.
    pub name: String,
    /// Where it runs.
    pub line: SchemeLine,
}

/// Where a cut of a scheme runs.
#[derive(Clone, Debug, PartialEq)]
pub enum SchemeLine {
    /// A line on or near the model, in the model's own coordinates, mm. A closed line repeats its first
    /// point. Branches of one cut are lines of their own that end on each other. A line round the
    /// hole of a handle, or from foot to foot through an arch, cuts that bridge across.
    Points(Vec<Point>),
    /// Bridge number `0, 1, 2 ...` (A, B, C) is cut across along the program's own line.
    Bridge(usize),
}

/// What is wrong with a scheme as it was given.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum SchemeFault {
    /// The tolerance makes no sense.
    #[error("scheme.tolerance is {value}: it must be a positive number of mm")]
    Tolerance {
        /// Value given, mm.
        value: f64,
    },
    /// A line has fewer than two points, or no length.
    #[error("cut {cut}: a line needs at least two points that differ")]
    TooFewPoints {
        /// Name of the cut.
        cut: String,
    },
    /// A coordinate is not a finite number.
    #[error("cut {cut}, point {point}: its coordinates must be three finite numbers, mm")]
    NotFinite {
        /// Name of the cut.
        cut: String,
        /// Index of the point.
        point: usize,
    },
    /// A point lies off the model.
    #[error(
        "cut {cut}, point {point}: it lies {distance:.2} mm off the model, more than {limit:.2} mm: \
         move it on to the model, or give it in the model's own coordinates and unit"
    )]
    OffModel {
        /// Name of the cut.
        cut: String,
        /// Index of the point.
        point: usize,
        /// Distance from the model, mm.
        distance: f64,
        /// Distance allowed, mm.
        limit: f64,
    },
    /// Between two points the line cannot be laid on the model.
    #[error(
        "cut {cut}: after point {point} the line jumps from one part of the model to another: give \
         points closer together there"
    )]
    Jumps {
        /// Name of the cut.
        cut: String,
        /// Index of the point before.
        point: usize,
    },
    /// A cut is shorter than the planning mesh can tell.
    #[error(
        "cut {cut} is shorter than an edge of the planning mesh ({edge:.2} mm): draw it longer or ask \
         for a finer resolution.planning_edge"
    )]
    TooShort {
        /// Name of the cut.
        cut: String,
        /// Edge of the planning mesh, mm.
        edge: f64,
    },
    /// A bridge does not exist.
    #[error("cut {cut}: bridge {} does not exist, the model has {count}", bridge_letter(*bridge))]
    NoSuchBridge {
        /// Name of the cut.
        cut: String,
        /// Index given.
        bridge: usize,
        /// Bridges that there are.
        count: usize,
    },
    /// A bridge has no plain disc.
    #[error("cut {cut}: bridge {} has no plain cut across it", bridge_letter(*bridge))]
    KnottedBridge {
        /// Name of the cut.
        cut: String,
        /// Index of the bridge.
        bridge: usize,
    },
    /// Two cuts cross one bridge.
    #[error("cut {cut}: bridge {} is cut across already: leave one of the two out", bridge_letter(*bridge))]
    BridgeTwice {
        /// Name of the cut.
        cut: String,
        /// Index of the bridge.
        bridge: usize,
    },
    /// Lines cannot be followed along the mesh.
    #[error(
        "the lines of the scheme cannot be followed along the planning mesh: where many of them come \
         together ask for a finer resolution.planning_edge"
    )]
    NotFollowed,
}

/// A scheme and what is wrong with it.
#[derive(Clone, Debug, PartialEq)]
pub struct Judged {
    /// The scheme as a plan: its cuts as drawn, put in knife order, with sheets, limits and figures.
    /// [`Plan::stopped_by`] is [`StopReason::Judged`] and there is no bound.
    pub plan: Plan,
    /// What is wrong, worst of each kind first; empty for a scheme that works.
    pub misses: Vec<Miss>,
}

impl Judged {
    /// Whether the model comes out and the mould stays one piece, whatever else is amiss.
    pub fn works(&self) -> bool {
        !self.misses.iter().any(Miss::is_fatal)
    }
}

/// Judge a scheme.
pub fn judge_scheme(
    model: &Model,
    request: &PlanRequest,
    scheme: &Scheme,
    control: &Control<'_>,
) -> Result<Judged, PlanError> {
    check_request(request)?;
    carry::check(model, scheme)?;
    let mut setup = set_up(model, request, 1.0, Holes::Open, control)?;
    let mut clock = StageClock::new(control);
    let drawn = carry::carry(&mut setup, scheme, request)?;
    let separator = Separator::new(&setup.graph, CENTRES, RADII);
    control.stage(Stage::Optimise, 0.1, "looking for tight rings");
    let mut pool = RowPool::new(setup.graph.edges.len());
    let fixed = CutSet::new(setup.fixed());
    let order: Vec<usize> = (0..separator.target_count()).collect();
    first_rings(&separator, &fixed, &order, &mut pool, control);
    control.check()?;
    let curves = finisher(&setup, request).judge(&drawn, &pool, &separator, control);
    control.check()?;
    let found = Found {
        cut: drawn.cut.clone(),
        curves,
        bound: 0.0,
        rounds: 0,
        stopped_by: StopReason::Judged,
    };
    clock.lap("rings");
    let sheets = make_sheets(&setup, &found, request, control)?;
    clock.lap("sheets");
    control.check()?;
    let trial = if request.trial.mode == TrialMode::Off {
        TrialVerdict::NotRun(NotTried::NotAsked)
    } else {
        let end = control.with_extra_time(request.budget.seconds);
        let trial = tried(&setup, sheets.as_ref(), request, &[], end, control);
        clock.lap("trial");
        trial
    };
    let parts =
        Parts { setup: &setup, separator: &separator, pool: &pool, found: &found, sheets, trial };
    let plan = assemble(parts, model, request, clock.laps, control)?;
    let misses = misses::misses(&setup, &drawn, &found.curves, &plan, request);
    Ok(Judged { plan, misses })
}
