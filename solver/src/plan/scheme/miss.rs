//! Something that a scheme gets wrong, and its words.

use crate::bridges::bridge_letter;
use crate::mesh::Point;
use crate::sheets::{BEHIND, leans_behind, leaves_no_lip};
use serde::{Deserialize, Serialize};

/// Something that a scheme gets wrong. Places are in the model's own coordinates, mm; cuts are named by
/// their number in knife order.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub enum Miss {
    /// A ring of rubber that no cut opens is too tight for what lies beyond it.
    TightRing {
        /// Its relaxed length, mm.
        ring_length: f64,
        /// Its length when stretched as far as allowed, mm.
        stretched_length: f64,
        /// Girth that has to pass it, mm.
        girth: f64,
        /// Middle of the ring.
        place: Point,
        /// Middle of what lies beyond it.
        beyond: Point,
    },
    /// Rubber runs through a hole of the model and is not cut.
    UncutBridge {
        /// Index into [`Plan::bridges`].
        bridge: usize,
        /// Middle of the bridge.
        place: Point,
    },
    /// The cut beside a bridge is too short for the blade to get at it.
    ShortOpening {
        /// Index into [`Plan::bridges`].
        bridge: usize,
        /// Length of cut beside it, mm.
        opening: f64,
        /// Length needed, mm.
        needed: f64,
        /// Middle of the bridge.
        place: Point,
    },
    /// The cuts part the mould.
    FallsApart {
        /// Share of the model's surface under the loose piece.
        share: f64,
        /// Middle of that part of the surface.
        place: Point,
    },
    /// The rubber is parted inside, where sheets meet, though the lines on the model are not.
    LoosePiece {
        /// Pieces of rubber that there are.
        pieces: usize,
    },
    /// A hinge is too narrow.
    NarrowHinge {
        /// Width, mm.
        width: f64,
        /// Width asked, mm.
        asked: f64,
        /// One side of it.
        from: Point,
        /// The other side.
        to: Point,
    },
    /// The knife leans too far.
    SlantedCut {
        /// The cut.
        cut: u32,
        /// Greatest angle from square to the model, degrees.
        angle: f64,
        /// Angle that is acceptable, degrees.
        allowed: f64,
        /// Where that is.
        place: Point,
    },
    /// A lip is too thin.
    WeakLip {
        /// The cut.
        cut: u32,
        /// Least wedge of rubber, degrees.
        wedge: f64,
        /// Wedge asked, degrees.
        asked: f64,
        /// Where that is.
        place: Point,
    },
    /// A sheet runs into the model, a bridge's cut or another sheet.
    SheetsMeet {
        /// The cut.
        cut: u32,
        /// Where.
        place: Point,
    },
}

impl Miss {
    /// Whether the model stays in, or the mould comes apart.
    pub fn is_fatal(&self) -> bool {
        matches!(
            self,
            Self::TightRing { .. }
                | Self::UncutBridge { .. }
                | Self::FallsApart { .. }
                | Self::LoosePiece { .. }
        )
    }

    /// Where it is.
    pub fn place(&self) -> Option<Point> {
        match self {
            Self::TightRing { place, .. }
            | Self::UncutBridge { place, .. }
            | Self::ShortOpening { place, .. }
            | Self::FallsApart { place, .. }
            | Self::SlantedCut { place, .. }
            | Self::WeakLip { place, .. }
            | Self::SheetsMeet { place, .. } => Some(*place),
            Self::NarrowHinge { from, to, .. } => Some(nalgebra::center(from, to)),
            Self::LoosePiece { .. } => None,
        }
    }

    /// In words.
    pub fn text(&self) -> String {
        match self {
            Self::TightRing { ring_length, stretched_length, girth, .. } => format!(
                "a ring of rubber {ring_length:.1} mm long is too tight: it may be stretched to \
                 {stretched_length:.1} mm, but a girth of {girth:.1} mm has to pass, {:.1} mm more",
                girth - stretched_length
            ),
            Self::UncutBridge { bridge, .. } => format!(
                "bridge {} is not cut across: the rubber in this hole holds the model",
                bridge_letter(*bridge)
            ),
            Self::ShortOpening { bridge, opening, needed, .. } => format!(
                "beside bridge {} {:.0} mm are cut, and the blade needs {needed:.0} mm",
                bridge_letter(*bridge),
                // A sum over nothing is -0.0.
                opening + 0.0
            ),
            Self::FallsApart { share, .. } => format!(
                "the cuts part the mould: a piece over {:.0} % of the model comes loose",
                100.0 * share
            ),
            Self::LoosePiece { pieces } => {
                format!("the cuts meet within the rubber and part it into {pieces} pieces")
            }
            Self::NarrowHinge { width, asked, .. } => {
                format!("a hinge is {width:.1} mm wide where {asked:.0} mm is asked")
            }
            Self::SlantedCut { cut, angle, .. } if leans_behind(*angle) => {
                format!("along cut {cut} the knife would run {BEHIND}")
            }
            Self::WeakLip { cut, wedge, .. } if leaves_no_lip(*wedge) => {
                format!("cut {cut} leaves no lip: the knife would run {BEHIND}")
            }
            Self::SlantedCut { cut, angle, allowed, .. } => format!(
                "cut {cut} is too slanted: the knife leans by {angle:.0} degrees, at most \
                 {allowed:.0} are acceptable"
            ),
            Self::WeakLip { cut, wedge, asked, .. } => {
                format!("cut {cut} leaves a lip of {wedge:.0} degrees where {asked:.0} are asked")
            }
            Self::SheetsMeet { cut, .. } => {
                format!("on its way out cut {cut} runs into the model or another cut")
            }
        }
    }
}
