//! The one seam to the collision library: nearest points, inside or outside, and which edges of
//! one mesh pass through faces of another.

use parry3d_f64::query::{PointQuery, Ray};
use parry3d_f64::shape::{CompositeShapeRef, TriMesh, TriMeshFlags};

use crate::mesh::{FaceId, Point, Topology, TriangleMesh, Vector, to_glam, to_point};

use super::BridgeError;
use crate::union_find::UnionFind;

/// A mesh that can be asked where it is.
pub(super) struct Solid<'a> {
    /// The mesh.
    pub mesh: &'a TriangleMesh,
    tree: TriMesh,
}

/// Nearest point of a surface.
#[derive(Clone, Copy, Debug)]
pub(super) struct Nearest {
    pub point: Point,
    pub inside: bool,
    /// Outward unit normal of the face it lies on.
    pub normal: Vector,
    /// That face.
    pub face: u32,
}

impl<'a> Solid<'a> {
    /// Index a closed mesh, or an open one for [`Solid::pierced_faces`] only.
    pub fn new(mesh: &'a TriangleMesh, closed: bool) -> Result<Self, BridgeError> {
        let vertices = mesh.positions.iter().map(|p| to_glam(&p.coords)).collect();
        let flags = if closed { TriMeshFlags::ORIENTED } else { TriMeshFlags::empty() };
        TriMesh::with_flags(vertices, mesh.faces.clone(), flags)
            .map(|tree| Self { mesh, tree })
            .map_err(|fault| BridgeError::Collision { message: fault.to_string() })
    }

    /// Nearest point of the surface.
    pub fn nearest(&self, p: Point) -> Nearest {
        let found = self.tree.project_local_point(to_glam(&p.coords), false);
        let area = self.mesh.area_vector(FaceId(found.subshape));
        Nearest {
            point: to_point(found.point),
            inside: found.is_inside,
            normal: area.try_normalize(0.0).unwrap_or_default(),
            face: found.subshape,
        }
    }

    /// Distance along a unit direction to the first hit, if any within `reach`.
    pub fn cast(&self, from: Point, direction: Vector, reach: f64) -> Option<f64> {
        let ray = Ray::new(to_glam(&from.coords), to_glam(&direction));
        CompositeShapeRef(&self.tree).cast_local_ray(&ray, reach, false).map(|hit| hit.1)
    }

    /// Faces that the segment from `p` to `q` passes through, at least the first.
    fn hit(&self, p: Point, q: Point) -> Option<u32> {
        let ray = Ray::new(to_glam(&p.coords), to_glam(&(q - p)));
        CompositeShapeRef(&self.tree).cast_local_ray(&ray, 1.0, false).map(|hit| hit.0)
    }

    /// How many separate places of this solid's surface an open mesh passes through.
    ///
    /// Two triangles cross exactly when an edge of one passes through the other, so edges of
    /// either mesh are cast on the other. Faces met are counted once for each connected lot: a
    /// limb that pokes through a disc counts one.
    pub fn crossings(&self, topology: &Topology, other: &TriangleMesh) -> Result<u32, BridgeError> {
        let Some((low, high)) = other.bounds() else { return Ok(0) };
        let mut met = vec![false; self.mesh.faces.len()];
        let mut other_edges: Vec<[u32; 2]> = other
            .faces
            .iter()
            .flat_map(|f| [[f[0], f[1]], [f[1], f[2]], [f[2], f[0]]])
            .map(|[a, b]| [a.min(b), a.max(b)])
            .collect();
        other_edges.sort_unstable();
        other_edges.dedup();
        for [a, b] in other_edges {
            let (a, b) = (other.positions[a as usize], other.positions[b as usize]);
            if let Some(face) = self.hit(a, b) {
                met[face as usize] = true;
            }
        }
        let sheet = Solid::new(other, false)?;
        for (edge, &[a, b]) in topology.edge_vertices.iter().enumerate() {
            let (a, b) = (self.mesh.positions[a as usize], self.mesh.positions[b as usize]);
            let apart = (0..3).any(|k| a[k].max(b[k]) < low[k] || a[k].min(b[k]) > high[k]);
            if !apart && sheet.hit(a, b).is_some() {
                for face in topology.edge_faces[edge] {
                    met[face as usize] = true;
                }
            }
        }
        let mut lots = UnionFind::new(met.len());
        for &[left, right] in &topology.edge_faces {
            if met[left as usize] && met[right as usize] {
                lots.join(left as usize, right as usize);
            }
        }
        Ok((0..met.len()).filter(|&f| met[f] && lots.root(f) == f).count() as u32)
    }
}
