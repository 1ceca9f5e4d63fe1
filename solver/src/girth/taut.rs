//! The length of a ring pulled taut.
//!
//! The planning graph knows a ring as the outline of a vertex set, and its length within a few
//! per cent. Near the end of a cut that is too kind: the outline goes round the end at a
//! distance, where a real ring of rubber bends sharply round it. Here the ring is a curve that
//! runs through the faces along the outline and is pulled straight, over any vertex that is
//! neither cut nor gate.

use super::PlanningGraph;
use crate::mesh::{CurvePoint, EdgeId, Strip, VertexId, curve_length};

/// A ring pulled taut.
#[derive(Clone, Debug)]
pub struct TautRing {
    /// Relaxed length, mm.
    pub length: f64,
    /// Whether each vertex lies beyond it: the ring may have slid over some.
    pub beyond: Vec<bool>,
    /// Whether it rests on anything that is cut or gate. A ring that does not has slid along the
    /// model, as a sweep would, and tells nothing new.
    pub is_held: bool,
}

/// Most times a ring is opened at another place and pulled again.
const PULLS: usize = 12;

/// Pull the outline of `beyond` taut. `held` tells the vertices it may not pass over. None where
/// the outline is not one closed curve.
pub fn taut_ring(graph: &PlanningGraph, beyond: &[bool], held: &[bool]) -> Option<TautRing> {
    let edges = &graph.topology.edge_vertices;
    let crossed = |e: u32| {
        let [a, b] = edges[e as usize];
        beyond[a as usize] != beyond[b as usize]
    };
    let all: Vec<u32> = (0..edges.len() as u32).filter(|&e| crossed(e)).collect();
    let first = *all.first()?;
    // Each face on the way has exactly two crossed edges: enter by one, leave by the other.
    let mut faces = Vec::with_capacity(all.len());
    let (mut edge, mut face) = (first, graph.topology.edge_faces[first as usize][0]);
    loop {
        faces.push(face);
        edge = graph.topology.face_edges[face as usize]
            .iter()
            .copied()
            .find(|&e| e != edge && crossed(e))?;
        let [a, b] = graph.topology.edge_faces[edge as usize];
        face = if a == face { b } else { a };
        if edge == first {
            break;
        }
        if faces.len() > all.len() {
            return None;
        }
    }
    if faces.len() != all.len() {
        // More rings than one.
        return None;
    }
    let [a, b] = edges[first as usize].map(|v| graph.mesh.positions[v as usize]);
    let start = CurvePoint { point: nalgebra::center(&a, &b), face: faces[0], vertex: None };
    let mut points = Strip::new(&graph.mesh, &graph.topology, faces, start, start)
        .holding(held)
        .straighten_with_faces();
    let mut length = curve_length(&points.0);
    for _ in 0..PULLS {
        let Some(turned) = reopened(graph, &points, held) else { break };
        let other = turned.straighten_with_faces();
        let other_length = curve_length(&other.0);
        let gained = length - other_length;
        if gained > 0.0 {
            length = other_length;
            points = other;
        }
        if gained < 1e-4 * length {
            break;
        }
    }
    let is_held = points.0.iter().any(|p| p.vertex.is_some_and(|v| held[v as usize]));
    Some(TautRing { length, beyond: beyond_strip(graph, &points.1)?, is_held })
}

/// What the gate cannot reach without crossing a closed strip. None where the strip has come apart
/// or holds the gate.
fn beyond_strip(graph: &PlanningGraph, faces: &[u32]) -> Option<Vec<bool>> {
    let mut wall = vec![false; graph.topology.edge_count()];
    for k in 0..faces.len() {
        let (here, next) = (faces[k], faces[(k + 1) % faces.len()]);
        let shared = graph.topology.face_edges[here as usize]
            .iter()
            .copied()
            .find(|e| graph.topology.face_edges[next as usize].contains(e))?;
        wall[shared as usize] = true;
    }
    let mut beyond = vec![true; graph.vertex_count()];
    let mut stack: Vec<u32> =
        (0..graph.vertex_count() as u32).filter(|&v| graph.is_gate[v as usize]).collect();
    for &v in &stack {
        beyond[v as usize] = false;
    }
    while let Some(v) = stack.pop() {
        for &edge in graph.topology.edges_of(VertexId(v)) {
            let to = graph.topology.other_end(EdgeId(edge), VertexId(v)).0;
            if !wall[edge as usize] && beyond[to as usize] {
                beyond[to as usize] = false;
                stack.push(to);
            }
        }
    }
    beyond.contains(&true).then_some(beyond)
}

