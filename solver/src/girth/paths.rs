//! Shortest ways along the planning graph (Dijkstra 1959).

use std::cmp::Ordering;
use std::collections::BinaryHeap;

use super::PlanningGraph;

/// A heap entry that pops the least value first, lower index first among equals.
#[derive(PartialEq)]
pub(crate) struct Nearest(pub f64, pub u32);

impl Eq for Nearest {}
impl PartialOrd for Nearest {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}
impl Ord for Nearest {
    fn cmp(&self, other: &Self) -> Ordering {
        other.0.total_cmp(&self.0).then(other.1.cmp(&self.1))
    }
}

/// Edge by which no way arrives: the vertex is a start or out of reach.
pub const NO_EDGE: u32 = u32::MAX;

/// Distance of every vertex from the nearest start.
#[derive(Clone, Debug)]
pub struct Ways {
    /// Distance, in the unit of the edge lengths given; infinite out of reach.
    pub distance: Vec<f64>,
    /// Edge by which the shortest way arrives, or [`NO_EDGE`].
    pub via: Vec<u32>,
}

/// Shortest ways from `starts` (vertex and head start), over edges that have a length.
///
/// `length` gives the length of an edge walked to a vertex, or none where that is not allowed.
/// Vertices farther than `limit` are not walked on from.
pub fn ways(
    graph: &PlanningGraph,
    starts: impl IntoIterator<Item = (u32, f64)>,
    length: impl Fn(u32, u32) -> Option<f64>,
    limit: f64,
) -> Ways {
    let mut distance = vec![f64::INFINITY; graph.vertex_count()];
    let mut via = vec![NO_EDGE; graph.vertex_count()];
    let mut heap = BinaryHeap::new();
    for (v, d) in starts {
        if d < distance[v as usize] {
            distance[v as usize] = d;
            heap.push(Nearest(d, v));
        }
    }
    while let Some(Nearest(d, v)) = heap.pop() {
        if d > distance[v as usize] || d > limit {
            continue;
        }
        for &(edge, to) in graph.incident(v) {
            let Some(step) = length(edge, to) else { continue };
            if d + step < distance[to as usize] {
                distance[to as usize] = d + step;
                via[to as usize] = edge;
                heap.push(Nearest(d + step, to));
            }
        }
    }
    Ways { distance, via }
}

impl Ways {
    /// Edges of the way that arrives at `goal`, from the goal back to the start.
    pub fn trace(&self, graph: &PlanningGraph, goal: u32) -> Vec<u32> {
        let mut way = Vec::new();
        let mut at = goal;
        while self.via[at as usize] != NO_EDGE {
            let edge = self.via[at as usize];
            way.push(edge);
            let [a, b] = graph.edges[edge as usize].ends;
            at = if a == at { b } else { a };
        }
        way
    }
}

/// Distance along the graph from the nearest of `sources`, mm.
pub fn distances(graph: &PlanningGraph, sources: &[u32]) -> Vec<f64> {
    let starts = sources.iter().map(|&v| (v, 0.0));
    ways(graph, starts, |e, _| Some(graph.edges[e as usize].length), f64::INFINITY).distance
}
