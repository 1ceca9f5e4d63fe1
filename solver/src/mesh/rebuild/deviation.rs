//! How far a rebuilt surface and the triangles that it was made from are apart, both ways.

use std::collections::HashSet;

use rayon::prelude::*;

use super::super::check::EdgeTally;
use super::super::{FaceId, Point, SurfaceLocator, TriangleMesh, Vector};
use super::winding::WindingNumbers;

/// Points of either surface whose distance to the other is measured, at most.
const SAMPLES: usize = 200_000;

/// One-sided distances between two surfaces, mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Deviation {
    /// Largest, from the rebuilt surface to the original.
    pub largest_to_original: f64,
    /// Mean of the same, weighted by area.
    pub mean_to_original: f64,
    /// Largest, from those parts of the original that bound the solid to the rebuilt surface.
    pub largest_from_original: f64,
    /// Mean of the same, weighted by area.
    pub mean_from_original: f64,
    /// Where the largest of all was found.
    pub place: Point,
    /// Share of the rebuilt surface that lies across gaps of the original, 0 to 1: nearest to an open edge, so that it
    /// is not known how far it is off. It does not count above.
    pub across_gaps: f64,
}

impl Deviation {
    /// The larger of the two.
    pub fn largest(&self) -> f64 {
        self.largest_to_original.max(self.largest_from_original)
    }
}

/// Points of a face at which distances are measured: three near its corners, and its middle.
pub(in crate::mesh) fn looks(mesh: &TriangleMesh, face: FaceId) -> [Point; 4] {
    let middle = mesh.face_middle(face);
    let [a, b, c] = mesh.corners(face).map(|p| middle + (p - middle) * 0.98);
    [a, b, c, middle]
}

/// Whether the surface bounds the solid at a point of a face: whether one of the places `step` mm off on either side is
/// inside and the other one outside.
pub(in crate::mesh) fn bounds_solid(
    winding: &WindingNumbers,
    point: &Point,
    normal: &Vector,
    step: f64,
) -> bool {
    winding.inside(&(point + normal * step)) != winding.inside(&(point - normal * step))
}

struct OneSided {
    /// Area that the points stand for, mm^2.
    area: f64,
    largest: f64,
    mean: f64,
    place: Point,
}

/// Distances of the points for which `counts` holds, to a surface.
fn one_sided(
    mesh: &TriangleMesh,
    to: &SurfaceLocator,
    counts: impl Fn(FaceId, &Point) -> bool + Sync,
) -> OneSided {
    let stride = (4 * mesh.faces.len()).div_ceil(SAMPLES).max(1);
    let found: Vec<(f64, f64, f64, Point)> = (0..mesh.faces.len() as u32)
        .into_par_iter()
        .step_by(stride)
        .map(|f| {
            let face = FaceId(f);
            let share = mesh.face_area(face) / 4.0;
            let mut best = (0.0, 0.0, -1.0, Point::origin());
            for p in looks(mesh, face).iter().filter(|p| counts(face, p)) {
                let distance = to.closest(p).distance;
                best.0 += share;
                best.1 += share * distance;
                if distance > best.2 {
                    (best.2, best.3) = (distance, *p);
                }
            }
            best
        })
        .collect();
    let area: f64 = found.iter().map(|x| x.0).sum();
    let weighted: f64 = found.iter().map(|x| x.1).sum();
    let mut sum =
        OneSided { area: area * stride as f64, largest: 0.0, mean: 0.0, place: Point::origin() };
    for (_, _, largest, place) in found {
        if largest > sum.largest {
            (sum.largest, sum.place) = (largest, place);
        }
    }
    sum.mean = if area > 0.0 { weighted / area } else { 0.0 };
    sum
}

/// Measure. A point of the original counts if the winding number passes a half from one side to the other of it, `step` mm
/// off: what is buried in the solid bounds nothing.
pub(super) fn deviation(
    original: &TriangleMesh,
    original_locator: &SurfaceLocator,
    winding: &WindingNumbers,
    rebuilt: &TriangleMesh,
    rebuilt_locator: &SurfaceLocator,
    step: f64,
) -> Deviation {
    let open: HashSet<[u32; 2]> =
        EdgeTally::new(original).open.into_iter().flat_map(|[a, b]| [[a, b], [b, a]]).collect();
    let on_rim = |p: &Point| {
        if open.is_empty() {
            return false;
        }
        let hit = original_locator.closest(p);
        let weights = original_locator.weights(hit.face, &hit.point);
        let corners = original.faces[hit.face.index()];
        (0..3).any(|k| {
            weights[(k + 2) % 3] < 1e-6 && open.contains(&[corners[k], corners[(k + 1) % 3]])
        })
    };
    let to = one_sided(rebuilt, original_locator, |_, p| !on_rim(p));
    let from = one_sided(original, rebuilt_locator, |face, p| {
        bounds_solid(winding, p, &original_locator.normal(face), step)
    });
    let place = if to.largest >= from.largest { to.place } else { from.place };
    Deviation {
        largest_to_original: to.largest,
        mean_to_original: to.mean,
        largest_from_original: from.largest,
        mean_from_original: from.mean,
        place,
        across_gaps: if open.is_empty() {
            0.0
        } else {
            (1.0 - to.area / rebuilt.area()).clamp(0.0, 1.0)
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mesh::fixtures::{icosphere, joined};

    /// Of two balls about one middle the surfaces are as far apart as the radii are; a third ball within the original
    /// is buried, and does not count.
    #[test]
    fn balls_about_one_middle() {
        let (inner, outer) = (icosphere(20.0, 4), icosphere(21.0, 4));
        let original = joined(&inner, &icosphere(5.0, 2));
        let locators = [&original, &outer].map(|m| SurfaceLocator::new(m).expect("sound"));
        let winding = WindingNumbers::new(&original);
        let found = deviation(&original, &locators[0], &winding, &outer, &locators[1], 0.01);
        // The faces of a ball of 5120 lie no deeper than r (1 - cos a), a = 2.5 degrees: 0.02 mm.
        for off in [found.largest_to_original, found.largest_from_original] {
            assert!((off - 1.0).abs() < 0.02, "{found:?}");
        }
        for off in [found.mean_to_original, found.mean_from_original] {
            assert!((off - 1.0).abs() < 0.01, "{found:?}");
        }
    }
}
