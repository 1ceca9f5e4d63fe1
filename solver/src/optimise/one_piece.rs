//! The mould stays one piece: cuts form no closed ring, and where they nearly meet enough rubber
//! is left as a hinge.
//!
//! On a surface whose bridges are cut, sheets grown from a forest of cuts never part the rubber:
//! every piece of surface can be walked round the ends of the cuts. A ring of cuts would shut off
//! a loose chunk. Between a cut and another (or itself, or the gate) a neck of rubber is narrow
//! where the way across it is short and the way round along the cuts is long.

use std::collections::BTreeMap;

use super::cut_set::CutSet;
use crate::girth::PlanningGraph;
use crate::girth::paths::{NO_EDGE, Ways, ways};
use crate::union_find::UnionFind;

/// A neck of rubber between two places of the cuts or the gate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Neck {
    /// Vertex on one side.
    pub from: u32,
    /// Vertex on the other side.
    pub to: u32,
    /// Width along the surface, mm.
    pub width: f64,
}

/// The way round along the cuts counts as long above this many times the way across.
const ROUND_OVER_ACROSS: f64 = 3.0;

/// Which vertices are joined by cuts, with all of the gate taken as one place, each fixed loop as one
/// place, and each face of a bridge's cut.
pub struct Places<'a> {
    graph: &'a PlanningGraph,
    joined: UnionFind,
}

impl<'a> Places<'a> {
    /// Gate, fixed loops and discs alone.
    pub fn new(graph: &'a PlanningGraph, fixed: &[u32]) -> Self {
        let mut joined = UnionFind::new(graph.vertex_count());
        let mut gate = (0..graph.vertex_count()).filter(|&v| graph.is_gate[v]);
        if let Some(first) = gate.next() {
            for v in gate {
                joined.join(first, v);
            }
        }
        let mut places = Self { graph, joined };
        for &e in fixed.iter().chain(&graph.discs) {
            places.join(e);
        }
        places
    }

    fn ends(&self, edge: u32) -> [usize; 2] {
        self.graph.edges[edge as usize].ends.map(|v| v as usize)
    }

    /// Whether cutting an edge would join two places that are joined already: it closes a ring.
    pub fn closes(&mut self, edge: u32) -> bool {
        let [a, b] = self.ends(edge).map(|v| self.joined.root(v));
        a == b
    }

    /// Cut an edge; false if that closes a ring.
    pub fn join(&mut self, edge: u32) -> bool {
        let [a, b] = self.ends(edge);
        self.joined.join(a, b)
    }
}

/// Whether the cuts, with all of the gate taken as one place and each fixed loop as one place,
/// close no ring.
pub fn is_forest(graph: &PlanningGraph, cut: &CutSet, fixed: &[u32]) -> bool {
    let mut places = Places::new(graph, fixed);
    cut.edges().iter().all(|&e| {
        let in_gate = graph.edges[e as usize].ends.iter().all(|&v| graph.is_gate[v as usize]);
        in_gate || fixed.contains(&e) || places.join(e)
    })
}

/// Necks narrower than `limit` mm, narrowest first, one for each pair of separate cuts and one
/// for each place where a cut comes back to itself or to the gate.
pub fn necks(graph: &PlanningGraph, cut: &CutSet, fixed: &[u32], limit: f64) -> Vec<Neck> {
    let n = graph.vertex_count();
    let mut on_cut = graph.is_gate.clone();
    for &e in cut.edges() {
        for v in graph.edges[e as usize].ends {
            on_cut[v as usize] = true;
        }
    }
    let starts = (0..n as u32).filter(|&v| on_cut[v as usize]).map(|v| (v, 0.0));
    let near = ways(graph, starts, |e, _| Some(graph.edges[e as usize].length), 0.5 * limit);
    let source: Vec<u32> = (0..n as u32).map(|v| source_of(graph, &near, v)).collect();
    let distance = near.distance;
    let open: Vec<bool> = {
        let mut open = vec![false; graph.edges.len()];
        for &e in cut.edges().iter().chain(fixed).chain(&graph.discs) {
            open[e as usize] = true;
        }
        for (e, edge) in graph.edges.iter().enumerate() {
            open[e] |= edge.ends.iter().all(|&v| graph.is_gate[v as usize]);
        }
        open
    };
    let mut narrow: Vec<Neck> = Vec::new();
    for edge in &graph.edges {
        let [a, b] = edge.ends.map(|v| v as usize);
        let width = distance[a] + edge.length + distance[b];
        if width < limit && source[a] != source[b] {
            narrow.push(Neck { from: source[a], to: source[b], width });
        }
    }
    narrow.sort_by(|x, y| x.width.total_cmp(&y.width).then((x.from, x.to).cmp(&(y.from, y.to))));
    let mut kept: Vec<Neck> = Vec::new();
    let mut round: BTreeMap<u32, Vec<f64>> = BTreeMap::new();
    for neck in narrow {
        let close = |v: u32, w: u32| {
            (graph.mesh.positions[v as usize] - graph.mesh.positions[w as usize]).norm()
                < 2.0 * limit
        };
        if kept.iter().any(|k| {
            (close(k.from, neck.from) && close(k.to, neck.to))
                || (close(k.from, neck.to) && close(k.to, neck.from))
        }) {
            continue;
        }
        let along = round
            .entry(neck.from)
            .or_insert_with(|| along_cuts(graph, &open, neck.from, ROUND_OVER_ACROSS * limit));
        if along[neck.to as usize] > ROUND_OVER_ACROSS * neck.width.max(graph.mean_edge()) {
            kept.push(neck);
        }
    }
    kept
}

/// Distance from a vertex along what is open already: cuts, bridge loops and the gate.
fn along_cuts(graph: &PlanningGraph, open: &[bool], from: u32, limit: f64) -> Vec<f64> {
    let length = |e: u32, _| open[e as usize].then(|| graph.edges[e as usize].length);
    ways(graph, [(from, 0.0)], length, limit).distance
}

/// The start that a vertex is nearest to.
fn source_of(graph: &PlanningGraph, near: &Ways, vertex: u32) -> u32 {
    near.trace(graph, vertex).last().map_or(vertex, |&e| {
        let [a, b] = graph.edges[e as usize].ends;
        if near.via[a as usize] == NO_EDGE { a } else { b }
    })
}
