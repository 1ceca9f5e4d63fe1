//! The planning graph: vertices of the planning mesh, joined along edges and across edge pairs.
//!
//! Two metrics live on its edges:
//! - `length`, what a cut along the edge costs (mm);
//! - `reach`, what a ring that crosses the edge gains (mm of stretched ring). Summed over the
//!   edges that leave a vertex set it approximates the stretched length of the set's outline.
//!
//! The weights follow the Cauchy-Crofton formula as used for graph cuts by Boykov, Y. and
//! Kolmogorov, V. (2003), "Computing geodesics and minimal surfaces via graph cuts", ICCV: an
//! edge of length l that stands for an angle d-phi among the directions and for an area a per
//! edge of its family weighs a d-phi / (2 l). With edges and cross-edges there are six families
//! 30 degrees apart on a regular triangulation. A straight line at the angle t to one of them then
//! measures pi / 12 times the sum of |sin (t - k pi / 6)| over the six, times its length: from 0.977
//! along a family to 1.012 half way between two. Edges alone, three families, give pi / 6 times the
//! sum of |sin (t - k pi / 3)|: 0.907 to 1.047.

use crate::mesh::{Point, Topology, TopologyError, TriangleMesh, Vector, VertexId};

/// One edge of the planning graph.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GraphEdge {
    /// End vertices.
    pub ends: [u32; 2],
    /// Length along the surface, mm.
    pub length: f64,
    /// Stretched ring length gained by crossing it, mm.
    pub reach: f64,
    /// Cost of a cut along it, mm: length times weights.
    pub cost: f64,
    /// The mesh edge it runs along, or the one it runs across.
    pub mesh_edge: u32,
    /// Whether it runs across a mesh edge rather than along one.
    pub across: bool,
}

/// The planning graph cannot be built.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum GraphError {
    /// The planning mesh is not closed and oriented.
    #[error("planning mesh: {0}")]
    Topology(#[from] TopologyError),
    /// The gate holds no vertex of the planning mesh.
    #[error(
        "the gate covers no vertex of the planning mesh (edge {edge:.2} mm): enlarge the gate's radius or ask for a finer planning edge"
    )]
    NoGate {
        /// Mean edge length, mm.
        edge: f64,
    },
    /// The gate covers everything.
    #[error("the gate covers the whole model: nothing is left to release")]
    AllGate,
}

/// The planning graph of a closed model with a gate.
#[derive(Clone, Debug)]
pub struct PlanningGraph {
    /// The planning mesh.
    pub mesh: TriangleMesh,
    /// Its connectivity.
    pub topology: Topology,
    /// Edges along and across mesh edges.
    pub edges: Vec<GraphEdge>,
    /// Whether a vertex belongs to the gate.
    pub is_gate: Vec<bool>,
    /// Strain allowed of rubber at each vertex.
    pub allowed_strain: Vec<f64>,
    /// Factor on the length of a cut at each vertex; infinite where no cut may run.
    pub cost_weight: Vec<f64>,
    /// How many of the mesh's faces, the first ones, are the model's; the rest are discs that fill its
    /// holes.
    pub model_faces: usize,
    /// Edges along those of discs, rims with them. The rubber is cut there, and no other cut may be.
    pub discs: Vec<u32>,
    mean_edge: f64,
    starts: Vec<u32>,
    incident: Vec<(u32, u32)>,
}

