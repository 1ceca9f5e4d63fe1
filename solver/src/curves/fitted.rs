//! The planning mesh fitted to cut curves, so that rings can be looked for round the curves as
//! they really run.
//!
//! Beside each curve a way along mesh edges is found, and its vertices are moved onto the curve:
//! by half an edge or so, which leaves the faces in shape. The ends of the curve become vertices.
//! Vertices keep their numbers, so rings and targets found before can be looked at again.

use super::path::{CutCurve, CutCurves};
use crate::bridges::fill::{Filled, HolePath};
use crate::girth::PlanningGraph;
use crate::girth::paths::ways;
use crate::mesh::{CurvePoint, FaceId, Point, TriangleMesh, nearest_on_polyline};

/// A planning graph whose mesh edges run along the cut curves.
#[derive(Clone, Debug)]
pub(super) struct Fitted {
    pub graph: PlanningGraph,
    /// One value an edge: 1 where cut.
    pub cut: Vec<f64>,
    /// The way of each chain along mesh edges, as pairs of vertices, in the order of the curves.
    pub ways: Vec<Vec<[u32; 2]>>,
}

/// Fit the mesh of a graph to curves. None where a curve cannot be followed along edges.
pub(super) fn fit(graph: &PlanningGraph, curves: &[&CutCurves]) -> Option<Fitted> {
    let mut mesh = graph.mesh.clone();
    // Discs stay where they are, and with them their rims.
    let mut fixed: Vec<bool> =
        graph.on_discs().iter().zip(&graph.is_gate).map(|(disc, gate)| *disc || *gate).collect();
    let mut ways: Vec<Vec<[u32; 2]>> = Vec::new();
    let chains = || curves.iter().flat_map(|c| &c.chains);
    // Where chains meet, and where they start at the gate, is a vertex already.
    for chain in chains() {
        for point in [chain.points.first()?, chain.points.last()?] {
            if let Some(vertex) = point.vertex {
                fixed[vertex as usize] = true;
            }
        }
    }
    for chain in chains() {
        let mut steps = Vec::new();
        for piece in pieces(chain) {
            let from = end_vertex(graph, &mut mesh, &mut fixed, piece.first()?);
            let to = end_vertex(graph, &mut mesh, &mut fixed, piece.last()?);
            if from == to {
                continue;
            }
            let line: Vec<Point> = piece.iter().map(|p| p.point).collect();
            let way = way_beside(graph, &line, from, to)?;
            for &v in &way[1..way.len() - 1] {
                if !fixed[v as usize] {
                    fixed[v as usize] = true;
                    mesh.positions[v as usize] =
                        nearest_on_polyline(&line, &graph.mesh.positions[v as usize]).1;
                }
            }
            steps.extend(way.windows(2).map(|w| [w[0], w[1]]));
        }
        ways.push(steps);
    }
    undo_folds(&graph.mesh, &mut mesh);
    let weight = vec![1.0; graph.vertex_count()];
    let fitted =
        PlanningGraph::new(mesh, graph.is_gate.clone(), graph.allowed_strain.clone(), &weight)
            .ok()?
            .with_discs(graph.model_faces);
    let mut cut = vec![0.0; fitted.edges.len()];
    for &[a, b] in ways.iter().flatten() {
        cut[fitted.edge_along(a, b)? as usize] = 1.0;
    }
    Some(Fitted { graph: fitted, cut, ways })
}

impl Fitted {
    /// The same with the holes filled whose rims are the ways after the first `lines`: rings are then led over
    /// the faces of their cuts. Rims that meet each other, or that no disc can be drawn on, stay cuts.
    /// `strain` tells the strain allowed at each vertex of a mesh.
    pub fn with_filled_holes(
        self,
        lines: usize,
        strain: &dyn Fn(&TriangleMesh) -> Option<Vec<f64>>,
    ) -> Option<Self> {
        if self.ways.len() == lines {
            return Some(self);
        }
        let Self { graph, ways, .. } = &self;
        let paths: Vec<Option<HolePath>> =
            ways[lines..].iter().map(|steps| HolePath::along(steps)).collect();
        let filled = Filled::new(&graph.mesh, &paths, graph.mean_edge());
        // Faces of the model keep their numbers, and an edge has the corners that its face has there.
        let moved = |&[a, b]: &[u32; 2]| -> Option<[u32; 2]> {
            let edge = graph.edges[graph.edge_along(a, b)? as usize].mesh_edge;
            let face = graph.topology.edge_faces[edge as usize][0] as usize;
            let corner = |v: u32| {
                let at = graph.mesh.faces[face].iter().position(|&w| w == v)?;
                Some(filled.mesh.faces[face][at])
            };
            Some([corner(a)?, corner(b)?])
        };
        let is_open = |index: usize| index < lines || filled.rims[index - lines].is_empty();
        let open = (0..ways.len()).filter(|&k| is_open(k)).flat_map(|k| &ways[k]);
        let cut_edges: Vec<[u32; 2]> = open.map(moved).collect::<Option<_>>()?;
        let is_gate = filled.gate(&graph.is_gate);
        let (strain, weight) = (strain(&filled.mesh)?, vec![1.0; is_gate.len()]);
        let filled_graph = PlanningGraph::new(filled.mesh, is_gate, strain, &weight)
            .ok()?
            .with_discs(filled.model_faces);
        let mut cut = vec![0.0; filled_graph.edges.len()];
        for [a, b] in cut_edges {
            cut[filled_graph.edge_along(a, b)? as usize] = 1.0;
        }
        Some(Self { graph: filled_graph, cut, ways: self.ways })
    }
}

