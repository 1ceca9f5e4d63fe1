//! Nearest points and rays on a mesh: how results travel between meshes of one surface.
//!
//! The queries are parry3d's bounding volume hierarchy. That library does its mathematics in
//! glam; points are converted by the two functions here, wherever that library is asked.

use parry3d_f64::bounding_volume::Aabb;
use parry3d_f64::math::Vector as GlamVector;
use parry3d_f64::query::{PointQuery, PointQueryWithLocation, Ray};
use parry3d_f64::shape::{CompositeShapeRef, TriMesh, TrianglePointLocation};

use super::{FaceId, Point, TriangleMesh, Vector};
use crate::control::{Cancel, Cancelled};

/// A surface cannot be searched.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum LocatorError {
    /// There is nothing to find.
    #[error("the mesh has no faces: there is no surface to search")]
    Empty,
    /// A face names a vertex that does not exist.
    #[error("face {0} names a vertex that does not exist")]
    BadFace(u32),
    /// A coordinate is NaN or infinite.
    #[error("vertex {0} has a coordinate that is not a finite number")]
    NotFinite(u32),
}

/// Where a query met the surface.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SurfaceHit {
    /// The point on the surface, mm.
    pub point: Point,
    /// The face it lies on. A point on an edge names one of the edge's faces.
    pub face: FaceId,
    /// Unit normal of that face; zero if the face has no area.
    pub normal: Vector,
    /// Distance from the query point, or along the ray, mm.
    pub distance: f64,
}

/// Answers nearest-point and ray queries on one mesh. Any number of threads may ask at once.
pub struct SurfaceLocator {
    shape: TriMesh,
}

pub(crate) fn to_glam(v: &Vector) -> GlamVector {
    GlamVector::new(v.x, v.y, v.z)
}

pub(crate) fn to_point(v: GlamVector) -> Point {
    Point::new(v.x, v.y, v.z)
}

impl SurfaceLocator {
    /// Index a mesh for queries. The mesh is copied.
    pub fn new(mesh: &TriangleMesh) -> Result<Self, LocatorError> {
        let (vertices, faces) = checked(mesh)?;
        let shape = TriMesh::new(vertices, faces).map_err(|_| LocatorError::Empty)?;
        Ok(Self { shape })
    }

    /// The same, for a mesh so large that somebody may not want to wait for it.
    pub(super) fn new_until(
        mesh: &TriangleMesh,
        cancel: &Cancel,
    ) -> Result<Result<Self, LocatorError>, Cancelled> {
        mesh.worked_on_until(cancel, Self::new)
    }

    /// The point of the surface nearest to `point`.
    ///
    /// A query point that is not finite has no nearest point; it is answered with a point of the
    /// first face at an infinite distance.
    pub fn closest(&self, point: &Point) -> SurfaceHit {
        self.closest_within(point, f64::MAX).unwrap_or_else(|| SurfaceHit {
            point: to_point(self.shape.vertices()[self.shape.indices()[0][0] as usize]),
            face: FaceId(0),
            normal: self.normal(FaceId(0)),
            distance: f64::INFINITY,
        })
    }

    /// The same where it is nearer than `distance`, mm.
    pub fn closest_within(&self, point: &Point, distance: f64) -> Option<SurfaceHit> {
        let query = to_glam(&point.coords);
        // The face comes from the sub-shape's index: the feature id of a hit counts corners and
        // edges within one triangle, not triangles.
        let (face, projection, _) = CompositeShapeRef(&self.shape)
            .project_local_point_and_get_location(query, distance, false)?;
        Some(SurfaceHit {
            point: to_point(projection.point),
            face: FaceId(face),
            normal: self.normal(FaceId(face)),
            distance: (projection.point - query).length(),
        })
    }

    /// Whether the surface is anywhere as near to a point as `distance`, mm. No point that is not finite is near to anything.
    ///
    /// Any such place will do, so this takes a fraction of what the nearest one does.
    pub fn is_within(&self, point: &Point, distance: f64) -> bool {
        let query = to_glam(&point.coords);
        // What is near enough costs nothing, so nothing better is looked for.
        let found = self.shape.bvh().find_best(
            f64::MAX,
            |node, _| {
                let away = node.aabb().distance_to_local_point(query, true);
                if away <= distance { away } else { f64::MAX }
            },
            |face, _| {
                let on = self.shape.triangle(face).project_local_point(query, false).point;
                ((on - query).length() <= distance).then_some(0.0)
            },
        );
        found.is_some()
    }

