//! The skin of the rubber: the model's surface with its gate patches replaced by the board.
//!
//! Model and board count as one solid. Its surface is the model's surface without the gate
//! patches, closed by the board between their outlines. Two ways of writing that down were
//! weighed. Meshing the board between the outlines gives an ordinary closed surface, but needs the
//! outlines to be flat, simple and apart after projection, which a gate on a rounded or scanned
//! foot is not. So the board is kept abstract: every *region* of the board (a part of the plane
//! that the footprints leave free) is one node, and every edge that climbs from the outline of a
//! footprint to the first vertex above it starts at its region's node. Walking on the board then
//! costs nothing, which is what the knife pays there. What this loses, the classes of loops round
//! a single foot, is of no use for cutting: such a loop is a ring of rubber and bounds nothing in it.
//!
//! Outlines are traced through the faces that have corners both on and off the gate, so that
//! gates of single vertices, single edges or pinched patches are as good as fat ones.

use crate::mesh::{Point, Topology, TriangleMesh, Vector};

use super::outline::{Outline, outlines, plane_axes};
use crate::union_find::UnionFind;

const NONE: u32 = u32::MAX;

/// An edge of the skin.
#[derive(Clone, Copy, Debug)]
pub(super) struct SkinEdge {
    /// Nodes it runs between: mesh vertices, or a region of the board as the first of the two.
    pub nodes: [u32; 2],
    /// Mesh vertices it runs between; the first is a gate vertex where the first node is a region.
    pub ends: [u32; 2],
    /// Length, mm.
    pub length: f64,
}

/// The skin of the rubber as nodes, edges and faces.
#[derive(Clone, Debug)]
pub(super) struct Skin {
    /// Number of nodes: all vertices of the mesh (gate vertices have no edges), then the regions.
    pub node_count: usize,
    /// The first node that is a region; region 0 is the open board round all footprints.
    pub first_region: usize,
    /// Edges.
    pub edges: Vec<SkinEdge>,
    /// Edges of each face with whether the face runs along it forwards.
    pub faces: Vec<[(u32, bool); 3]>,
    /// For each edge the face on its left (that runs along it forwards) and on its right.
    pub edge_faces: Vec<[u32; 2]>,
    /// Patch of each gate vertex, `u32::MAX` elsewhere.
    pub patch_of: Vec<u32>,
    /// Number of patches of the gate.
    pub patch_count: usize,
    /// Rubber that is shut in between model and board: middle of the shut-in board and its area.
    pub pockets: Vec<Pocket>,
    /// Genus of the skin with every outline capped by itself.
    pub capped_genus: usize,
    start: Vec<u32>,
    around: Vec<u32>,
}

/// A part of the board that the model shuts in from all sides.
#[derive(Clone, Copy, Debug)]
pub(super) struct Pocket {
    pub centre: Point,
    pub area: f64,
}

impl Skin {
    /// The skin of a model without a gate: the mesh itself, edge for edge and face for face.
    pub fn of_model(mesh: &TriangleMesh, topology: &Topology) -> Self {
        Self::new(mesh, topology, &[], (Point::origin(), Vector::z()))
    }

