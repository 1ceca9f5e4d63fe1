//! How fine elements have to be where.
//!
//! A limb of the model thinner than the elements is not there for them, and a wall or a plug of rubber wants
//! an element or two across it to bend. Everything else may be coarser, the more the farther away.

use rayon::prelude::*;

use super::report::Plug;
use crate::body::MouldBody;
use crate::mesh::{FaceId, Point, SurfaceLocator, TriangleMesh, Vector};

/// Size of elements over the thickness of the model that they lie on.
const MODEL_SHARE: f64 = 0.5;
/// Size of elements over the thickness of the rubber there.
const RUBBER_SHARE: f64 = 0.7;
/// How fast elements grow with the distance from the model, mm a mm.
const GROWTH: f64 = 0.6;
/// Size of elements over the width of a plug, on its disc and as far from it as half that width: coarser ones slip off what
/// they are caught behind. With 13 mm for a plug of 14 mm a plan came off with next to nothing that an independent
/// simulation held (solver/docs/trial.md); three across is what bending asks of linear elements. No source.
const PLUG_SHARE: f64 = 1.0 / 3.0;
/// Rays start this share of the model's span off the face that they leave.
pub(super) const LIFT: f64 = 1e-5;

/// What the skin of the model asks for.
pub(super) struct Detail<'a> {
    surface: &'a SurfaceLocator,
    /// Size wanted at each face, mm.
    wanted: Vec<f64>,
    coarsest: f64,
    /// The discs of plugs, each with its width, mm.
    plugs: Vec<(SurfaceLocator, f64)>,
}

impl<'a> Detail<'a> {
    /// Look through model and rubber from every face of the model that the body is built round.
    pub fn new(body: &'a MouldBody, model: &TriangleMesh, plugs: &[Plug<'_>]) -> Self {
        let surface = body.model();
        let (span, lift) = (model.span(), LIFT * model.span());
        let (wanted, within): (Vec<f64>, Vec<f64>) = (0..model.faces.len() as u32)
            .into_par_iter()
            .map(|face| {
                let middle = model.face_middle(FaceId(face));
                let normal = surface.normal(FaceId(face));
                if normal == Vector::zeros() {
                    return (span, 0.0);
                }
                let through = surface.ray(&(middle - normal * lift), &-normal, span);
                let model = through.map_or(span, |hit| hit.distance);
                let rubber = body.wall_thickness(&middle, &normal);
                let wanted = (MODEL_SHARE * model).min(RUBBER_SHARE * rubber);
                (wanted, wanted + GROWTH * 0.5 * rubber)
            })
            .unzip();
        let coarsest = within.into_iter().fold(0.0, f64::max);
        // What has no surface is nowhere.
        let plugs = plugs
            .iter()
            .filter_map(|plug| SurfaceLocator::new(plug.disc).ok().map(|disc| (disc, plug.width)));
        Self { surface, wanted, coarsest, plugs: plugs.collect() }
    }

    /// Size of elements in the narrowest plug, mm; infinite where there is none.
    pub fn finest_plug(&self) -> f64 {
        self.plugs.iter().map(|(_, width)| PLUG_SHARE * width).fold(f64::INFINITY, f64::min)
    }

    /// About the largest size that is wanted anywhere in the rubber, mm.
    pub fn coarsest(&self) -> f64 {
        self.coarsest
    }

    /// Size of elements that is wanted at a point, mm: no finer than `finest` but in plugs.
    pub fn size(&self, point: &Point, finest: f64) -> f64 {
        let hit = self.surface.closest(point);
        let skin = self.wanted[hit.face.index()] + GROWTH * hit.distance;
        let plugs = self.plugs.iter().map(|(disc, width)| {
            let away = disc.closest(point).distance - 0.5 * width;
            PLUG_SHARE * width + GROWTH * away.max(0.0)
        });
        plugs.fold(skin.max(finest), f64::min)
    }
}