    /// Distance of a point from the surface of a closed mesh, mm: negative inside; infinite from a point that is not finite.
    ///
    /// Where an edge or a corner is nearest, the side is that of the normals of all faces there, each weighed by its angle (Baerentzen
    /// & Aanaes 2005, "Signed distance computation using the angle weighted pseudonormal", IEEE Transactions on Visualization and
    /// Computer Graphics 11:243): above the rim of a thin foot the face below it would call the open air inside.
    pub fn signed_distance(&self, point: &Point) -> f64 {
        let query = to_glam(&point.coords);
        let found =
            self.shape.project_local_point_and_get_location_with_max_dist(query, false, f64::MAX);
        let Some((projection, (face, location))) = found else { return f64::INFINITY };
        let face = FaceId(face);
        let [a, b, c] = self.corners(face);
        let outward = match location {
            TrianglePointLocation::OnVertex(k) => self.outward_at(&[[a, b, c][k as usize % 3]]),
            TrianglePointLocation::OnEdge(0, _) => self.outward_at(&[a, b]),
            TrianglePointLocation::OnEdge(1, _) => self.outward_at(&[b, c]),
            TrianglePointLocation::OnEdge(..) => self.outward_at(&[c, a]),
            TrianglePointLocation::OnFace(..) | TrianglePointLocation::OnSolid => self.normal(face),
        };
        let from_foot = point - to_point(projection.point);
        let is_inside = from_foot.dot(&outward) < 0.0;
        if is_inside { -from_foot.norm() } else { from_foot.norm() }
    }

    /// The sum of the normals of all faces that have all of these corners, one or two, each weighed by its angle there.
    fn outward_at(&self, shared: &[Point]) -> Vector {
        let mut sum = Vector::zeros();
        for face in self.faces_near(&shared[0], &shared[0]).into_iter().map(FaceId) {
            let corners = self.corners(face);
            if !shared.iter().all(|p| corners.contains(p)) {
                continue;
            }
            // Along an edge every face has half a turn.
            let angle = match shared {
                [at] => {
                    let mut others = corners.iter().filter(|p| *p != at).map(|p| p - at);
                    let (next, last) = (others.next(), others.next());
                    next.zip(last).map_or(0.0, |(next, last)| next.angle(&last))
                }
                _ => 1.0,
            };
            sum += self.normal(face) * angle;
        }
        sum
    }

    /// The first face that a ray meets, whichever side it comes from, no farther than
    /// `longest` mm. `direction` need not be a unit vector.
    pub fn ray(&self, origin: &Point, direction: &Vector, longest: f64) -> Option<SurfaceHit> {
        let unit = direction.try_normalize(0.0)?;
        let ray = Ray::new(to_glam(&origin.coords), to_glam(&unit));
        let (face, distance) =
            CompositeShapeRef(&self.shape).cast_local_ray(&ray, longest, false)?;
        Some(SurfaceHit {
            point: origin + unit * distance,
            face: FaceId(face),
            normal: self.normal(FaceId(face)),
            distance,
        })
    }

    /// Unit normal of a face; zero if it has no area.
    pub fn normal(&self, face: FaceId) -> Vector {
        let [a, b, c] = self.corners(face);
        (b - a).cross(&(c - a)).try_normalize(0.0).unwrap_or_else(Vector::zeros)
    }

    /// Barycentric weights of a point of a face's plane with respect to the face's corners.
    /// They sum to 1; a face without area is weighted evenly.
    pub fn weights(&self, face: FaceId, point: &Point) -> [f64; 3] {
        let [a, b, c] = self.corners(face);
        let whole = (b - a).cross(&(c - a));
        let square = whole.norm_squared();
        if square <= 0.0 {
            return [1.0 / 3.0; 3];
        }
        let second = (point - a).cross(&(c - a)).dot(&whole) / square;
        let third = (b - a).cross(&(point - a)).dot(&whole) / square;
        [1.0 - second - third, second, third]
    }

