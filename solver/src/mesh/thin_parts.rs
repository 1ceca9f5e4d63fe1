//! Parts of a model too thin for the working resolution.

use rayon::prelude::*;

use super::{FaceId, Point, SurfaceLocator, TriangleMesh, Vector};

/// Faces looked at, at most: enough to find every thin part that matters, few enough for a scan.
const SAMPLES: usize = 40_000;

/// Extent of thin parts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ThinParts {
    /// Share of the surface looked at that lies over a thin part, 0 to 1.
    pub area_share: f64,
    /// Least thickness met, mm.
    pub least: f64,
    /// Where it was met, mm.
    pub place: Point,
    /// Faces over a thin part among those looked at.
    pub samples: usize,
}

/// Measure thickness by rays inward from the middles of faces, to a wall that looks the other
/// way. `None` if nothing is thinner than `resolution` mm.
pub fn thin_parts(
    mesh: &TriangleMesh,
    locator: &SurfaceLocator,
    resolution: f64,
) -> Option<ThinParts> {
    let stride = mesh.faces.len().div_ceil(SAMPLES).max(1);
    let found: Vec<(f64, Option<(f64, Point)>)> = (0..mesh.faces.len())
        .into_par_iter()
        .step_by(stride)
        .map(|f| {
            let face = FaceId(f as u32);
            let area = mesh.face_area(face);
            let normal = locator.normal(face);
            if normal == Vector::zeros() {
                return (0.0, None);
            }
            let middle = mesh.face_middle(face);
            let lift = 1e-6 * resolution;
            let hit = locator
                .ray(&(middle - normal * lift), &-normal, resolution)
                // A wall met at a slant belongs to a sharp edge, not to a thin part.
                .filter(|hit| hit.normal.dot(&-normal) > 0.5);
            (area, hit.map(|hit| (hit.distance + lift, middle)))
        })
        .collect();
    let whole: f64 = found.iter().map(|(area, _)| area).sum();
    let mut thin =
        ThinParts { area_share: 0.0, least: f64::INFINITY, place: Point::origin(), samples: 0 };
    for (area, hit) in &found {
        if let Some((distance, place)) = hit {
            thin.samples += 1;
            thin.area_share += area / whole;
            if *distance < thin.least {
                thin.least = *distance;
                thin.place = *place;
            }
        }
    }
    (thin.samples > 0).then_some(thin)
}
