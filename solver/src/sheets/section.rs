//! The model's profile across a cut: where a plane meets the surface near a point.

use crate::mesh::{FaceId, Point, SurfaceLocator, Topology, TriangleMesh, Vector, point_along};

/// The model's surface with what it takes to walk on it.
pub(super) struct Ground<'a> {
    pub mesh: &'a TriangleMesh,
    pub topology: Topology,
    pub locator: &'a SurfaceLocator,
}

/// The profile on one side of a point.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Profile {
    /// Points where the profile bends, the starting point first, mm.
    pub points: Vec<Point>,
    /// Unit normal of the surface along each piece between them.
    pub normals: Vec<Vector>,
}

impl Profile {
    /// The point at a distance along the profile, mm; the last one beyond its end.
    pub fn at(&self, distance: f64) -> Point {
        point_along(&self.points, distance)
    }

    /// Sum of the normals, each times the length along which it holds.
    pub fn normal_sum(&self) -> Vector {
        self.points
            .windows(2)
            .zip(&self.normals)
            .map(|(pair, normal)| normal * (pair[1] - pair[0]).norm())
            .sum()
    }
}

/// Faces that a profile may pass through; a guard against loops round a needle.
const MOST_FACES: usize = 512;

impl Ground<'_> {
    /// Both profiles at a point of the surface in the plane across `tangent`: to the left of the
    /// tangent seen from outside, then to the right. Each is `reach` mm long, or shorter where the
    /// surface ends in itself.
    pub fn profiles(&self, at: &Point, tangent: &Vector, reach: f64) -> [Profile; 2] {
        let hit = self.locator.closest(at);
        // From just inside the face: on an edge or a corner the plane may graze the face.
        let middle = self.mesh.face_middle(hit.face);
        let start = hit.point + (middle - hit.point) * 1e-6;
        let left = hit.normal.cross(tangent);
        [left, -left].map(|side| self.walk(hit.face, start, tangent, &side, reach))
    }

    fn walk(
        &self,
        face: FaceId,
        start: Point,
        across: &Vector,
        side: &Vector,
        reach: f64,
    ) -> Profile {
        let mut profile = Profile { points: vec![start], normals: Vec::new() };
        let (mut face, mut from, mut left) = (face, start, reach);
        let mut entered = None;
        for _ in 0..MOST_FACES {
            let Some((edge, out)) = self.leave(face, &start, across, side, entered) else { break };
            let step = out - from;
            let length = step.norm();
            let normal = self.locator.normal(face);
            if length > left {
                profile.points.push(from + step * (left / length));
                profile.normals.push(normal);
                break;
            }
            if length > 0.0 {
                profile.points.push(out);
                profile.normals.push(normal);
            }
            left -= length;
            from = out;
            let [a, b] = self.topology.edge_faces[edge as usize];
            face = FaceId(if a == face.0 { b } else { a });
            entered = Some(edge);
        }
        profile
    }

    /// The edge by which the plane through `start` leaves a face, and where.
    fn leave(
        &self,
        face: FaceId,
        start: &Point,
        across: &Vector,
        side: &Vector,
        entered: Option<u32>,
    ) -> Option<(u32, Point)> {
        let corners = self.mesh.corners(face);
        // A corner on the plane counts as in front of it, so that a plane that meets a face
        // crosses two of its edges, always.
        let height = corners.map(|p| (p - start).dot(across));
        let mut best: Option<(f64, u32, Point)> = None;
        for k in 0..3 {
            let (a, b) = (height[k], height[(k + 1) % 3]);
            let edge = self.topology.face_edges[face.index()][k];
            if (a >= 0.0) == (b >= 0.0) || entered == Some(edge) {
                continue;
            }
            let out = corners[k] + (corners[(k + 1) % 3] - corners[k]) * (a / (a - b));
            let ahead = (out - start).dot(side);
            if best.as_ref().is_none_or(|(most, ..)| ahead > *most) {
                best = Some((ahead, edge, out));
            }
        }
        best.map(|(_, edge, out)| (edge, out))
    }
}