impl PlanningGraph {
    /// Build the graph.
    ///
    /// `allowed_strain` and `cost_weight` hold one value a vertex: the engineering strain allowed
    /// there, and the factor on the length of a cut: 1 where nothing weighs on it, infinite where no
    /// cut may run. An edge is forbidden where either end is, or an end of the mesh edge it crosses.
    pub fn new(
        mesh: TriangleMesh,
        is_gate: Vec<bool>,
        allowed_strain: Vec<f64>,
        cost_weight: &[f64],
    ) -> Result<Self, GraphError> {
        let topology = Topology::new(&mesh)?;
        let mut edges = Vec::with_capacity(topology.edge_count() * 2);
        for edge in 0..topology.edge_count() {
            push_edge_pair(&mesh, &topology, edge as u32, &mut edges);
        }
        for edge in &mut edges {
            let mean =
                |values: &[f64]| edge.ends.iter().map(|&v| values[v as usize]).sum::<f64>() / 2.0;
            edge.reach *= 1.0 + mean(&allowed_strain);
            edge.cost = edge.length * mean(cost_weight);
            let beside = topology.edge_vertices[edge.mesh_edge as usize];
            if edge.across && beside.iter().any(|&v| cost_weight[v as usize].is_infinite()) {
                edge.cost = f64::INFINITY;
            }
        }
        let mean_edge = edges.iter().filter(|e| !e.across).map(|e| e.length).sum::<f64>()
            / topology.edge_count().max(1) as f64;
        if !is_gate.contains(&true) {
            return Err(GraphError::NoGate { edge: mean_edge });
        }
        if !is_gate.contains(&false) {
            return Err(GraphError::AllGate);
        }
        let mut starts = vec![0u32; mesh.positions.len() + 1];
        for edge in &edges {
            for v in edge.ends {
                starts[v as usize + 1] += 1;
            }
        }
        for v in 0..mesh.positions.len() {
            starts[v + 1] += starts[v];
        }
        let mut fill = starts.clone();
        let mut incident = vec![(0, 0); edges.len() * 2];
        for (index, edge) in edges.iter().enumerate() {
            for (from, to) in [(edge.ends[0], edge.ends[1]), (edge.ends[1], edge.ends[0])] {
                incident[fill[from as usize] as usize] = (index as u32, to);
                fill[from as usize] += 1;
            }
        }
        let cost_weight = cost_weight.to_vec();
        Ok(Self {
            model_faces: mesh.faces.len(),
            discs: Vec::new(),
            mesh,
            topology,
            edges,
            is_gate,
            allowed_strain,
            cost_weight,
            mean_edge,
            starts,
            incident,
        })
    }

    /// The graph of a mesh whose faces from number `model_faces` on are discs that fill the model's holes.
    /// No cut may run along or over them, nor along their rims.
    pub fn with_discs(mut self, model_faces: usize) -> Self {
        self.model_faces = model_faces;
        for index in 0..self.edges.len() {
            let edge = self.edges[index];
            if self.is_of_disc(&edge) {
                self.edges[index].cost = f64::INFINITY;
                if !edge.across {
                    self.discs.push(index as u32);
                }
            }
        }
        self
    }

    /// Whether an edge runs along or across a disc's, one of its rim with them.
    pub fn is_of_disc(&self, edge: &GraphEdge) -> bool {
        let faces = self.topology.edge_faces[edge.mesh_edge as usize];
        faces.iter().any(|&f| f as usize >= self.model_faces)
    }

    /// Whether each vertex lies on a disc or its rim.
    pub fn on_discs(&self) -> Vec<bool> {
        let corners = self.mesh.faces[self.model_faces..].iter().flatten();
        self.membership(&corners.copied().collect::<Vec<u32>>())
    }

    /// Number of vertices.
    pub fn vertex_count(&self) -> usize {
        self.is_gate.len()
    }

    /// Graph edges at a vertex, each with its other end.
    pub fn incident(&self, vertex: u32) -> &[(u32, u32)] {
        let v = vertex as usize;
        &self.incident[self.starts[v] as usize..self.starts[v + 1] as usize]
    }

