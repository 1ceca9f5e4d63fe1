//! What is asked of a trial and what it answers. All points in the mould frame, mm.

use nalgebra::Matrix3;
use rayon::prelude::*;
use serde::{Deserialize, Serialize};

use super::solid::signed_volume;
use crate::body::{MouldBody, Rubber};
use crate::mesh::{Point, TriangleMesh, Vector};

/// What is tried.
#[derive(Clone, Copy)]
pub struct TrialSetup<'a> {
    /// The mould body, built round `model`.
    pub body: &'a MouldBody,
    /// The rigid model: closed, oriented.
    pub model: &'a TriangleMesh,
    /// Sheets of the cuts, from the model to the outside, which hands draw open. They may reach a little into the model and
    /// out of the rubber.
    pub sheets: &'a [TriangleMesh],
    /// Discs that cut rubber across in holes of the model, or in rings of it that all but close. They are led to from within,
    /// and no hand gets hold of their lips, wherever they reach.
    pub across: &'a [TriangleMesh],
    /// The rubber.
    pub rubber: &'a Rubber,
    /// Places where bridges are looked at.
    pub bridges: &'a [BridgePlace],
    /// Where elements are fine whatever their number.
    pub plugs: &'a [Plug<'a>],
    /// How the trial is made.
    pub settings: &'a TrialSettings,
}

/// Rubber in a hole of the model, or in a ring of it that all but closes: elements are fine enough there for its two
/// halves to be held behind the model, or to bend out.
#[derive(Clone, Copy)]
pub struct Plug<'a> {
    /// The surface across it.
    pub disc: &'a TriangleMesh,
    /// How wide that is, mm.
    pub width: f64,
}

/// A bridge to look at.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BridgePlace {
    /// Middle of the bridge.
    pub centre: Point,
    /// Rubber within this distance belongs to it, mm.
    pub radius: f64,
}

/// What hands draw along the direction.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Hold {
    /// The whole outside, as one holds a block.
    Outside,
    /// The rim on the board alone, all round: the rubber is turned over and peeled.
    Rim,
}

/// How a trial is made.
#[derive(Clone, Debug, PartialEq)]
pub struct TrialSettings {
    /// Elements at most, about. Without `seconds` there are this many, and the result is the same on
    /// every machine.
    pub elements: usize,
    /// Coefficient of friction between rubber and model. With mould release about 0.1 (common
    /// practice, no source).
    pub friction: f64,
    /// Greatest pull of two hands, N.
    pub hand_force: f64,
    /// A pull at which a draw is given up, N, if that is less than hands have: whoever asks whether it takes less need not know
    /// how much more it takes.
    pub give_up: Option<f64>,
    /// How far each lip is drawn aside where hands have the force and the rubber bears it, mm; by default
    /// half the model's width, so that the gap is as wide as the model, or a quarter where a rim is peeled
    /// (common sense, no source).
    pub opening: Option<f64>,
    /// Directions in which the rubber is drawn off the model that stands still, in the order in which
    /// they are tried. (0, 0, 1) lifts the mould off a model that stays on the board.
    pub directions: Vec<Vector>,
    /// Without a number the directions are tried as given. With one, as many are tried: of the given and a
    /// ring of others those along which the least of the opened rubber meets the model, best first.
    pub attempts: Option<usize>,
    /// What is held. By default the rim of a blanket that stands on its board, and the whole outside
    /// of everything else. A rim is drawn twice as far as the model is long: that turns a sock inside
    /// out.
    pub hold: Option<Hold>,
    /// Steps in which the rubber is drawn along the model's length.
    pub steps: usize,
    /// Unbalanced over applied force at which a step counts as settled.
    pub tolerance: f64,
    /// Whether finer trials follow a coarse one, where `seconds` are given.
    pub finer: Finer,
    /// Seconds on the clock of the control, without those given on top, after which no further step is begun. A
    /// coarse trial is made first where finer ones may follow, up to `elements`, as long as the time that the last one
    /// took lets expect that they end in time. So how fine the last one is depends on the machine.
    pub seconds: Option<f64>,
}

