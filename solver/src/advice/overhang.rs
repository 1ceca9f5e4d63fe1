//! Parts that jut out broad and thin: liquid fills them last and sideways.

use serde::{Deserialize, Serialize};

use crate::mesh::{FaceId, Point, SurfaceLocator, TriangleMesh, Vector, patches};

/// An underside leans from level by less than this, degrees. No source.
const LOOKS_DOWN_DEGREES: f64 = 30.0;
/// A smaller underside is not broad, mm^2. Common practice, no source.
const BROAD: f64 = 400.0;
/// A part is thin where it is thinner than this share of the side of a square as broad. Common practice, no source.
const THIN: f64 = 1.0 / 6.0;

/// A part of the model that juts out broad and thin.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Overhang {
    /// Place on its underside, near the middle.
    pub place: Point,
    /// Area of its underside as seen from below, mm^2.
    pub area: f64,
    /// Its mean thickness above that, mm.
    pub thickness: f64,
}

/// The broad thin parts of a model in the mould frame, the broadest first.
pub(super) fn overhangs(
    model: &TriangleMesh,
    locator: &SurfaceLocator,
    is_gate: &[bool],
) -> Vec<Overhang> {
    let level = LOOKS_DOWN_DEGREES.to_radians().cos();
    let faces: Vec<FaceId> = (0..model.faces.len() as u32)
        .map(FaceId)
        .filter(|f| {
            let normal = model.area_vector(*f);
            let held = model.faces[f.index()].iter().all(|v| is_gate[*v as usize]);
            !held && -normal.z > level * normal.norm()
        })
        .collect();
    let beneath = |f: &FaceId| -0.5 * model.area_vector(*f).z;
    let lift = 1e-6 * model.span();
    let mut found = Vec::new();
    for patch in patches(model, &faces) {
        let area: f64 = patch.iter().map(beneath).sum();
        if area < BROAD {
            continue;
        }
        let (mut sum, mut middle) = (0.0, Vector::zeros());
        for f in &patch {
            let at = model.face_middle(*f);
            // From just within up to where the solid ends.
            let hit = locator.ray(&(at + Vector::z() * lift), &Vector::z(), f64::MAX);
            sum += beneath(f) * hit.map_or(0.0, |hit| hit.distance + lift);
            middle += at.coords * beneath(f);
        }
        let (thickness, middle) = (sum / area, Point::from(middle / area));
        if thickness <= THIN * area.sqrt() {
            let far = |f: &&FaceId| (model.face_middle(**f) - middle).norm_squared();
            let nearest = patch.iter().min_by(|a, b| far(a).total_cmp(&far(b)));
            let place = nearest.map_or(middle, |f| model.face_middle(*f));
            found.push(Overhang { place, area, thickness });
        }
    }
    found.sort_by(|a, b| b.area.total_cmp(&a.area));
    found
}

#[cfg(test)]
mod tests {
    use approx::assert_relative_eq;

    use super::*;
    use crate::mesh::fixtures::{cuboid, divided};

    /// A T of 60 x 60 seen from above, 44 high: a post 10 mm wide under a top so `thick`.
    fn tee(thick: f64) -> TriangleMesh {
        let top = 40.0 + thick;
        let outline = [
            [25.0, 0.0],
            [35.0, 0.0],
            [35.0, 40.0],
            [60.0, 40.0],
            [60.0, top],
            [0.0, top],
            [0.0, 40.0],
            [25.0, 40.0],
        ];
        let mut mesh = TriangleMesh::default();
        for y in [0.0, 60.0] {
            mesh.positions.extend(outline.map(|[x, z]| Point::new(x, y, z)));
        }
        for k in 0..8 {
            let next = (k + 1) % 8;
            mesh.faces.extend([[k, 8 + k, 8 + next], [k, 8 + next, next]]);
        }
        for [a, b, c] in [[0, 1, 2], [0, 2, 7], [5, 6, 7], [5, 7, 2], [5, 2, 3], [5, 3, 4]] {
            mesh.faces.extend([[a, b, c], [8 + a, 8 + c, 8 + b]]);
        }
        (0..2).fold(mesh, |mesh, _| divided(&mesh))
    }

    fn found(mesh: &TriangleMesh) -> Vec<Overhang> {
        let locator = SurfaceLocator::new(mesh).expect("a mesh");
        let is_gate: Vec<bool> = mesh.positions.iter().map(|p| p.z < 0.1).collect();
        overhangs(mesh, &locator, &is_gate)
    }

    /// Two undersides of 25 x 60, a sixth of whose side is 6.5 mm.
    #[test]
    fn a_thin_top_on_a_post_juts_out_on_both_sides() {
        let tee = tee(4.0);
        assert_relative_eq!(tee.signed_volume(), 60.0 * (400.0 + 240.0), max_relative = 1e-12);
        let found = found(&tee);
        assert_eq!(found.len(), 2);
        for own in &found {
            assert_relative_eq!(own.area, 1500.0, max_relative = 1e-9);
            assert_relative_eq!(own.thickness, 4.0, max_relative = 1e-6);
            assert_relative_eq!(own.place.z, 40.0, max_relative = 1e-9);
            assert!((own.place.x - 30.0).abs() > 10.0, "{own:?}");
        }
    }

    #[test]
    fn what_is_thick_or_on_the_board_does_not() {
        assert_eq!(found(&tee(7.0)), []);
        assert_eq!(found(&cuboid([60.0, 60.0, 4.0])), []);
    }
}
