//! How fine elements have to be where.
//!
//! A limb of the model thinner than the elements is not there for them, and a wall or a plug of rubber wants
//! an element or two across it to bend. Everything else may be coarser, the more the farther away.

use rayon::prelude::*;

use crate::body::MouldBody;
use crate::mesh::{FaceId, Point, SurfaceLocator, TriangleMesh, Vector};

/// Size of elements over the thickness of the model that they lie on.
const MODEL_SHARE: f64 = 0.5;
/// Size of elements over the thickness of the rubber there.
const RUBBER_SHARE: f64 = 0.7;
/// How fast elements grow with the distance from the model, mm a mm.
const GROWTH: f64 = 0.6;
/// Rays start this share of the model's span off the face that they leave.
const LIFT: f64 = 1e-5;

/// What the skin of the model asks for.
pub(super) struct Detail<'a> {
    surface: &'a SurfaceLocator,
    /// Size wanted at each face, mm.
    wanted: Vec<f64>,
    coarsest: f64,
}

impl<'a> Detail<'a> {
    /// Look through model and rubber from every face of the model that the body is built round.
    pub fn new(body: &'a MouldBody, model: &TriangleMesh) -> Self {
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
        Self { surface, wanted, coarsest }
    }

    /// About the largest size that is wanted anywhere in the rubber, mm.
    pub fn coarsest(&self) -> f64 {
        self.coarsest
    }

    /// Size of elements that is wanted at a point, mm.
    pub fn size(&self, point: &Point) -> f64 {
        let hit = self.surface.closest(point);
        self.wanted[hit.face.index()] + GROWTH * hit.distance
    }
}
