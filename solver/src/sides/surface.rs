//! The model's skin as two sides are drawn on it: even triangles, with the gate and what a cut costs.

use crate::body::Gate;
use crate::mesh::{
    FaceId, LocatorError, Point, RemeshError, SurfaceLocator, Topology, TriangleMesh, planning_mesh,
};

use super::SidesError;
use super::wraps::Hole;

/// Vertices of the surface, about. Borders are drawn between them, so that what is finer than an edge is not
/// seen; a figure of 150 mm gets edges of about 2.5 mm.
const VERTICES: f64 = 5000.0;

/// The surface.
pub struct Surface {
    /// Even triangles, in the mould frame.
    pub mesh: TriangleMesh,
    /// Who touches whom.
    pub topology: Topology,
    /// Nearest points.
    pub locator: SurfaceLocator,
    /// Whether each vertex lies in the gate.
    pub is_gate: Vec<bool>,
    /// What a millimetre of cut costs at each vertex; infinite where no cut may run.
    pub weight: Vec<f64>,
    /// Faces that may look either way: the rubber before them is cut across besides.
    pub spared: Vec<bool>,
    /// Holes that are asked about, each with the number that it was given.
    pub(super) holes: Vec<(usize, Hole)>,
}

impl Surface {
    /// From the working mesh, in the mould frame. `weight` tells what a millimetre of cut costs at a point.
    pub fn new(
        working: &TriangleMesh,
        gate: &Gate,
        weight: &dyn Fn(&Point) -> f64,
    ) -> Result<Self, SidesError> {
        let edge = (working.area() / (VERTICES * 0.75f64.sqrt())).sqrt();
        let mesh = planning_mesh(working, edge).map_err(|e: RemeshError| SidesError::Remesh(e))?;
        let topology = Topology::new(&mesh)?;
        let locator =
            SurfaceLocator::new(&mesh).map_err(|e: LocatorError| SidesError::Locator(e))?;
        Ok(Self {
            is_gate: mesh.positions.iter().map(|p| gate.holds(p)).collect(),
            weight: mesh.positions.iter().map(weight).collect(),
            spared: vec![false; mesh.faces.len()],
            holes: Vec::new(),
            mesh,
            topology,
            locator,
        })
    }

    /// Spare the faces that look at a surface along which the rubber is cut across, no farther than `reach` (mm) from it:
    /// what they hold back is two fingers of rubber then, which bend out by themselves.
    pub fn spare(&mut self, cut: &TriangleMesh, reach: f64) -> Result<(), SidesError> {
        let cut = SurfaceLocator::new(cut).map_err(SidesError::Locator)?;
        for (f, spared) in (0u32..).zip(&mut self.spared) {
            let middle = self.mesh.face_middle(FaceId(f));
            let hit = cut.closest(&middle);
            let looks = (hit.point - middle).dot(&self.mesh.area_vector(FaceId(f))) > 0.0;
            *spared |= looks && hit.distance <= reach;
        }
        Ok(())
    }

    /// Ask of all labels from now on whether a side runs all round the limb that goes round a hole.
    pub fn ask_about(&mut self, number: usize, disc: &TriangleMesh) -> Result<(), SidesError> {
        let hole = Hole::new(&self.mesh, &self.topology, self.mean_edge(), disc)
            .map_err(SidesError::Locator)?;
        self.holes.push((number, hole));
        Ok(())
    }

    /// Mean length of an edge, mm.
    pub fn mean_edge(&self) -> f64 {
        let edges = &self.topology.edge_vertices;
        edges.iter().map(|e| self.length(e)).sum::<f64>() / edges.len().max(1) as f64
    }

    fn length(&self, [a, b]: &[u32; 2]) -> f64 {
        (self.mesh.positions[*a as usize] - self.mesh.positions[*b as usize]).norm()
    }

    /// What the border pays for an edge, mm: nothing within the gate, which is open anyway.
    pub fn edge_cost(&self, edge: u32) -> f64 {
        let ends = &self.topology.edge_vertices[edge as usize];
        let [a, b] = ends.map(|v| v as usize);
        if self.is_gate[a] && self.is_gate[b] {
            return 0.0;
        }
        0.5 * (self.weight[a] + self.weight[b]) * self.length(ends)
    }

    /// A value given at the vertices, at the point of the surface nearest to `p`.
    pub fn interpolate(&self, values: &[f64], p: &Point) -> f64 {
        let hit = self.locator.closest(p);
        let weights = self.locator.weights(hit.face, &hit.point);
        let corners = self.locator.face(hit.face);
        (0..3).map(|k| weights[k].clamp(0.0, 1.0) * values[corners[k] as usize]).sum()
    }
}
