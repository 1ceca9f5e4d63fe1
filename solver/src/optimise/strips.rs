//! The rows of a ring.
//!
//! A tight ring r (stretched length `reach`, girth beyond it `width` > `reach`) gives up to three
//! rows over the edges x that are cut (1) or not (0):
//!
//! - *crossing*: some edge across the ring is cut. Sum of x over the ring's outline >= 1.
//! - *strip beyond*: let d = (width - reach) / 2. Take the cuts that cross r, and lead the ring
//!   round the far end of each: the new ring crosses no cut, and it is longer than r by at most
//!   twice the stretched length of what it goes round. What it must let pass is as wide as before:
//!   a ring that grows from r to the new one never meets a girth above `width` on the way, so a
//!   narrower sweep from the new ring would give a narrower sweep from r. Hence the cut within
//!   distance d beyond the ring measures at least d. (A cut that runs further has at least d of
//!   itself inside the strip.)
//! - *strip before*: the same on the gate's side, with d at most the distance to the gate, since
//!   a ring cannot be led round the end of a cut that is open to the gate.
//!
//! On a ball on a small gate the strip beyond the gate's own ring gives exactly the closed form
//! (2 pi r / (1 + e) - p) / 2, where crossing rows alone give less than a third of it in the
//! linear relaxation.

use std::cmp::Ordering;

use super::rows::{ON_CURVES, Row, RowKind, Terms};
use crate::girth::paths::ways;
use crate::girth::{GraphEdge, PlanningGraph, Ring};

/// What is asked of the cuts on account of one ring.
pub(super) struct RingRows {
    /// Its rows; they follow each other in the pool that takes them.
    pub rows: Vec<Row>,
    /// The vertex beyond it that lies deepest, by stretched distance from it.
    pub deepest: u32,
}

impl RingRows {
    /// The rows of a ring that is number `origin` in its pool.
    pub fn new(graph: &PlanningGraph, ring: &Ring, origin: u32) -> Self {
        let is_of_disc = |e: u32| graph.is_of_disc(&graph.edges[e as usize]);
        let crossing =
            ring.outline.iter().filter(|&&e| !is_of_disc(e)).map(|&e| (e, 1.0)).collect();
        let (shortfall, known) = (ring.shortfall(), ring.known_shortfall());
        // Finished curves may let a ring by that is too tight by no more than is known of it.
        let least = if known > 0.0 { 1.0 } else { 0.0 };
        let kind = RowKind::Crossing;
        let mut rows = vec![Row { kind, terms: crossing, origin, depth: 0.0, least }];
        let beyond = graph.membership(&ring.beyond);
        let far = |v: u32| beyond[v as usize];
        let near = |v: u32| !beyond[v as usize];
        let distance = distance_from_ring(graph, &ring.outline, &far, f64::INFINITY);
        let mut push = |kind, depth: f64, terms: Terms| {
            // More than all edges of the strip together is not to be had: discs cannot be cut, and a trial may
            // ask for more of a ring than there is room for.
            if terms.iter().map(|(_, share)| f64::from(*share)).sum::<f64>() >= 1.0 {
                let least = (0.5 * known).clamp(0.0, depth) / depth.max(1e-9) * (1.0 - ON_CURVES);
                rows.push(Row { kind, terms, origin, depth, least });
            }
        };
        let depth = 0.5 * shortfall;
        push(RowKind::StripBeyond, depth, strip(graph, &distance, far, depth));
        // A cut has to get there.
        let may_be_cut = |v: &u32| graph.cost_weight[*v as usize].is_finite();
        let deepest = ring.beyond.iter().copied().filter(may_be_cut).max_by(|&a, &b| {
            let finite = |v: u32| Some(distance[v as usize]).filter(|d| d.is_finite());
            finite(a).partial_cmp(&finite(b)).unwrap_or(Ordering::Equal).then(b.cmp(&a))
        });
        // No further than the gate: a ring cannot be led round the end of a cut that is open to it.
        let distance = distance_from_ring(graph, &ring.outline, &near, depth);
        let to_gate = distance
            .iter()
            .zip(&graph.is_gate)
            .filter(|(_, gate)| **gate)
            .map(|(&d, _)| d)
            .fold(f64::INFINITY, f64::min);
        let depth = depth.min(to_gate);
        if depth > 0.25 * graph.mean_edge() {
            push(RowKind::StripBefore, depth, strip(graph, &distance, near, depth));
        }
        Self { rows, deepest: deepest.unwrap_or(0) }
    }
}

/// Stretched length of an edge: what a ring gains by going along it.
fn stretched(graph: &PlanningGraph, edge: u32) -> f64 {
    graph.edges[edge as usize].length * (1.0 + graph.edge_strain(edge))
}

/// Stretched length over length at a vertex.
pub(crate) fn stretch_at(graph: &PlanningGraph, vertex: u32) -> f64 {
    1.0 + graph.allowed_strain[vertex as usize]
}

/// Signed stretched distance (mm) of every vertex from a ring: positive beyond it, infinite where
/// the distance is above `limit`.
pub(crate) fn signed_distance(graph: &PlanningGraph, ring: &Ring, limit: f64) -> Vec<f32> {
    let beyond = graph.membership(&ring.beyond);
    let far = distance_from_ring(graph, &ring.outline, &|v| beyond[v as usize], limit);
    let near = distance_from_ring(graph, &ring.outline, &|v| !beyond[v as usize], limit);
    (0..beyond.len()).map(|v| if beyond[v] { far[v] as f32 } else { -near[v] as f32 }).collect()
}

/// Stretched distance from the ring, on the side where `side` holds.
fn distance_from_ring(
    graph: &PlanningGraph,
    outline: &[u32],
    side: &impl Fn(u32) -> bool,
    limit: f64,
) -> Vec<f64> {
    let starts = outline.iter().flat_map(|&edge| {
        let half = 0.5 * stretched(graph, edge);
        graph.edges[edge as usize].ends.into_iter().filter(|&v| side(v)).map(move |v| (v, half))
    });
    ways(graph, starts, |e, to| side(to).then(|| stretched(graph, e)), limit).distance
}

/// Terms of a strip row of stretched width `depth` on one side of a ring: for each edge the
/// stretched length of it that lies in the strip, over `depth`, at most one. `distance` is that of
/// every vertex from the ring on that side.
fn strip(graph: &PlanningGraph, distance: &[f64], side: impl Fn(u32) -> bool, depth: f64) -> Terms {
    let mut terms = Vec::new();
    let depth_floor = depth.max(1e-9);
    let may_be_cut = |edge: &&GraphEdge| !graph.is_of_disc(edge);
    for (index, edge) in graph.edges.iter().enumerate().filter(|(_, edge)| may_be_cut(edge)) {
        let full = stretched(graph, index as u32);
        let [a, b] = edge.ends;
        let inside = match (side(a), side(b)) {
            (true, true) => {
                // Both ends on this side: the parts next to either end that lie in the strip.
                let part = |d: f64| (depth - d).max(0.0);
                (part(distance[a as usize]) + part(distance[b as usize])).min(full)
            }
            (false, false) => 0.0,
            // It crosses the ring: half of it lies on this side.
            _ => (0.5 * full).min(depth),
        };
        if inside > 0.0 {
            terms.push((index as u32, (inside / depth_floor).min(1.0) as f32));
        }
    }
    // It stays for as long as the search goes on.
    terms.shrink_to_fit();
    terms
}
