//! Which lines on the surface bound, and into what parts cuts divide it.
//!
//! The gate counts as open: lines may begin and end on it, and what lies on either side of it is not
//! joined by it.

use crate::girth::PlanningGraph;

/// No colour yet.
const NONE: u8 = u8::MAX;

/// Whether edges, an edge named twice counting for nothing, are all of the border between two sets of
/// faces: then the loops that they make bound on the surface, modulo 2 and up to the gate.
pub(super) fn bounds(graph: &PlanningGraph, edges: &[u32]) -> bool {
    let mut changes = vec![false; graph.topology.edge_count()];
    for &edge in edges {
        let along = &mut changes[graph.edges[edge as usize].mesh_edge as usize];
        *along = !*along;
    }
    let mut colour = vec![NONE; graph.mesh.faces.len()];
    for start in 0..colour.len() {
        if colour[start] != NONE || is_open(graph, start) {
            continue;
        }
        colour[start] = 0;
        let mut stack = vec![start];
        while let Some(face) = stack.pop() {
            for (edge, next) in neighbours(graph, face) {
                let expected = colour[face] ^ u8::from(changes[edge]);
                if is_open(graph, next) {
                    continue;
                }
                if colour[next] == NONE {
                    colour[next] = expected;
                    stack.push(next);
                } else if colour[next] != expected {
                    return false;
                }
            }
        }
    }
    true
}

/// Faces of each part that cuts divide the surface into, largest area first.
pub(super) fn parts(graph: &PlanningGraph, edges: &[u32]) -> Vec<Vec<usize>> {
    let mut is_cut = vec![false; graph.topology.edge_count()];
    for &edge in edges {
        is_cut[graph.edges[edge as usize].mesh_edge as usize] = true;
    }
    let mut seen = vec![false; graph.mesh.faces.len()];
    let mut parts = Vec::new();
    for start in 0..seen.len() {
        if seen[start] || is_open(graph, start) {
            continue;
        }
        seen[start] = true;
        let mut part = vec![start];
        let mut next = 0;
        while let Some(&face) = part.get(next) {
            next += 1;
            for (edge, beside) in neighbours(graph, face) {
                if !is_cut[edge] && !seen[beside] && !is_open(graph, beside) {
                    seen[beside] = true;
                    part.push(beside);
                }
            }
        }
        parts.push(part);
    }
    let area = |part: &Vec<usize>| -> f64 {
        part.iter().map(|&f| graph.mesh.face_area(crate::mesh::FaceId(f as u32))).sum()
    };
    parts.sort_by(|a, b| area(b).total_cmp(&area(a)));
    parts
}

/// Whether a face lies in the gate.
fn is_open(graph: &PlanningGraph, face: usize) -> bool {
    graph.mesh.faces[face].iter().all(|&v| graph.is_gate[v as usize])
}

/// Edges of a face, each with the face beyond it.
fn neighbours(graph: &PlanningGraph, face: usize) -> impl Iterator<Item = (usize, usize)> + '_ {
    graph.topology.face_edges[face].iter().map(move |&edge| {
        let [a, b] = graph.topology.edge_faces[edge as usize];
        let beyond = if a as usize == face { b } else { a };
        (edge as usize, beyond as usize)
    })
}