/// A chain as one piece, or as two halves if it closes on itself.
fn pieces(chain: &CutCurve) -> Vec<Vec<CurvePoint>> {
    let points = &chain.points;
    let closed =
        points.len() > 3 && (points[0].point - points[points.len() - 1].point).norm() < 1e-9;
    if !closed {
        return vec![points.clone()];
    }
    let half = points.len() / 2;
    vec![points[..=half].to_vec(), points[half..].to_vec()]
}

/// The vertex that an end of a curve lies on, or the nearest free one, moved there.
fn end_vertex(
    graph: &PlanningGraph,
    mesh: &mut TriangleMesh,
    fixed: &mut [bool],
    at: &CurvePoint,
) -> u32 {
    if let Some(vertex) = at.vertex {
        return vertex;
    }
    // An end used before, as where two halves of a ring meet.
    let same = (0..mesh.positions.len())
        .find(|&v| fixed[v] && (mesh.positions[v] - at.point).norm() < 1e-9);
    if let Some(v) = same {
        return v as u32;
    }
    let corners = graph.mesh.faces[at.face as usize];
    let nearest = |list: &[u32]| {
        list.iter().copied().filter(|&v| !fixed[v as usize]).min_by(|&a, &b| {
            let d = |v: u32| (graph.mesh.positions[v as usize] - at.point).norm();
            d(a).total_cmp(&d(b)).then(a.cmp(&b))
        })
    };
    let vertex = nearest(&corners).unwrap_or(corners[0]);
    if !fixed[vertex as usize] {
        fixed[vertex as usize] = true;
        mesh.positions[vertex as usize] = at.point;
    }
    vertex
}

/// The way along mesh edges that keeps closest to a curve.
fn way_beside(graph: &PlanningGraph, curve: &[Point], from: u32, to: u32) -> Option<Vec<u32>> {
    let near: Vec<f64> = graph
        .mesh
        .positions
        .iter()
        .map(|p| nearest_on_polyline(curve, p).0 / graph.mean_edge())
        .collect();
    let length = |e: u32, next: u32| {
        let edge = &graph.edges[e as usize];
        // Beside the curve is free, an edge away from it is ten times as far.
        let is_free = !edge.across && !graph.is_of_disc(edge);
        is_free.then(|| edge.length * (1.0 + 9.0 * near[next as usize].powi(2)))
    };
    let found = ways(graph, [(from, 0.0)], length, f64::INFINITY);
    if !found.distance[to as usize].is_finite() {
        return None;
    }
    let mut way = vec![to];
    for edge in found.trace(graph, to) {
        let [a, b] = graph.edges[edge as usize].ends;
        let last = *way.last()?;
        way.push(if a == last { b } else { a });
    }
    way.reverse();
    Some(way)
}

/// Move vertices back where a face has turned over.
fn undo_folds(before: &TriangleMesh, after: &mut TriangleMesh) {
    for _ in 0..8 {
        let folded: Vec<[u32; 3]> = (0..after.faces.len())
            .filter(|&f| {
                let (old, new) =
                    (before.area_vector(FaceId(f as u32)), after.area_vector(FaceId(f as u32)));
                old.dot(&new) <= 1e-3 * old.norm_squared()
            })
            .map(|f| after.faces[f])
            .collect();
        if folded.is_empty() {
            break;
        }
        for v in folded.into_iter().flatten() {
            after.positions[v as usize] = before.positions[v as usize];
        }
    }
}