    /// The skin of model and board. `gate` are vertices of the mesh, all in range.
    pub fn new(
        mesh: &TriangleMesh,
        topology: &Topology,
        gate: &[u32],
        board: (Point, Vector),
    ) -> Self {
        let vertex_count = mesh.positions.len();
        let on_gate = filled_gate(topology, vertex_count, gate);
        let (patch_of, patch_count) = patches(topology, &on_gate);
        let is_mixed = |e: usize| {
            topology.edge_vertices[e].iter().filter(|&&v| on_gate[v as usize]).count() == 1
        };

        // Edges that climb from one outline to the same vertex become one when the faces between
        // them lie on the gate's side.
        let mut same_edge = UnionFind::new(topology.edge_count());
        for (face, corners) in mesh.faces.iter().enumerate() {
            let gates = corners.iter().filter(|&&v| on_gate[v as usize]).count();
            let mixed: Vec<usize> = topology.face_edges[face]
                .iter()
                .map(|&e| e as usize)
                .filter(|&e| is_mixed(e))
                .collect();
            if let ([a, b], 2) = (&mixed[..], gates) {
                same_edge.join(*a, *b);
            }
        }

        let (outlines, outline_of) =
            outlines(mesh, topology, &is_mixed, &on_gate, (&patch_of, patch_count), board);
        let region_count = outlines.iter().map(|o| o.region as usize + 1).max().unwrap_or(0);

        let mut edges: Vec<SkinEdge> = Vec::with_capacity(topology.edge_count());
        let mut skin_edge = vec![NONE; topology.edge_count()];
        for e in 0..topology.edge_count() {
            let [a, b] = topology.edge_vertices[e];
            let length = (mesh.positions[a as usize] - mesh.positions[b as usize]).norm();
            match (on_gate[a as usize], on_gate[b as usize]) {
                (true, true) => {}
                (false, false) => {
                    skin_edge[e] = edges.len() as u32;
                    edges.push(SkinEdge { nodes: [a, b], ends: [a, b], length });
                }
                (a_on_gate, _) => {
                    let (foot, above) = if a_on_gate { (a, b) } else { (b, a) };
                    let root = same_edge.root(e);
                    let region = outlines[outline_of[e] as usize].region;
                    let edge = SkinEdge {
                        nodes: [vertex_count as u32 + region, above],
                        ends: [foot, above],
                        length,
                    };
                    if skin_edge[root] == NONE {
                        skin_edge[root] = edges.len() as u32;
                        edges.push(edge);
                    } else if edges[skin_edge[root] as usize].length > length {
                        edges[skin_edge[root] as usize] = edge;
                    }
                    skin_edge[e] = skin_edge[root];
                }
            }
        }

        let mut faces = Vec::with_capacity(mesh.faces.len());
        let mut edge_faces = vec![[NONE; 2]; edges.len()];
        for (face, corners) in mesh.faces.iter().enumerate() {
            if corners.iter().filter(|&&v| on_gate[v as usize]).count() > 1 {
                continue;
            }
            let mut sides = [(0, false); 3];
            for corner in 0..3 {
                let (from, to) = (corners[corner], corners[(corner + 1) % 3]);
                let edge = skin_edge[topology.face_edges[face][corner] as usize];
                let forward = if on_gate[from as usize] || on_gate[to as usize] {
                    on_gate[from as usize]
                } else {
                    from < to
                };
                sides[corner] = (edge, forward);
                edge_faces[edge as usize][usize::from(!forward)] = faces.len() as u32;
            }
            faces.push(sides);
        }

        let node_count = vertex_count + region_count;
        let (start, around) = adjacency(node_count, &edges);
        let mut skin = Self {
            node_count,
            first_region: vertex_count,
            edges,
            faces,
            edge_faces,
            patch_of,
            patch_count,
            pockets: Vec::new(),
            capped_genus: 0,
            start,
            around,
        };
        skin.count_parts(&outlines, board);
        skin
    }

    /// Edges at a node.
    pub fn edges_of(&self, node: u32) -> &[u32] {
        &self.around[self.start[node as usize] as usize..self.start[node as usize + 1] as usize]
    }

    /// Whether a node is a region of the board.
    pub fn is_region(&self, node: u32) -> bool {
        node as usize >= self.first_region
    }

    /// Whether a node has any edge.
    pub fn is_used(&self, node: u32) -> bool {
        !self.edges_of(node).is_empty()
    }

    /// Start and end node of an edge walked forwards or backwards.
    pub fn walk(&self, edge: u32, forward: bool) -> (u32, u32) {
        let [a, b] = self.edges[edge as usize].nodes;
        if forward { (a, b) } else { (b, a) }
    }

    /// Start and end mesh vertex of an edge walked forwards or backwards.
    pub fn walk_ends(&self, edge: u32, forward: bool) -> (u32, u32) {
        let [a, b] = self.edges[edge as usize].ends;
        if forward { (a, b) } else { (b, a) }
    }

