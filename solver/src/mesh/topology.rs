//! Who touches whom on a closed, oriented triangle mesh.

use std::collections::HashMap;

use super::{FaceId, TriangleMesh, VertexId};

/// Index of an undirected edge.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct EdgeId(pub u32);

impl EdgeId {
    /// As an index into a slice.
    pub fn index(self) -> usize {
        self.0 as usize
    }
}

/// The mesh is not a closed oriented surface.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum TopologyError {
    /// An edge has one face only.
    #[error("edge between vertices {0} and {1} has one face only: the mesh is open there")]
    Open(u32, u32),
    /// More than two faces meet at an edge, or two run along it in the same direction.
    #[error(
        "edge between vertices {0} and {1} joins faces that do not agree: more than two faces, or opposite orientations"
    )]
    NotManifold(u32, u32),
    /// A face names a vertex that does not exist, or one vertex twice.
    #[error("face {0} is degenerate or names a vertex that does not exist")]
    BadFace(u32),
}

/// Edges, their faces and the edges round each vertex of a closed oriented mesh.
#[derive(Clone, Debug)]
pub struct Topology {
    /// End vertices of each edge, lower index first.
    pub edge_vertices: Vec<[u32; 2]>,
    /// The two faces of each edge: first the one that runs from the lower to the higher vertex.
    pub edge_faces: Vec<[u32; 2]>,
    /// The edges of each face: entry `k` runs from corner `k` to corner `k + 1`.
    pub face_edges: Vec<[u32; 3]>,
    vertex_edges_start: Vec<u32>,
    vertex_edges: Vec<u32>,
}

impl Topology {
    /// Build from a closed, oriented mesh.
    pub fn new(mesh: &TriangleMesh) -> Result<Self, TopologyError> {
        const NONE: u32 = u32::MAX;
        let vertex_count = mesh.positions.len() as u32;
        let mut lookup: HashMap<[u32; 2], u32> = HashMap::with_capacity(mesh.faces.len() * 3 / 2);
        let mut edge_vertices = Vec::with_capacity(mesh.faces.len() * 3 / 2);
        let mut edge_faces: Vec<[u32; 2]> = Vec::with_capacity(mesh.faces.len() * 3 / 2);
        let mut face_edges = Vec::with_capacity(mesh.faces.len());
        for (index, face) in mesh.faces.iter().enumerate() {
            let index = index as u32;
            if face.iter().any(|&v| v >= vertex_count)
                || face[0] == face[1]
                || face[1] == face[2]
                || face[2] == face[0]
            {
                return Err(TopologyError::BadFace(index));
            }
            let mut edges = [0; 3];
            for corner in 0..3 {
                let (from, to) = (face[corner], face[(corner + 1) % 3]);
                let key = [from.min(to), from.max(to)];
                let edge = *lookup.entry(key).or_insert_with(|| {
                    edge_vertices.push(key);
                    edge_faces.push([NONE; 2]);
                    edge_vertices.len() as u32 - 1
                });
                let side = usize::from(from > to);
                let slot = &mut edge_faces[edge as usize][side];
                if *slot != NONE {
                    return Err(TopologyError::NotManifold(key[0], key[1]));
                }
                *slot = index;
                edges[corner] = edge;
            }
            face_edges.push(edges);
        }
        for (faces, ends) in edge_faces.iter().zip(&edge_vertices) {
            if faces.contains(&NONE) {
                return Err(TopologyError::Open(ends[0], ends[1]));
            }
        }
        let mut start = vec![0u32; vertex_count as usize + 1];
        for ends in &edge_vertices {
            for &v in ends {
                start[v as usize + 1] += 1;
            }
        }
        for v in 0..vertex_count as usize {
            start[v + 1] += start[v];
        }
        let mut fill = start.clone();
        let mut vertex_edges = vec![0u32; edge_vertices.len() * 2];
        for (edge, ends) in edge_vertices.iter().enumerate() {
            for &v in ends {
                vertex_edges[fill[v as usize] as usize] = edge as u32;
                fill[v as usize] += 1;
            }
        }
        Ok(Self { edge_vertices, edge_faces, face_edges, vertex_edges_start: start, vertex_edges })
    }
    /// Number of edges.
    pub fn edge_count(&self) -> usize {
        self.edge_vertices.len()
    }
    /// Edges that end at a vertex, in no particular order.
    pub fn edges_of(&self, vertex: VertexId) -> &[u32] {
        let v = vertex.index();
        &self.vertex_edges
            [self.vertex_edges_start[v] as usize..self.vertex_edges_start[v + 1] as usize]
    }
    /// The other end of an edge.
    pub fn other_end(&self, edge: EdgeId, vertex: VertexId) -> VertexId {
        let [a, b] = self.edge_vertices[edge.index()];
        VertexId(if a == vertex.0 { b } else { a })
    }
    /// The corner of `face` that is not on `edge`.
    pub fn opposite_corner(&self, mesh: &TriangleMesh, edge: EdgeId, face: FaceId) -> VertexId {
        let ends = self.edge_vertices[edge.index()];
        let corner = mesh.faces[face.index()]
            .iter()
            .copied()
            .find(|v| !ends.contains(v))
            .expect("an edge's face has a third corner");
        VertexId(corner)
    }
    /// Euler's characteristic V - E + F, counting only vertices that have a face.
    pub fn euler_characteristic(&self) -> i64 {
        let used = self.vertex_edges_start.windows(2).filter(|w| w[1] > w[0]).count() as i64;
        used - self.edge_vertices.len() as i64 + self.face_edges.len() as i64
    }
    /// Connected body of each face and the number of bodies.
    pub fn bodies(&self) -> (Vec<u32>, u32) {
        const NONE: u32 = u32::MAX;
        let mut body = vec![NONE; self.face_edges.len()];
        let mut count = 0;
        let mut stack = Vec::new();
        for seed in 0..body.len() {
            if body[seed] != NONE {
                continue;
            }
            body[seed] = count;
            stack.push(seed);
            while let Some(face) = stack.pop() {
                for &edge in &self.face_edges[face] {
                    for &next in &self.edge_faces[edge as usize] {
                        if body[next as usize] == NONE {
                            body[next as usize] = count;
                            stack.push(next as usize);
                        }
                    }
                }
            }
            count += 1;
        }
        (body, count)
    }
}