/// The closed strip opened half way round, at a point on the edge between two of its faces.
fn reopened<'a>(
    graph: &'a PlanningGraph,
    (points, faces): &(Vec<CurvePoint>, Vec<u32>),
    held: &'a [bool],
) -> Option<Strip<'a>> {
    let half = faces.len() / 2;
    if half == 0 || faces.len() < 4 {
        return None;
    }
    let (before, after) = (faces[half - 1], faces[half]);
    let shared = graph.topology.face_edges[before as usize]
        .iter()
        .copied()
        .find(|e| graph.topology.face_edges[after as usize].contains(e))?;
    let ends = graph.topology.edge_vertices[shared as usize];
    let [a, b] = ends.map(|v| graph.mesh.positions[v as usize]);
    // Where the curve crosses that edge: the curve point nearest to it.
    let along = (b - a) / (b - a).norm().max(1e-12);
    let on_edge = |p: &CurvePoint| {
        let t = (p.point - a).dot(&along).clamp(0.0, (b - a).norm());
        a + along * t
    };
    let crossing = points
        .iter()
        .map(|p| {
            let q = on_edge(p);
            ((p.point - q).norm(), q)
        })
        .min_by(|x, y| x.0.total_cmp(&y.0))?
        .1;
    // An end point may not sit on a vertex: it would hold the curve there for good.
    let length = (b - a).norm();
    let t = (crossing - a).dot(&along).clamp(0.02 * length, 0.98 * length);
    let start = CurvePoint { point: a + along * t, face: after, vertex: None };
    let mut turned = faces[half..].to_vec();
    turned.extend_from_slice(&faces[..half]);
    Some(Strip::new(&graph.mesh, &graph.topology, turned, start, start).holding(held))
}

#[cfg(test)]
mod tests {
    use std::f64::consts::{PI, TAU};

    use super::*;
    use crate::mesh::fixtures::cylinder;
    use crate::mesh::{Point, planning_mesh};

    const RADIUS: f64 = 20.0;

    fn rod() -> PlanningGraph {
        let mesh = planning_mesh(&cylinder(RADIUS, 80.0, 96), 3.0).expect("remeshed");
        let gate = mesh.positions.iter().map(|p| p.z < 0.05).collect();
        let n = mesh.positions.len();
        PlanningGraph::new(mesh, gate, vec![0.0; n], &vec![1.0; n]).expect("a graph")
    }

    fn region(graph: &PlanningGraph, holds: impl Fn(&Point) -> bool) -> Vec<bool> {
        graph.mesh.positions.iter().map(holds).collect()
    }

    /// However wavy the outline, a ring round a rod is pulled down to the rod's circle.
    #[test]
    fn a_ring_round_a_rod_becomes_its_circle() {
        let graph = rod();
        let beyond = region(&graph, |p| p.z > 40.0 + 8.0 * (3.0 * p.y.atan2(p.x)).sin());
        let ring = taut_ring(&graph, &beyond, &graph.is_gate).expect("one ring");
        assert!((ring.length / (TAU * RADIUS) - 1.0).abs() < 0.01, "{} mm", ring.length);
        assert!(!ring.is_held);
    }

    /// A ring that has to pass above one pin and below another, half way round: two straight lines
    /// on the unrolled rod.
    #[test]
    fn a_ring_held_by_two_pins_is_two_straight_lines() {
        let graph = rod();
        let nearest = |at: Point| {
            let far = |v: &usize| (graph.mesh.positions[*v] - at).norm();
            let all = 0..graph.vertex_count();
            all.min_by(|a, b| far(a).total_cmp(&far(b))).expect("vertices")
        };
        let (low, high) =
            (nearest(Point::new(RADIUS, 0.0, 50.0)), nearest(Point::new(-RADIUS, 0.0, 30.0)));
        let mut held = graph.is_gate.clone();
        held[low] = true;
        held[high] = true;
        // Above the first pin, below the second.
        let mut beyond = region(&graph, |p| p.z > 40.0 + 12.0 * p.x / RADIUS);
        beyond[low] = false;
        beyond[high] = true;
        let ring = taut_ring(&graph, &beyond, &held).expect("one ring");
        let [a, b] = [low, high].map(|v| graph.mesh.positions[v]);
        let turn = (a.y.atan2(a.x) - b.y.atan2(b.x)).rem_euclid(TAU);
        let exact: f64 = [turn, TAU - turn].iter().map(|t| (RADIUS * t).hypot(a.z - b.z)).sum();
        assert!(exact > 2.0 * PI * RADIUS * 1.03, "the pins bend it");
        assert!((ring.length / exact - 1.0).abs() < 0.01, "{} for {exact}", ring.length);
        assert!(ring.is_held && ring.beyond[high] && !ring.beyond[low]);
    }
}