    fn count_parts(&mut self, outlines: &[Outline], board: (Point, Vector)) {
        let face_count = self.faces.len();
        let regions = self.node_count - self.first_region;
        let mut capped = UnionFind::new(face_count);
        for sides in &self.edge_faces {
            if !sides.contains(&NONE) {
                capped.join(sides[0] as usize, sides[1] as usize);
            }
        }
        let mut joined = UnionFind::new(face_count + regions);
        for (face, sides) in self.faces.iter().enumerate() {
            joined.join(face, capped.root(face));
            for &(edge, _) in sides {
                let node = self.edges[edge as usize].nodes[0] as usize;
                if node >= self.first_region {
                    joined.join(face, face_count + node - self.first_region);
                }
            }
        }
        let parts = (0..face_count).filter(|&f| capped.root(f) == f).count() as i64;
        // Gate vertices are gone; each outline has its own cap with one vertex.
        let vertices = (0..self.first_region as u32).filter(|&v| self.is_used(v)).count() as i64;
        let characteristic =
            vertices + outlines.len() as i64 - self.edges.len() as i64 + face_count as i64;
        self.capped_genus = ((2 * parts - characteristic) / 2).max(0) as usize;

        if regions == 0 {
            return;
        }
        let outside = joined.root(face_count);
        for region in 1..regions {
            if joined.root(face_count + region) != outside {
                // The region's own outline is the inner one that opened it.
                let Some(hole) = outlines
                    .iter()
                    .filter(|o| o.region as usize == region)
                    .max_by(|a, b| a.area.total_cmp(&b.area))
                else {
                    continue;
                };
                let (x, y) = plane_axes(board.1);
                let n = hole.polygon.len() as f64;
                let (sx, sy) =
                    hole.polygon.iter().fold((0.0, 0.0), |(a, b), p| (a + p[0], b + p[1]));
                self.pockets.push(Pocket {
                    centre: board.0 + x * (sx / n) + y * (sy / n),
                    area: hole.area,
                });
            }
        }
    }
}

/// The gate with every vertex that it surrounds on all sides added.
fn filled_gate(topology: &Topology, vertex_count: usize, gate: &[u32]) -> Vec<bool> {
    use crate::mesh::{EdgeId, VertexId};
    let mut on_gate = vec![false; vertex_count];
    for &v in gate {
        on_gate[v as usize] = true;
    }
    if gate.is_empty() {
        return on_gate;
    }
    loop {
        let lone: Vec<usize> = (0..vertex_count)
            .filter(|&v| {
                let id = VertexId(v as u32);
                let edges = topology.edges_of(id);
                !on_gate[v]
                    && !edges.is_empty()
                    && edges.iter().all(|&e| on_gate[topology.other_end(EdgeId(e), id).index()])
            })
            .collect();
        if lone.is_empty() {
            return on_gate;
        }
        for v in lone {
            on_gate[v] = true;
        }
    }
}

fn patches(topology: &Topology, on_gate: &[bool]) -> (Vec<u32>, usize) {
    let mut joined = UnionFind::new(on_gate.len());
    for &[a, b] in &topology.edge_vertices {
        if on_gate[a as usize] && on_gate[b as usize] {
            joined.join(a as usize, b as usize);
        }
    }
    let mut patch_of = vec![NONE; on_gate.len()];
    let mut number = vec![NONE; on_gate.len()];
    let mut count = 0;
    for v in 0..on_gate.len() {
        if on_gate[v] {
            let root = joined.root(v);
            if number[root] == NONE {
                number[root] = count;
                count += 1;
            }
            patch_of[v] = number[root];
        }
    }
    (patch_of, count as usize)
}

fn adjacency(node_count: usize, edges: &[SkinEdge]) -> (Vec<u32>, Vec<u32>) {
    let mut start = vec![0u32; node_count + 1];
    for edge in edges {
        for node in edge.nodes {
            start[node as usize + 1] += 1;
        }
    }
    for node in 0..node_count {
        start[node + 1] += start[node];
    }
    let mut fill = start.clone();
    let mut around = vec![0; edges.len() * 2];
    for (index, edge) in edges.iter().enumerate() {
        for node in edge.nodes {
            around[fill[node as usize] as usize] = index as u32;
            fill[node as usize] += 1;
        }
    }
    (start, around)
}
