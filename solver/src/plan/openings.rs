//! Openings beside bridges: what edges give of them.

use super::setup::Setup;
use crate::girth::PlanningGraph;
use crate::girth::paths::distances;
use crate::optimise::rows::{ON_CURVES, Row, RowKind, Terms};

/// One row a bridge that needs an opening: enough cut within reach of its rim.
pub(super) fn opening_rows(setup: &Setup) -> Vec<Row> {
    let graph = &setup.graph;
    let all_loops: Vec<u32> = setup.loops.iter().flatten().copied().collect();
    let mut rows = Vec::new();
    for (index, (edges, &opening)) in setup.loops.iter().zip(&setup.openings).enumerate() {
        if !setup.needs_opening(index) {
            continue;
        }
        let distance = distance_from_rim(graph, edges);
        let terms = beside(graph, &distance, opening, &all_loops);
        rows.push(Row {
            kind: RowKind::BridgeOpening,
            terms,
            origin: index as u32,
            depth: opening,
            least: 1.0 - ON_CURVES,
        });
    }
    rows
}

/// Distance of every vertex from a bridge's loop, along the surface, mm.
pub(super) fn distance_from_rim(graph: &PlanningGraph, edges: &[u32]) -> Vec<f64> {
    let rim: Vec<u32> = edges.iter().flat_map(|&e| graph.edges[e as usize].ends).collect();
    distances(graph, &rim)
}

/// How near to a bridge's rim a cut opens the way to it, mm.
pub(super) fn opening_reach(graph: &PlanningGraph, opening: f64) -> f64 {
    opening.max(2.0 * graph.mean_edge())
}

/// Edges within `opening` of the rim, each with the share of the opening that it gives. Edges of
/// bridge loops, and others with both ends on the rim, open nothing.
fn beside(graph: &PlanningGraph, distance: &[f64], opening: f64, loops: &[u32]) -> Terms {
    let reach = opening_reach(graph, opening);
    (0..graph.edges.len() as u32)
        .filter(|e| !loops.contains(e) && graph.edges[*e as usize].cost.is_finite())
        .filter(|&e| {
            let near = graph.edges[e as usize].ends.map(|v| distance[v as usize]);
            near.iter().all(|&d| d <= reach) && near.iter().any(|&d| d > 0.0)
        })
        .map(|e| (e, (graph.edges[e as usize].length / opening).min(1.0) as f32))
        .collect()
}
