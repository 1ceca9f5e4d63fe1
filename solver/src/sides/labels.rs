//! Which side of the model each face belongs to: a minimum cut.
//!
//! Seen along a direction, one part of the model looks towards the viewer, the rest away. A face on the
//! wrong side costs its area as far as it looks away, an edge of the border between the sides its length
//! times the weight of a cut there. The cheapest labelling of the faces is a minimum cut (Ford & Fulkerson
//! 1956; labels by minimum cuts: Greig, Porteous & Seheult 1989, J. R. Stat. Soc. B 51:271).

use super::Surface;
use super::islands::Price;
use crate::girth::min_cut::{FlowNetwork, UNCUTTABLE, Units};
use crate::mesh::{FaceId, Vector};

/// Two sides of a model.
#[derive(Clone, Debug, PartialEq)]
pub struct Labels {
    /// Unit direction from which the front is seen.
    pub direction: Vector,
    /// Whether each face of the surface belongs to the front.
    pub front: Vec<bool>,
    /// Area on the wrong side, each face counted as far as it looks away, as a share of the whole area.
    pub wrong: f64,
    /// Length of the border along the surface's edges outside of the gate, each weighed, mm.
    pub border_cost: f64,
    /// Area of islands that were given to the side round them, as a share of the whole area.
    pub flipped: f64,
    /// Holes round whose limb one of the sides runs all the way, of those that the surface is asked about.
    pub wrapped: Vec<usize>,
}

impl Labels {
    /// Area on the wrong side, as a share of the whole.
    pub fn undercut(&self) -> f64 {
        self.wrong
    }
}

/// Labels faces of a surface for one direction after another.
pub struct Labeller<'a> {
    surface: &'a Surface,
    network: FlowNetwork,
    units: Units,
    areas: Vec<f64>,
    normals: Vec<Vector>,
    /// Whether all of a face lies in the gate.
    in_gate: Vec<bool>,
}

impl<'a> Labeller<'a> {
    /// For a surface.
    pub fn new(surface: &'a Surface) -> Self {
        let (mesh, topology) = (&surface.mesh, &surface.topology);
        let count = mesh.faces.len() as u32;
        let (source, sink) = (count, count + 1);
        let mut ends: Vec<[u32; 2]> = topology.edge_faces.clone();
        ends.extend((0..count).flat_map(|f| [[source, f], [f, sink]]));
        let vectors: Vec<Vector> = (0..count).map(|f| mesh.area_vector(FaceId(f))).collect();
        Self {
            network: FlowNetwork::new(count as usize + 2, &ends),
            units: Units::for_edge(surface.mean_edge()),
            areas: vectors.iter().map(|v| v.norm()).collect(),
            normals: vectors
                .iter()
                .map(|v| v.try_normalize(0.0).unwrap_or_else(Vector::zeros))
                .collect(),
            in_gate: mesh
                .faces
                .iter()
                .map(|f| f.iter().all(|&v| surface.is_gate[v as usize]))
                .collect(),
            surface,
        }
    }

    /// The two sides seen along a unit direction. `depth` (mm) is what a border may cost at most to avoid
    /// wrong area: `depth` square millimetres of it, looking straight the wrong way, cost as much as 1 mm of
    /// border. The greater it is, the shorter is the border, and the more is undercut.
    pub fn label(&mut self, direction: &Vector, depth: f64) -> Labels {
        let count = self.areas.len() as u32;
        let surface = self.surface;
        let edges = surface.topology.edge_faces.len() as u32;
        let look: Vec<f64> = (0..count as usize)
            .map(|f| {
                if self.in_gate[f] || surface.spared[f] {
                    0.0
                } else {
                    self.normals[f].dot(direction)
                }
            })
            .collect();
        let (units, areas) = (self.units, &self.areas);
        let capacity = |e: u32| {
            if e < edges {
                let cost = surface.edge_cost(e);
                return if cost.is_finite() { units.of(cost) } else { UNCUTTABLE };
            }
            let (face, to_sink) = ((e - edges) / 2, (e - edges) % 2 == 1);
            let look = if to_sink { -look[face as usize] } else { look[face as usize] };
            // Not Units::of, which makes every capacity at least one.
            (look.max(0.0) * areas[face as usize] / depth * units.per_mm()).round() as i64
        };
        self.network.solve(capacity, [count], [count + 1], i64::MAX);
        let mut front = self.network.source_side();
        front.truncate(count as usize);
        // What each face costs on the front and on the back.
        let wrong: Vec<[f64; 2]> = look
            .iter()
            .zip(areas)
            .map(|(look, area)| [-look, *look].map(|away| away.max(0.0) * area / depth))
            .collect();
        let price = Price { surface, areas, wrong: &wrong };
        let flipped = price.join_islands(&mut front);
        let total: f64 = areas.iter().sum();
        let holes =
            surface.holes.iter().filter(|(_, hole)| hole.is_wrapped(&surface.topology, &front));
        let wrapped = holes.map(|(number, _)| *number).collect();
        Labels {
            direction: *direction,
            wrong: depth * price.undercut(&front) / total,
            border_cost: price.border(&front),
            flipped: flipped / total,
            front,
            wrapped,
        }
    }
}
