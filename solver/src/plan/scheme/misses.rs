//! What is wrong with a judged scheme, with places.

use super::super::reasons::{middle, middle_of_ring};
use super::super::setup::Setup;
use super::super::{Plan, PlanRequest, bridge_letter};
use super::sides;
use crate::bridges::DiscState;
use crate::curves::{Drawn, Finished};
use crate::girth::Ring;
use crate::mesh::{FaceId, Point, Vector};
use crate::plan::CutKind;
use crate::sheets::Station;

/// Something that a scheme gets wrong. Places are in the model's own coordinates, mm; cuts are named by
/// their number in knife order.
#[derive(Clone, Debug, PartialEq)]
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

/// Rings listed at most.
const MOST: usize = 6;

pub(super) fn misses(
    setup: &Setup,
    drawn: &Drawn,
    finished: &Finished,
    plan: &Plan,
    request: &PlanRequest,
) -> Vec<Miss> {
    let to_model = setup.gate.to_mould.inverse();
    let mut list = tight_rings(drawn, &finished.tight, setup);
    for (index, bridge) in plan.bridges.iter().enumerate() {
        let place = bridge.centre;
        if bridge.disc != DiscState::Plain {
            continue;
        }
        if !setup.crossed[index] {
            list.push(Miss::UncutBridge { bridge: index, place });
        } else if !bridge.is_open_enough() {
            let (opening, needed) = (bridge.opening, bridge.opening_needed);
            list.push(Miss::ShortOpening { bridge: index, opening, needed, place });
        }
    }
    let parts = parted(setup, drawn);
    let is_parted = !parts.is_empty();
    list.extend(parts);
    if let Some(report) = &plan.sheets
        && !report.one_piece.holds()
        && !is_parted
    {
        list.push(Miss::LoosePiece { pieces: report.one_piece.pieces.len() });
    }
    let asked = request.knife.hinge_width;
    let narrow = plan.hinges.iter().filter(|hinge| hinge.width < asked);
    list.extend(narrow.map(|hinge| Miss::NarrowHinge {
        width: hinge.width,
        asked,
        from: hinge.from,
        to: hinge.to,
    }));
    if let Some(report) = &plan.sheets {
        let settings = &report.settings;
        let allowed = settings.acceptable_lean() + 0.05;
        for cut in plan.cuts.iter().filter(|cut| cut.kind != CutKind::Bridge) {
            let stations = || cut.sheets.iter().flat_map(|sheet| &sheet.stations);
            let most = |of: fn(&Station) -> f64| stations().max_by(|a, b| of(a).total_cmp(&of(b)));
            if let Some(worst) = most(|s| s.angle_from_normal)
                && worst.angle_from_normal > allowed
            {
                list.push(Miss::SlantedCut {
                    cut: cut.order,
                    angle: worst.angle_from_normal,
                    allowed: settings.acceptable_lean(),
                    place: worst.on_model,
                });
            }
            if let Some(worst) = most(|s| -s.least_wedge())
                && worst.least_wedge() < settings.acceptable_angle
            {
                list.push(Miss::WeakLip {
                    cut: cut.order,
                    wedge: worst.least_wedge(),
                    asked: settings.acceptable_angle,
                    place: worst.on_model,
                });
            }
        }
        let meet = |c: &crate::plan::SheetCrossing| Miss::SheetsMeet { cut: c.cut, place: c.place };
        list.extend(report.crossings.iter().map(meet));
    }
    for miss in &mut list {
        if let Miss::TightRing { place, beyond, .. } = miss {
            *place = to_model * *place;
            *beyond = to_model * *beyond;
        }
    }
    list
}

/// The worst rings, each away from worse ones; places in the mould frame.
fn tight_rings(drawn: &Drawn, rings: &[Ring], setup: &Setup) -> Vec<Miss> {
    let graph = drawn.fitted_graph();
    let apart = setup.graph.mesh.longest_side() / 6.0;
    let mut kept: Vec<(Point, Miss)> = Vec::new();
    for ring in rings {
        let place = middle_of_ring(graph, ring);
        if kept.len() == MOST || kept.iter().any(|(other, _)| (other - place).norm() < apart) {
            continue;
        }
        let (stretched, relaxed) = graph.ring_length(&ring.outline);
        let miss = Miss::TightRing {
            // A ring that was pulled taut is shorter than its outline on the graph.
            ring_length: relaxed * ring.reach / stretched.max(1e-9),
            stretched_length: ring.reach,
            girth: ring.width,
            place,
            beyond: middle(graph, ring.beyond.iter().copied()),
        };
        kept.push((place, miss));
    }
    kept.into_iter().map(|(_, miss)| miss).collect()
}

/// The parts but the largest that the lines divide the surface into.
fn parted(setup: &Setup, drawn: &Drawn) -> Vec<Miss> {
    let graph = &setup.graph;
    let to_model = setup.gate.to_mould.inverse();
    let edges: Vec<u32> =
        drawn.cut.edges().iter().chain(drawn.loops.iter().flatten()).copied().collect();
    let uncut = sides::parts(graph, &[]).len();
    let whole = graph.mesh.area();
    let parts = sides::parts(graph, &edges);
    let mut loose: Vec<(f64, Point)> = Vec::new();
    if parts.len() > uncut {
        for part in &parts[uncut..] {
            let (mut area, mut sum) = (0.0, Vector::zeros());
            for &face in part {
                let id = FaceId(face as u32);
                let own = graph.mesh.face_area(id);
                let [a, b, c] = graph.mesh.corners(id);
                sum += (a.coords + b.coords + c.coords) * (own / 3.0);
                area += own;
            }
            loose.push((area, Point::from(sum / area.max(1e-12))));
        }
    }
    loose
        .into_iter()
        .map(|(area, place)| Miss::FallsApart { share: area / whole, place: to_model * place })
        .collect()
}