    /// Neighbours of a vertex along mesh edges.
    pub fn mesh_neighbours(&self, vertex: u32) -> impl Iterator<Item = u32> + '_ {
        self.topology.edges_of(VertexId(vertex)).iter().map(move |&e| {
            let [a, b] = self.topology.edge_vertices[e as usize];
            if a == vertex { b } else { a }
        })
    }

    /// The cheapest graph edge between two vertices, if they are joined.
    pub fn edge_between(&self, a: u32, b: u32) -> Option<u32> {
        self.incident(a)
            .iter()
            .filter(|&&(_, to)| to == b)
            .map(|&(edge, _)| edge)
            .min_by(|&x, &y| self.edges[x as usize].cost.total_cmp(&self.edges[y as usize].cost))
    }

    /// The edge along the mesh edge between two vertices, if there is one.
    pub fn edge_along(&self, a: u32, b: u32) -> Option<u32> {
        let mut incident = self.incident(a).iter();
        incident.find(|&&(e, to)| to == b && !self.edges[e as usize].across).map(|&(e, _)| e)
    }

    /// Stretched and relaxed length (mm) of the ring that crosses the given edges.
    pub fn ring_length(&self, outline: &[u32]) -> (f64, f64) {
        outline.iter().fold((0.0, 0.0), |(reach, relaxed), &e| {
            let edge = &self.edges[e as usize];
            (reach + edge.reach, relaxed + edge.reach / (1.0 + self.edge_strain(e)))
        })
    }

    /// Strain allowed at the middle of an edge.
    pub fn edge_strain(&self, edge: u32) -> f64 {
        let ends = self.edges[edge as usize].ends;
        0.5 * ends.iter().map(|&v| self.allowed_strain[v as usize]).sum::<f64>()
    }

    /// Edges that leave a vertex set given by membership.
    pub fn outline(&self, inside: &[bool]) -> Vec<u32> {
        (0..self.edges.len() as u32)
            .filter(|&e| {
                let [a, b] = self.edges[e as usize].ends;
                inside[a as usize] != inside[b as usize]
            })
            .collect()
    }

    /// Whether each vertex is in a list.
    pub fn membership(&self, vertices: &[u32]) -> Vec<bool> {
        let mut member = vec![false; self.vertex_count()];
        for &v in vertices {
            member[v as usize] = true;
        }
        member
    }

    /// Middle of some vertices.
    pub fn middle(&self, vertices: impl IntoIterator<Item = u32>) -> Point {
        let (mut sum, mut count) = (Vector::zeros(), 0usize);
        for vertex in vertices {
            sum += self.mesh.positions[vertex as usize].coords;
            count += 1;
        }
        Point::from(sum / count.max(1) as f64)
    }

    /// Middle of a ring, given by the edges that cross it.
    pub fn middle_of_ring(&self, outline: &[u32]) -> Point {
        self.middle(outline.iter().map(|&e| self.edges[e as usize].ends[0]))
    }

    /// Mean length of the mesh edges, mm.
    pub fn mean_edge(&self) -> f64 {
        self.mean_edge
    }
}

/// The edge itself, and the segment between the corners that face it where that segment, with the
/// two faces unfolded flat, stays inside them.
fn push_edge_pair(mesh: &TriangleMesh, topology: &Topology, edge: u32, edges: &mut Vec<GraphEdge>) {
    let [a, b] = topology.edge_vertices[edge as usize];
    let [left, right] = topology.edge_faces[edge as usize];
    let area = (mesh.face_area(crate::mesh::FaceId(left))
        + mesh.face_area(crate::mesh::FaceId(right)))
        / 3.0;
    let (pa, pb) = (mesh.positions[a as usize], mesh.positions[b as usize]);
    let length = (pb - pa).norm();
    // Six families, 30 degrees apart; a family has one edge a vertex, and a vertex owns three
    // times the area of an edge.
    let weight = |l: f64| std::f64::consts::PI / 6.0 * 3.0 * area / (2.0 * l.max(1e-12));
    edges.push(GraphEdge {
        ends: [a, b],
        length,
        reach: weight(length),
        cost: length,
        mesh_edge: edge,
        across: false,
    });
    let [c, d] = [left, right].map(|f| {
        topology.opposite_corner(mesh, crate::mesh::EdgeId(edge), crate::mesh::FaceId(f)).0
    });
    if c == d {
        return;
    }
    // Unfold: a at the origin, b on the x axis, c above, d below.
    let axis = (pb - pa) / length.max(1e-12);
    let flat = |v: u32| {
        let offset = mesh.positions[v as usize] - pa;
        let x = offset.dot(&axis);
        (x, (offset - axis * x).norm())
    };
    let ((cx, cy), (dx, dy)) = (flat(c), flat(d));
    let crossing = cx + (dx - cx) * cy / (cy + dy).max(1e-12);
    if crossing <= 0.02 * length || crossing >= 0.98 * length {
        return;
    }
    let across = ((dx - cx).powi(2) + (cy + dy).powi(2)).sqrt();
    edges.push(GraphEdge {
        ends: [c, d],
        length: across,
        reach: weight(across),
        cost: across,
        mesh_edge: edge,
        across: true,
    });
}

#[cfg(test)]
mod tests;
