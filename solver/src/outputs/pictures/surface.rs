//! Lines brought on to the model: where each point's foot on the surface is, and which way is out.

use parry3d_f64::math::Vector as ParryVector;
use parry3d_f64::query::PointQueryWithLocation;
use parry3d_f64::shape::TriMesh;

use super::PictureError;
use crate::mesh::{Point, TriangleMesh, Vector};

/// A point of the surface and the direction out of the model there.
#[derive(Clone, Copy, Debug)]
pub(super) struct Foot {
    pub point: Point,
    pub normal: Vector,
}

/// Finds the nearest point of the model's surface.
pub(super) struct Surface<'m> {
    mesh: &'m TriangleMesh,
    tree: TriMesh,
    normals: Vec<Vector>,
}

impl<'m> Surface<'m> {
    pub fn new(mesh: &'m TriangleMesh) -> Result<Self, PictureError> {
        let vertices = mesh.positions.iter().map(|p| ParryVector::new(p.x, p.y, p.z)).collect();
        let tree = TriMesh::new(vertices, mesh.faces.clone())
            .map_err(|fault| PictureError::Search { fault: fault.to_string() })?;
        Ok(Self { mesh, tree, normals: mesh.vertex_normals() })
    }

    /// The nearest point of the surface. Normals are blended over each face, so that a line along
    /// a ridge leans to neither of its sides.
    pub fn foot(&self, point: Point) -> Foot {
        let query = ParryVector::new(point.x, point.y, point.z);
        let (found, (face, location)) =
            self.tree.project_local_point_and_get_location(query, false);
        let weights = location.barycentric_coordinates().unwrap_or([1.0 / 3.0; 3]);
        let corners = self.mesh.faces[face as usize];
        let normal = corners
            .iter()
            .zip(weights)
            .map(|(&corner, weight)| self.normals[corner as usize] * weight)
            .sum::<Vector>();
        Foot {
            point: Point::new(found.point.x, found.point.y, found.point.z),
            normal: normal.try_normalize(0.0).unwrap_or_else(Vector::zeros),
        }
    }

    /// Feet of points along a polyline, none further from the next than `step` mm before they are
    /// brought on to the surface; and the greatest distance that a point had to move, mm.
    pub fn lay(&self, line: &[Point], step: f64) -> (Vec<Foot>, f64) {
        let mut feet = Vec::new();
        let mut furthest = 0f64;
        let mut put = |point: Point| {
            let foot = self.foot(point);
            furthest = furthest.max((foot.point - point).norm());
            feet.push(foot);
        };
        if let Some(first) = line.first() {
            put(*first);
        }
        for ends in line.windows(2) {
            let pieces = ((ends[1] - ends[0]).norm() / step).ceil().max(1.0) as usize;
            for piece in 1..=pieces {
                let along = piece as f64 / pieces as f64;
                put(ends[0] + (ends[1] - ends[0]) * along);
            }
        }
        (feet, furthest)
    }
}
