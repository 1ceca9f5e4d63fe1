//! The convex hull of points, by parry3d's quickhull.

use std::collections::HashSet;

use parry3d_f64::transformation::try_convex_hull;

use super::project::{to_glam, to_point};
use super::{Point, TriangleMesh};

/// A hull cannot be made.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum HullError {
    /// The points have no volume, or the library gave up on them.
    #[error(
        "no convex hull can be made of the model's corners ({0}): check that the model has a volume"
    )]
    Library(String),
    /// What came out is no closed surface.
    #[error("the convex hull of the model's corners does not close: please report this model")]
    NotClosed,
}

/// The convex hull of points as a closed mesh, looking outward; its vertices are some of the points. Faces of one
/// plane may come as several triangles, as rounding has it.
pub fn convex_hull(points: &[Point]) -> Result<TriangleMesh, HullError> {
    let points: Vec<_> = points.iter().map(|p| to_glam(&p.coords)).collect();
    let (corners, faces) =
        try_convex_hull(&points).map_err(|error| HullError::Library(error.to_string()))?;
    let hull = TriangleMesh { positions: corners.into_iter().map(to_point).collect(), faces };
    let mut sides = HashSet::with_capacity(3 * hull.faces.len());
    let once = hull.faces.iter().all(|f| (0..3).all(|k| sides.insert([f[k], f[(k + 1) % 3]])));
    let closed = once && sides.iter().all(|&[a, b]| sides.contains(&[b, a]));
    if closed && hull.signed_volume() > 0.0 { Ok(hull) } else { Err(HullError::NotClosed) }
}

#[cfg(test)]
mod tests {
    use approx::assert_relative_eq;

    use super::*;
    use crate::mesh::fixtures::{cuboid, icosphere, inside_out, moved, torus};

    #[test]
    fn the_hull_of_a_box_with_points_within_is_the_box() {
        let mut points = cuboid([40.0, 30.0, 20.0]).positions;
        points.extend((1..9).map(|k| Point::new(4.0 * f64::from(k), 15.0, 7.0)));
        let hull = convex_hull(&points).expect("a hull");
        assert_eq!(hull.positions.len(), 8);
        assert_relative_eq!(hull.signed_volume(), 24e3, max_relative = 1e-12);
    }

    #[test]
    fn what_has_no_volume_has_no_hull() {
        let flat: Vec<Point> =
            (0..9).map(|k| Point::new(f64::from(k % 3), f64::from(k / 3), 0.0)).collect();
        assert!(convex_hull(&flat).is_err());
        assert!(convex_hull(&flat[..2]).is_err());
    }

    /// By symmetry the middle of ball, box and ring; a cone's is a quarter of its height above its base.
    #[test]
    fn centres_of_mass_are_exact_wherever_the_solid_is() {
        let far = [1e4, -2e4, 5e3];
        for mesh in [icosphere(30.0, 2), torus(30.0, 8.0, 24, 12)] {
            let centre = moved(&mesh, far).centre_of_mass().expect("a solid");
            assert_relative_eq!(centre, Point::from(far), epsilon = 1e-6);
        }
        let mut cone = cuboid([20.0, 20.0, 12.0]);
        for p in &mut cone.positions[4..] {
            *p = Point::new(10.0, 10.0, 12.0);
        }
        let centre = cone.centre_of_mass().expect("a solid");
        assert_relative_eq!(centre, Point::new(10.0, 10.0, 3.0), epsilon = 1e-9);
        assert_eq!(inside_out(&icosphere(30.0, 2)).centre_of_mass(), None);
        assert_eq!(TriangleMesh::default().centre_of_mass(), None);
    }
}