impl Default for TrialSettings {
    fn default() -> Self {
        Self {
            elements: 60_000,
            friction: 0.1,
            hand_force: 200.0,
            give_up: None,
            opening: None,
            directions: vec![Vector::z()],
            attempts: None,
            hold: None,
            steps: 24,
            tolerance: 0.03,
            finer: Finer::Always,
            seconds: None,
        }
    }
}

/// When finer trials follow a coarse one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Finer {
    /// Never: the only one has as many elements as asked for, or more where walls want them.
    Never,
    /// Where the rubber comes off in the coarse one: whoever has other cuts to try spends no more time on those that hold it.
    IfReleased,
    /// Whatever comes of the coarse one.
    Always,
}

/// Why rubber does not come off.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Hindrance {
    /// The pull passes what hands can do.
    Pull,
    /// The rubber is stretched beyond its elongation at break.
    Tear,
    /// It has been drawn as far as the model is long and is still caught.
    Caught,
}

/// Why a trial tells nothing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Doubt {
    /// The rubber never came to rest.
    Unsettled,
    /// A part of the model went through rubber whose elements there are larger than it.
    Pierced,
}

/// How a trial ended.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub enum Outcome {
    /// The rubber is off, or only has to be moved on without touching.
    Released,
    /// It does not come off.
    Stuck {
        /// What keeps it.
        hindrance: Hindrance,
        /// Where the model holds the rubber back most.
        place: Point,
    },
    /// A step that would have decided did not come to rest.
    NoVerdict {
        /// Why nothing can be told.
        why: Doubt,
    },
    /// Time ran out first, even for the coarsest trial.
    OutOfTime,
}

/// A point of the pull's curve.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct PullPoint {
    /// How far the rubber's outside has come on average, mm.
    pub travel: f64,
    /// Pull along the direction, N.
    pub force: f64,
    /// Whether the step settled within the tolerance; if not, `force` is too great by the rubber's
    /// made-up inertia, if anything.
    pub settled: bool,
}

/// A bridge after the lips have been drawn aside.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct BridgeReport {
    /// Greatest engineering strain of its rubber.
    pub stretch: f64,
    /// Widest gap between its rubber and the model that it lay on, mm.
    pub gap: f64,
}

/// A picture's worth of positions.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Frame {
    /// How far the hands have drawn the lips aside, mm.
    pub opening: f64,
    /// How far the hands have gone along the direction, mm.
    pub travel: f64,
    /// Positions of all nodes, mm.
    pub positions: Vec<Point>,
}

/// The mesh that was used.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct MeshReport {
    /// Tetrahedra.
    pub elements: usize,
    /// Nodes.
    pub nodes: usize,
    /// Edge of the lattice's cubes where it is finest, mm.
    pub spacing: f64,
    /// Smallest and greatest angle between two faces of an element, degrees.
    pub angles: (f64, f64),
    /// Rubber meshed, cm^3.
    pub volume: f64,
    /// Separate pieces of rubber; more than one means that the cuts part the mould.
    pub pieces: usize,
}

/// What a coarser trial of the same found.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct CoarserTrial {
    /// Tetrahedra.
    pub elements: usize,
    /// How it ended.
    pub outcome: Outcome,
    /// [`TrialReport::greatest_stretch`] of it.
    pub greatest_stretch: f64,
    /// [`TrialReport::stretch_99`] of it.
    pub stretch_99: f64,
}

