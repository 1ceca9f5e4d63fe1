//! What comes out. Points are in the model's own coordinates, mm.

use super::ending::Ending;
use super::scheme::Miss;
use super::verdict::TrialVerdict;
use crate::advice::Advice;
use crate::body::Outside;
use crate::bridges::{BridgeKind, Confirmation, DiscState};
use crate::mesh::{Point, Vector};
use crate::nalgebra::Isometry3;
use crate::sheets::{CrossedBy, LipFigures, OnePiece, Sheet, SheetSettings, Station};
use serde::{Deserialize, Serialize};

/// A cut plan.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Plan {
    /// Cuts in knife order.
    pub cuts: Vec<Cut>,
    /// Rubber bridges and how each is dealt with.
    pub bridges: Vec<PlannedBridge>,
    /// Rings of the model that all but close, with thin rubber in the gap; thinnest first.
    pub near_bridges: Vec<NearBridge>,
    /// What the sheets through the rubber come to; `None` where the work was stopped before they
    /// were made.
    pub sheets: Option<SheetReport>,
    /// What the release trial says.
    pub trial: TrialVerdict,
    /// What is wrong with a scheme that was judged; empty for a plan that was searched for.
    pub misses: Vec<Miss>,
    /// Length of cut weighed by how much its seam shows: 0 on a sharp ridge, 1 on open ground, mm.
    pub seam_on_show: f64,
    /// How two sides of the model were drawn, for a plan that is cut between them.
    pub two_sides: Option<TwoSides>,
    /// Uncut rubber that keeps the mould together.
    pub hinges: Vec<Hinge>,
    /// Stretch of the rubber where it is stretched most, region by region.
    pub stretches: Vec<RegionStretch>,
    /// Outline of the gate on the model, one closed polyline a patch.
    pub gate_outline: Vec<Vec<Point>>,
    /// Direction away from the board.
    pub up: Vector,
    /// Knife length over all cuts, mm.
    pub total_length: f64,
    /// What the exterior cuts cost, mm: their straightened length, and the entry price of each.
    pub cost: f64,
    /// What the tightest ring of rubber that the cuts leave lacks by the girth model, mm of girth: 0 where
    /// the model comes out, infinite where the curves miss a row or were not looked at.
    pub shortfall: f64,
    /// How the work ended, and what is proved of the cost.
    pub ending: Ending,
    /// Rubber needed, cm^3.
    pub rubber_volume: f64,
    /// Mass of that rubber, g.
    pub rubber_mass: f64,
    /// Every limit, met or missed.
    pub limits: Vec<Limit>,
    /// What to keep in mind, a sentence each.
    pub warnings: Vec<String>,
    /// How the model was read and prepared, and the figures of the search.
    pub figures: Figures,
    /// What to see to before anything is poured; `None` as long as the work goes on, and where it was stopped.
    #[serde(default)]
    pub advice: Option<Advice>,
}

impl Plan {
    /// Stations that the knife gets to, each with its cut's number.
    pub fn open_stations(&self) -> impl Iterator<Item = (u32, &Station)> {
        self.cuts.iter().flat_map(|cut| {
            let all = cut.sheets.iter().flat_map(|sheet| &sheet.stations);
            all.filter(|station| !station.flags.blocked).map(move |station| (cut.order, station))
        })
    }
}

/// Two sides of a model, and how much of the border between them is cut.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct TwoSides {
    /// Unit direction from which the front is seen.
    pub direction: Vector,
    /// Length of the border outside of the gate and of bridges, mm.
    pub border: f64,
    /// How much of it is cut, mm.
    pub cut: f64,
    /// Area on the wrong side, each bit counted as far as it looks away, as a share of the whole.
    pub undercut: f64,
}

