//! A set of cut edges: its separate cuts and its cost.

use std::collections::BTreeMap;

use crate::girth::PlanningGraph;
use crate::union_find::UnionFind;

/// Edges of the planning graph that are cut, in rising order.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct CutSet {
    edges: Vec<u32>,
}

impl CutSet {
    /// From edges in any order.
    pub fn new(mut edges: Vec<u32>) -> Self {
        edges.sort_unstable();
        edges.dedup();
        Self { edges }
    }

    /// The edges, in rising order.
    pub fn edges(&self) -> &[u32] {
        &self.edges
    }

    /// Length of all cuts, mm.
    pub fn length(&self, graph: &PlanningGraph) -> f64 {
        // A sum over nothing is -0.0.
        0.0 + self.edges.iter().map(|&e| graph.edges[e as usize].length).sum::<f64>()
    }

    /// Weighted length of all cuts, each at least `least_cut`, and the price of their entries, mm.
    pub fn cost(&self, graph: &PlanningGraph, entry_price: f64, least_cut: f64) -> f64 {
        let price = |cut: &Vec<u32>| {
            let weighted: f64 = cut.iter().map(|&e| graph.edges[e as usize].cost).sum();
            weighted.max(least_cut) + entry_price
        };
        0.0 + self.components(graph).iter().map(price).sum::<f64>()
    }

    /// One value an edge: 1 where cut.
    pub fn indicator(&self, graph: &PlanningGraph) -> Vec<f64> {
        let mut cut = vec![0.0; graph.edges.len()];
        for &e in &self.edges {
            cut[e as usize] = 1.0;
        }
        cut
    }

    /// Edges of each separate cut, in order of their first edge.
    pub fn components(&self, graph: &PlanningGraph) -> Vec<Vec<u32>> {
        let mut joined = UnionFind::new(graph.vertex_count());
        for &e in &self.edges {
            let [a, b] = graph.edges[e as usize].ends;
            joined.join(a as usize, b as usize);
        }
        let mut index: BTreeMap<usize, usize> = BTreeMap::new();
        let mut components: Vec<Vec<u32>> = Vec::new();
        for &e in &self.edges {
            let top = joined.root(graph.edges[e as usize].ends[0] as usize);
            let slot = *index.entry(top).or_insert_with(|| {
                components.push(Vec::new());
                components.len() - 1
            });
            components[slot].push(e);
        }
        components
    }
}