/// What a trial answers.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct TrialReport {
    /// How it ended, in the best direction.
    pub outcome: Outcome,
    /// The best direction: the first that releases, or the one that came farthest.
    pub direction: Vector,
    /// Greatest principal engineering strain of any element at any time. At the end of a cut it
    /// grows with finer elements.
    pub greatest_stretch: f64,
    /// Where that was, in the rubber at rest.
    pub stretched_at: Point,
    /// The strain that all but a hundredth of the rubber stayed below when it was greatest.
    pub stretch_99: f64,
    /// Greatest depth in the model of any element's middle, over the element's longest edge: only nodes
    /// are kept out altogether. From about a half on a release is not to be believed. (Rubber with a thin part of the
    /// model right through it gives [`Doubt::Pierced`].)
    pub overlap: f64,
    /// The pull along the way.
    pub pull: Vec<PullPoint>,
    /// One for each bridge asked about, in order.
    pub bridges: Vec<BridgeReport>,
    /// At rest, with the lips aside, and after each step.
    pub frames: Vec<Frame>,
    /// The tetrahedra, four nodes each, at rest of positive volume.
    pub elements: Vec<[u32; 4]>,
    /// The rubber's surface, lips and all, as triangles of nodes, counter-clockwise from outside.
    pub surface: Vec<[u32; 3]>,
    /// The mesh.
    pub mesh: MeshReport,
    /// Steps of the relaxation, over all directions.
    pub relaxation_steps: usize,
    /// The coarser trials that were made before, from the coarsest on: how fine they were and how they
    /// ended.
    pub coarser: Vec<CoarserTrial>,
    /// How near it came: 1 for a release, else how far the rubber came at rest with no more than hands can
    /// pull, over the model's length along the direction, below 1.
    pub progress: f64,
}

impl TrialReport {
    /// Greatest pull along the way, N.
    pub fn greatest_pull(&self) -> f64 {
        self.pull.iter().map(|p| p.force).fold(0.0, f64::max)
    }

    /// Right Cauchy-Green tensor of each element in a frame; unity for one without a volume. Empty for a
    /// frame that does not exist.
    pub fn cauchy_green(&self, frame: usize) -> Vec<Matrix3<f64>> {
        let (Some(rest), Some(now)) = (self.frames.first(), self.frames.get(frame)) else {
            return Vec::new();
        };
        let edges = |positions: &[Point], nodes: &[u32; 4]| {
            let [a, b, c, d] = nodes.map(|n| positions[n as usize]);
            Matrix3::from_columns(&[b - a, c - a, d - a])
        };
        let one = |nodes: &[u32; 4]| {
            let rest = edges(&rest.positions, nodes).try_inverse()?;
            let f = edges(&now.positions, nodes) * rest;
            Some(f.transpose() * f)
        };
        self.elements.par_iter().map(|n| one(n).unwrap_or(Matrix3::identity())).collect()
    }

    /// Greatest principal stretch, new length over old, of each element in a frame. Empty for a frame
    /// that does not exist.
    pub fn stretches(&self, frame: usize) -> Vec<f64> {
        let tensors = self.cauchy_green(frame);
        tensors.par_iter().map(|c| c.symmetric_eigenvalues().max().max(0.0).sqrt()).collect()
    }

    /// Middles of the elements in a frame, mm. Empty for a frame that does not exist.
    pub fn middles(&self, frame: usize) -> Vec<Point> {
        let Some(frame) = self.frames.get(frame) else { return Vec::new() };
        let middle = |nodes: &[u32; 4]| {
            let sum: Vector = nodes.iter().map(|&n| frame.positions[n as usize].coords).sum();
            Point::from(sum / 4.0)
        };
        self.elements.iter().map(middle).collect()
    }

    /// Volumes of the elements at rest, mm^3.
    pub fn volumes(&self) -> Vec<f64> {
        let rest = self.frames.first().map_or(&[][..], |frame| &frame.positions);
        let volume = |nodes: &[u32; 4]| signed_volume(&nodes.map(|n| rest[n as usize]));
        self.elements.iter().map(volume).collect()
    }

    /// The stretch that all but a hundredth of the rubber stays below in a frame, given the stretches of that
    /// frame.
    pub fn all_but_a_hundredth(&self, stretches: &[f64]) -> f64 {
        all_but_a_hundredth(stretches.iter().copied().zip(self.volumes()))
    }
}

/// The stretch that is passed by a hundredth of the volume at most, of stretches with their volumes.
pub(super) fn all_but_a_hundredth(of: impl Iterator<Item = (f64, f64)>) -> f64 {
    let mut of: Vec<(f64, f64)> = of.collect();
    of.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut left = 0.01 * of.iter().map(|(_, volume)| volume).sum::<f64>();
    let last = of.iter().find(|(_, volume)| {
        left -= volume;
        left <= 0.0
    });
    last.map_or(1.0, |(stretch, _)| *stretch)
}