    /// Faces whose boxes meet the box between two corners, in no particular order.
    pub(super) fn faces_near(&self, low: &Point, high: &Point) -> Vec<u32> {
        let wanted = Aabb::new(to_glam(&low.coords), to_glam(&high.coords));
        self.shape.bvh().intersect_aabb(&wanted).collect()
    }

    /// Vertex indices of a face.
    pub fn face(&self, face: FaceId) -> [u32; 3] {
        self.shape.indices()[face.index()]
    }

    fn corners(&self, face: FaceId) -> [Point; 3] {
        self.face(face).map(|v| to_point(self.shape.vertices()[v as usize]))
    }
}

/// A copy of a mesh that can be indexed.
fn checked(mesh: &TriangleMesh) -> Result<(Vec<GlamVector>, Vec<[u32; 3]>), LocatorError> {
    if mesh.faces.is_empty() {
        return Err(LocatorError::Empty);
    }
    let count = mesh.positions.len() as u32;
    if let Some(bad) = mesh.faces.iter().position(|f| f.iter().any(|&v| v >= count)) {
        return Err(LocatorError::BadFace(bad as u32));
    }
    if let Some(bad) = first_not_finite(&mesh.positions) {
        return Err(LocatorError::NotFinite(bad));
    }
    let vertices = mesh.positions.iter().map(|p| to_glam(&p.coords)).collect();
    Ok((vertices, mesh.faces.clone()))
}

/// Index of the first position that is not finite.
pub(super) fn first_not_finite(positions: &[Point]) -> Option<u32> {
    positions.iter().position(|p| p.iter().any(|x| !x.is_finite())).map(|i| i as u32)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Of points in and round a ball, at distances on either side of the true one.
    #[test]
    fn what_is_within_a_distance_is_what_the_nearest_point_is_within() {
        let ball = crate::mesh::fixtures::icosphere(10.0, 3);
        let locator = SurfaceLocator::new(&ball).expect("faces");
        for k in 0..200 {
            let turn = f64::from(k) * 2.4;
            let p = Point::new(turn.cos(), turn.sin(), 0.01 * f64::from(k) - 1.0)
                * (0.1 * f64::from(k));
            let away = locator.closest(&p).distance;
            assert!(
                locator.is_within(&p, away + 1e-9) && !locator.is_within(&p, away - 1e-9),
                "{p}"
            );
            assert!(!locator.is_within(&p, 0.5 * away) && locator.is_within(&p, 2.0 * away + 1.0));
        }
        for x in [f64::NAN, f64::INFINITY] {
            assert!(!locator.is_within(&Point::new(x, 0.0, 0.0), 5.0));
        }
    }

    /// A flat pyramid on the floor, whose rim is a wedge of 3 degrees.
    fn flat() -> TriangleMesh {
        let corners = [[-20.0, -20.0], [20.0, -20.0], [20.0, 20.0], [-20.0, 20.0]];
        let mut positions: Vec<Point> =
            corners.iter().map(|&[x, y]| Point::new(x, y, 0.0)).collect();
        positions.push(Point::new(0.0, 0.0, 1.0));
        let faces = vec![[0, 3, 2], [0, 2, 1], [0, 1, 4], [1, 2, 4], [2, 3, 4], [3, 0, 4]];
        TriangleMesh { positions, faces }
    }

    /// Inside is what lies between the floor and the faces that lean on its apex.
    #[test]
    fn the_air_above_and_below_a_sharp_rim_is_outside() {
        let mesh = flat();
        let locator = SurfaceLocator::new(&mesh).expect("a surface");
        for z in [-7.0f64, -0.3, 0.02, 0.3, 0.9, 3.0, 12.0] {
            for k in 0..400 {
                let (x, y) = (f64::from(k % 20) * 3.1 - 29.3, f64::from(k / 20) * 3.1 - 29.6);
                let is_inside = z > 0.0 && z < 1.0 - x.abs().max(y.abs()) / 20.0;
                let at = Point::new(x, y, z);
                assert_eq!(locator.signed_distance(&at) < 0.0, is_inside, "{at}");
            }
        }
    }
}
