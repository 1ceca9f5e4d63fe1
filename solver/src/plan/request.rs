//! What a person asks for.

use super::scheme::Scheme;
use crate::body::{GateChoice, MouldShape, Rubber};
use crate::mesh::Vector;
use crate::sheets::{CostWeights, SeamAreas, SheetSettings};

/// Everything a plan depends on besides the model. Lengths in mm.
#[derive(Clone, Debug, PartialEq)]
pub struct PlanRequest {
    /// Shape of the rubber.
    pub mould: MouldShape,
    /// The rubber itself.
    pub rubber: Rubber,
    /// Where the model is open to the outside.
    pub gate: GateChoice,
    /// Knife and hand.
    pub knife: KnifeRules,
    /// Blade, angles and lips.
    pub sheets: SheetSettings,
    /// What weighs on a cut besides its length.
    pub weights: CostWeights,
    /// Areas of the model with a say about cuts, in the model's own coordinates.
    pub areas: SeamAreas,
    /// Whether and how the release is tried by simulation.
    pub trial: TrialRequest,
    /// Cuts to judge in place of searching for some.
    pub scheme: Option<Scheme>,
    /// When to stop.
    pub budget: Budget,
    /// How fine to look.
    pub resolution: Resolution,
}

/// Rules of the bench.
#[derive(Clone, Debug, PartialEq)]
pub struct KnifeRules {
    /// What two hands pull at an opening, N.
    pub hand_force: f64,
    /// Width of the rubber zone that must open at once round a ring, mm; none: that of
    /// [`MouldBody::opening_zone`](crate::body::MouldBody::opening_zone).
    pub opening_zone: Option<f64>,
    /// Least width of rubber left between cuts that nearly meet, mm.
    pub hinge_width: f64,
    /// What starting one more separate cut is worth, in mm of cut.
    pub entry_price: f64,
    /// Shortest cut worth making, mm.
    pub least_cut: f64,
}

/// What the release trial is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TrialMode {
    /// None is made.
    Off,
    /// The plan is tried, and told to have passed or not.
    Judge,
    /// A plan that fails is made again, with more asked of the ring that was overstretched, until one
    /// passes or the budget ends.
    Correct,
}

/// Whether and how the release is tried by simulation.
#[derive(Clone, Debug, PartialEq)]
pub struct TrialRequest {
    /// What it is for.
    pub mode: TrialMode,
    /// Coefficient of friction between rubber and model.
    pub friction: f64,
    /// Elements at most, about. `None` lets the budget decide.
    pub elements: Option<usize>,
}

/// Elements for each second of the budget, and the least and most of them that are chosen. A trial starts
/// coarse, and comes to as many as these where there is time.
const ELEMENTS: (f64, usize, usize) = (350.0, 6_000, 60_000);

impl TrialRequest {
    /// Elements to use within a budget of so many seconds.
    pub fn elements_for(&self, seconds: f64) -> usize {
        let (each, least, most) = ELEMENTS;
        self.elements.unwrap_or(((each * seconds) as usize).clamp(least, most))
    }
}

impl Default for TrialRequest {
    /// With mould release: common practice, no source.
    fn default() -> Self {
        Self { mode: TrialMode::Correct, friction: 0.1, elements: None }
    }
}

/// When to stop.
#[derive(Clone, Debug, PartialEq)]
pub struct Budget {
    /// Wall-clock seconds for the whole plan.
    pub seconds: f64,
    /// Stop once (best - bound) / best is at most this.
    pub target_gap: f64,
    /// Seed of every random choice: the same seed gives the same plan when the clock is not
    /// what stops it.
    pub seed: u64,
    /// Rounds of each search at most; where it is given, nothing but them and the gap ends a search in time.
    pub rounds: Option<u32>,
}

/// How fine to look. `None` lets the program choose and report it.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Resolution {
    /// Greatest deviation of the working mesh from the model, mm.
    pub deviation: Option<f64>,
    /// Edge length of the planning mesh, mm.
    pub planning_edge: Option<f64>,
}

impl Default for KnifeRules {
    /// Common practice, no source.
    fn default() -> Self {
        Self {
            hand_force: 200.0,
            opening_zone: None,
            hinge_width: 12.0,
            entry_price: 12.0,
            least_cut: 12.0,
        }
    }
}

impl Default for Budget {
    fn default() -> Self {
        Self { seconds: 60.0, target_gap: 0.05, seed: 1, rounds: None }
    }
}

impl Default for PlanRequest {
    fn default() -> Self {
        Self {
            mould: MouldShape::Box { side_clearance: 15.0, top_clearance: 15.0 },
            rubber: Rubber::default(),
            gate: GateChoice::LowestFlat { up: Vector::z() },
            knife: KnifeRules::default(),
            sheets: SheetSettings::default(),
            weights: CostWeights::default(),
            areas: SeamAreas::default(),
            trial: TrialRequest::default(),
            scheme: None,
            budget: Budget::default(),
            resolution: Resolution::default(),
        }
    }
}
