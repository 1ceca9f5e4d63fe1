//! What a cut costs where: weights for the search, a value a vertex of the planning mesh.
//!
//! A weight is the factor on the length of a cut: 1 where nothing weighs on it,
//!
//!     1 + lip * risk + depth * min(1, depth / blade)^2 + seam * seen,     times the area's factor,
//!
//! with the risk of a weak lip, the depth of the ruling, and how much a seam would show, all
//! at that place. Infinite on a keep-off area: no cut may run there.

use std::f64::consts::PI;

use rayon::prelude::*;

use super::access::Access;
use super::line::Place;
use super::rulings::Candidates;
use super::seam::{SeamAreas, seam_visibility};
use super::section::Ground;
use super::wedge::{Frame, flanks, lip_risk, wedges};
use super::{SheetError, SheetSettings};
use crate::body::MouldBody;
use crate::control::Control;
use crate::mesh::{Point, Topology, TriangleMesh, Vector};

/// How much each disadvantage weighs: what a mm of cut costs more, in mm, where it is at its
/// worst. Common sense, no source.
#[derive(Clone, Debug, PartialEq)]
pub struct CostWeights {
    /// Weak rubber at a risk of 1.
    pub lip: f64,
    /// A ruling as long as the blade.
    pub depth: f64,
    /// A seam in full view: on a smooth open face.
    pub seam: f64,
}

impl Default for CostWeights {
    fn default() -> Self {
        Self { lip: 3.0, depth: 0.5, seam: 0.5 }
    }
}

impl CostWeights {
    /// The first number that cannot be used.
    pub fn check(&self) -> Result<(), SheetError> {
        let numbers = [("lip", self.lip), ("depth", self.depth), ("seam", self.seam)];
        match numbers.into_iter().find(|(_, w)| !(w.is_finite() && *w >= 0.0)) {
            Some((field, value)) => Err(SheetError::BadNumber {
                field,
                value,
                advice: "must be zero or a positive number",
            }),
            None => Ok(()),
        }
    }
}

/// What a cut through a vertex would meet.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CutSite {
    /// Risk of a weak lip, 0 to 1, of a cut in the best direction; 1 where no ruling leads out.
    pub risk: f64,
    /// Angle between the best ruling and the normal, degrees.
    pub angle_from_normal: f64,
    /// Length of that ruling, mm; infinite where none leads out.
    pub depth: f64,
    /// How much a seam would show, 0 on a sharp ridge to 1 on a smooth open face.
    pub seen: f64,
}

/// Directions in which a cut through a vertex is tried, over half a turn.
const CUT_DIRECTIONS: u32 = 6;

/// What a cut through each vertex of a planning mesh would meet.
///
/// `model` is the mesh that `body` was built round; the planning mesh lies on it.
pub fn cut_sites(
    body: &MouldBody,
    model: &TriangleMesh,
    planning: &TriangleMesh,
    settings: &SheetSettings,
    control: &Control<'_>,
) -> Result<Vec<CutSite>, SheetError> {
    settings.check()?;
    let ground = Ground { mesh: model, topology: Topology::new(model)?, locator: body.model() };
    let candidates = Candidates {
        access: Access { body, settings, obstacles: Vec::new() },
        // Whether a cut will end in the gate is not known yet.
        from_gate: true,
    };
    let seen = seam_visibility(planning, settings.wedge_reach)?;
    let normals = planning.vertex_normals();
    control.check()?;
    Ok(planning
        .positions
        .par_iter()
        .zip(&normals)
        .zip(&seen)
        .map(|((at, normal), &seen)| site(&ground, &candidates, at, normal, seen, settings))
        .collect())
}

fn site(
    ground: &Ground<'_>,
    candidates: &Candidates<'_>,
    at: &Point,
    normal: &Vector,
    seen: f64,
    settings: &SheetSettings,
) -> CutSite {
    let none = CutSite { risk: 1.0, angle_from_normal: 180.0, depth: f64::INFINITY, seen };
    let at = ground.locator.closest(at).point;
    let Some(normal) = normal.try_normalize(1e-9) else { return none };
    let guess = if normal.x.abs() < 0.9 { Vector::x() } else { Vector::y() };
    let first = normal.cross(&guess).normalize();
    let second = normal.cross(&first);
    let frame = Frame { at, ahead: first, normal, left: second };
    let place = Place { along: 0.0, frame, flanks: [PI / 2.0; 2] };
    // The wedges of each cut direction depend on the ruling only by its lean across the cut, so
    // one ruling serves all: the one nearest the normal that leads out.
    let Some(ruling) = candidates.nearest_to_normal(&place) else { return none };
    let risk = (0..CUT_DIRECTIONS)
        .map(|k| {
            let turn = PI * f64::from(k) / f64::from(CUT_DIRECTIONS);
            let ahead = first * turn.cos() + second * turn.sin();
            let frame = Frame { at, ahead, normal, left: normal.cross(&ahead) };
            let profiles = ground.profiles(&at, &ahead, settings.wedge_reach);
            let flanks = flanks(&frame, &profiles, settings.wedge_reach);
            let [left, right] = wedges(&frame, flanks, &ruling.first);
            lip_risk(left.min(right), settings)
        })
        .fold(1.0, f64::min);
    CutSite {
        risk,
        angle_from_normal: ruling.first.angle(&normal).to_degrees(),
        depth: ruling.depth,
        seen,
    }
}

/// Weights of all vertices: see the head of this file.
pub fn cost_weights(
    planning: &TriangleMesh,
    sites: &[CutSite],
    areas: &SeamAreas,
    weights: &CostWeights,
    settings: &SheetSettings,
) -> Vec<f64> {
    planning
        .positions
        .iter()
        .zip(sites)
        .map(|(at, site)| {
            let deep = (site.depth / settings.blade_length).min(1.0);
            let own = 1.0
                + weights.lip * site.risk
                + weights.depth * deep * deep
                + weights.seam * site.seen;
            own * areas.factor(at)
        })
        .collect()
}