/// One cut on the model's surface.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Cut {
    /// 1, 2, 3 in knife order.
    pub order: u32,
    /// What kind of cut.
    pub kind: CutKind,
    /// Where the knife meets the model: each branch a polyline on the surface.
    pub branches: Vec<Vec<Point>>,
    /// Length of all branches, mm.
    pub length: f64,
    /// Why it is there.
    pub reason: Reason,
    /// The sheet of each branch, from the model to the outside, in the branches' order and running
    /// the same way. For a bridge's cut the disc, with rulings that run into the hole. Empty where
    /// no sheets were made.
    pub sheets: Vec<Sheet>,
}

/// The outer skin of the rubber, and how the model stands in it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RubberSkin {
    /// The skin in the mould frame: z away from the board, the board at 0.
    pub outside: Outside,
    /// From the model's own coordinates to the mould frame.
    pub to_mould: Isometry3<f64>,
}

/// The sheets of all cuts together.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SheetReport {
    /// What was asked of them.
    pub settings: SheetSettings,
    /// The rubber that they run through.
    pub skin: RubberSkin,
    /// Depth, angles, weak lengths and risk of the exterior cuts, weighted with length.
    pub figures: LipFigures,
    /// The same along the rims of the bridges' cuts.
    pub bridge_figures: LipFigures,
    /// Area of all sheets, mm^2.
    pub area: f64,
    /// What sheets cross; empty in a sound plan.
    pub crossings: Vec<SheetCrossing>,
    /// Whether the cut rubber hangs together.
    pub one_piece: OnePiece,
}

/// A sheet that crosses something.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SheetCrossing {
    /// The cut, 1, 2, 3 in knife order.
    pub cut: u32,
    /// What its sheet crosses. A sheet is named by its cut's number, a disc by its bridge's index.
    pub with: CrossedBy,
    /// One place where it does.
    pub place: Point,
}

/// Kinds of cut.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum CutKind {
    /// Starts at the gate.
    FromGate,
    /// Stands alone.
    Separate,
    /// Cuts rubber across that runs from the model to the model: a bridge, or a near-bridge.
    Bridge,
    /// Cuts the rubber behind a hinge, from within, and stops short of the outside.
    BehindHinge,
}

impl CutKind {
    /// Whether the knife comes from the outside, and opens lips there; else it is led from within, through a cut that does.
    pub fn is_from_outside(self) -> bool {
        matches!(self, Self::FromGate | Self::Separate)
    }
}

/// Why a cut is there.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub enum Reason {
    /// A ring of rubber is too tight for what lies beyond it.
    FreesRing {
        /// Relaxed length of the tightest ring that it opens, mm.
        ring_length: f64,
        /// Girth that must pass, mm.
        girth: f64,
        /// Middle of what lies beyond.
        beyond: Point,
        /// In words.
        text: String,
    },
    /// Cuts bridge number `bridge` (index into [`Plan::bridges`]).
    CutsBridge {
        /// Index into [`Plan::bridges`].
        bridge: u32,
        /// In words.
        text: String,
    },
    /// Cuts the rubber in near-bridge number `near` (index into [`Plan::near_bridges`]).
    CutsNearBridge {
        /// Index into [`Plan::near_bridges`].
        near: u32,
        /// In words.
        text: String,
    },
    /// Parts the rubber between two sides of the model.
    PartsSides {
        /// In words.
        text: String,
    },
    /// Lets a hinge fold: of its rubber the skin at the outside is left.
    FoldsHinge {
        /// Thickness of the skin, mm.
        skin: f64,
        /// In words.
        text: String,
    },
}

impl Reason {
    /// The sentence for the person.
    pub fn text(&self) -> &str {
        match self {
            Self::FreesRing { text, .. }
            | Self::CutsBridge { text, .. }
            | Self::CutsNearBridge { text, .. }
            | Self::PartsSides { text }
            | Self::FoldsHinge { text, .. } => text,
        }
    }
}

/// A bridge and what the plan does about it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PlannedBridge {
    /// What the hole is made of.
    pub kind: BridgeKind,
    /// The cut loop on the model.
    pub rim: Vec<Point>,
    /// Whether `rim` closes on itself; otherwise the board closes it.
    pub closed: bool,
    /// Length of the rim on the model, mm.
    pub rim_length: f64,
    /// Narrowest section, mm^2.
    pub neck_area: f64,
    /// Greatest width across the neck, mm.
    pub neck_width: f64,
    /// Length of the bridge along the hole, mm.
    pub depth: f64,
    /// Middle of the disc.
    pub centre: Point,
    /// Whether a plain disc exists.
    pub disc: DiscState,
    /// Length of cut opening beside it, mm.
    pub opening: f64,
    /// Opening asked for, mm.
    pub opening_needed: f64,
    /// The saddle of the potential in this hole. `None` where the potential shows none: then the
    /// loop rests on the count of the surface's holes alone.
    pub confirmed: Option<Confirmation>,
    /// Whether the rubber only lines the hole and the cut between the two sides runs round in it: nothing is left to
    /// cut across.
    #[serde(default)]
    pub lined: bool,
}

/// A ring of the model that all but closes: the rubber in it hangs together with the rest through
/// a thin web in the gap.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct NearBridge {
    /// Where the rubber in the gap is thinnest.
    pub place: Point,
    /// Where the model comes nearest to itself, or to the board, on either side of the gap.
    pub ends: [Point; 2],
    /// Thickness of the rubber there, mm.
    pub gap: f64,
    /// Whether the second end lies on the board.
    pub against_board: bool,
    /// Middle of the ring.
    pub ring: Point,
    /// Potential in the middle of the ring: 0 on the model, 1 on the outside.
    pub level: f64,
    /// That potential less the one in the gap: near 0 the ring is hardly one, near `level` it is
    /// all but closed.
    pub persistence: f64,
}

impl PlannedBridge {
    /// Whether the opening beside it is as long as needed, within 5 %.
    pub fn is_open_enough(&self) -> bool {
        self.opening >= 0.95 * self.opening_needed
    }
}

/// Uncut rubber between two cuts, or between a cut and itself or the gate.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Hinge {
    /// One end on a cut, at the model.
    pub from: Point,
    /// The other end.
    pub to: Point,
    /// Width measured along the model, mm.
    pub width: f64,
    /// The thickness of the skin that is left at the outside, mm, where the rubber behind it is cut so that it folds; `None` where
    /// all of the rubber is left.
    #[serde(default)]
    pub skin: Option<f64>,
}

/// Stretch of the tightest ring of a region.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RegionStretch {
    /// Middle of the ring.
    pub place: Point,
    /// Relaxed length of the ring, mm.
    pub ring_length: f64,
    /// Girth that passes it, mm.
    pub girth: f64,
    /// Engineering strain of the ring when the girth passes.
    pub strain: f64,
    /// Strain allowed there: working stretch or hand force.
    pub allowed: f64,
}

/// A limit and whether the plan meets it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Limit {
    /// Short name.
    pub name: String,
    /// Whether it is met.
    pub met: bool,
    /// What was asked, what came out, with units.
    pub text: String,
}

/// Figures of preparation and search.
#[derive(Clone, Debug, PartialEq, Default, Serialize, Deserialize)]
pub struct Figures {
    /// Triangles of the model as read.
    pub model_triangles: u64,
    /// Triangles of the working mesh.
    pub working_triangles: u64,
    /// Measured deviation of the working mesh, mm.
    pub working_deviation: f64,
    /// Vertices of the planning mesh.
    pub planning_vertices: u64,
    /// Edge length of the planning mesh, mm.
    pub planning_edge: f64,
    /// Genus of the model.
    pub genus: u32,
    /// Independent holes of model and board.
    pub holes: u32,
    /// Separation rounds.
    pub rounds: u32,
    /// Rows found.
    pub rows: u32,
    /// Seconds in each stage, in pipeline order.
    pub seconds: Vec<(String, f64)>,
    /// What was repaired, in words.
    pub repairs: Vec<String>,
}
