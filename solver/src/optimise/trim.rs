//! A set without what no row needs.

use std::collections::BTreeSet;

use rand::seq::SliceRandom;
use rand_chacha::ChaCha8Rng;

use super::builder::Builder;
use super::cut_set::CutSet;
use super::rows::ROW_TOLERANCE;

impl Builder<'_> {
    /// Take off whatever no row needs, in a random order of ends.
    pub fn trim(&self, cut: &CutSet, random: &mut ChaCha8Rng) -> CutSet {
        self.trim_in_steps(cut, random).0
    }

    /// [`Builder::trim`], and the edges taken off in the order they went.
    pub fn trim_in_steps(&self, cut: &CutSet, random: &mut ChaCha8Rng) -> (CutSet, Vec<u32>) {
        let split_price =
            if self.grows_from_opening() { f64::INFINITY } else { self.settings.entry_price };
        let mut state = Trim::new(self, cut);
        let mut ends: Vec<u32> = Vec::new();
        loop {
            let before = state.count;
            ends.clear();
            ends.extend(
                (0..self.graph.vertex_count() as u32).filter(|&v| state.degree[v as usize] == 1),
            );
            ends.shuffle(random);
            for &end in &ends {
                let mut at = end;
                while let Some(next) = state.peel(at) {
                    at = next;
                }
            }
            if state.count == before && !state.split(split_price, random) {
                break;
            }
        }
        (CutSet::new(state.edges()), state.gone)
    }
}

struct Trim<'b, 'a> {
    builder: &'b Builder<'a>,
    present: BTreeSet<u32>,
    activity: Vec<f64>,
    degree: Vec<u32>,
    count: usize,
    /// Vertices where cuts start that only grow from what is open: they are not taken off there.
    is_rooted: Vec<bool>,
    /// Edges taken off so far, in order.
    gone: Vec<u32>,
}

impl<'b, 'a> Trim<'b, 'a> {
    fn new(builder: &'b Builder<'a>, cut: &CutSet) -> Self {
        let mut degree = vec![0; builder.graph.vertex_count()];
        for &e in cut.edges() {
            for v in builder.graph.edges[e as usize].ends {
                degree[v as usize] += 1;
            }
        }
        let is_rooted = if builder.grows_from_opening() {
            builder.graph.is_gate.clone()
        } else {
            vec![false; builder.graph.vertex_count()]
        };
        Self {
            builder,
            present: cut.edges().iter().copied().collect(),
            activity: builder.activity(cut),
            degree,
            count: cut.edges().len(),
            is_rooted,
            gone: Vec::new(),
        }
    }

    fn edges(&self) -> Vec<u32> {
        self.present.iter().copied().collect()
    }

    fn can_go(&self, edge: u32) -> bool {
        self.builder.pools.rows_of(edge).all(|(r, c)| self.activity[r] - c >= 1.0 - ROW_TOLERANCE)
    }

    fn remove(&mut self, edge: u32) {
        self.change(edge, -1.0);
        self.present.remove(&edge);
        self.gone.push(edge);
        self.count -= 1;
        for v in self.builder.graph.edges[edge as usize].ends {
            self.degree[v as usize] -= 1;
        }
    }

    fn restore(&mut self, edge: u32) {
        self.change(edge, 1.0);
        self.present.insert(edge);
        self.gone.retain(|&e| e != edge);
        self.count += 1;
        for v in self.builder.graph.edges[edge as usize].ends {
            self.degree[v as usize] += 1;
        }
    }

    fn change(&mut self, edge: u32, sign: f64) {
        for (r, c) in self.builder.pools.rows_of(edge) {
            self.activity[r] += sign * c;
        }
    }

    fn present_at(&self, vertex: u32) -> impl Iterator<Item = (u32, u32)> + '_ {
        self.builder
            .graph
            .incident(vertex)
            .iter()
            .copied()
            .filter(|(e, _)| self.present.contains(e))
    }

    /// Take off the edge at a free end, if no row needs it; the next free end if there is one.
    fn peel(&mut self, end: u32) -> Option<u32> {
        if self.degree[end as usize] != 1 || self.is_rooted[end as usize] {
            return None;
        }
        let (edge, next) = self.present_at(end).next()?;
        if !self.can_go(edge) {
            return None;
        }
        self.remove(edge);
        (self.degree[next as usize] == 1).then_some(next)
    }

    /// Take a run out of the middle where its cost exceeds the price of one more entry.
    fn split(&mut self, entry_price: f64, random: &mut ChaCha8Rng) -> bool {
        if entry_price.is_infinite() {
            return false;
        }
        let mut order = self.edges();
        order.shuffle(random);
        for seed in order {
            if !self.present.contains(&seed) || !self.can_go(seed) {
                continue;
            }
            self.remove(seed);
            let mut gone = vec![seed];
            for start in self.builder.graph.edges[seed as usize].ends {
                let mut at = start;
                while self.degree[at as usize] == 1 && !self.is_rooted[at as usize] {
                    let Some((edge, next)) = self.present_at(at).next() else { break };
                    if !self.can_go(edge) {
                        break;
                    }
                    self.remove(edge);
                    gone.push(edge);
                    at = next;
                }
            }
            let saved: f64 = gone.iter().map(|&e| self.builder.graph.edges[e as usize].cost).sum();
            if saved > entry_price {
                return true;
            }
            for edge in gone {
                self.restore(edge);
            }
        }
        false
    }
}

#[cfg(test)]
mod tests {
    use nalgebra::Matrix3;
    use rand::SeedableRng;

    use super::*;
    use crate::girth::PlanningGraph;
    use crate::mesh::Vector;
    use crate::mesh::fixtures::{cylinder, divided};
    use crate::optimise::pool::{Pools, RowPool};
    use crate::optimise::relief::Relief;
    use crate::optimise::settings::{Deadline, SearchSettings};

    /// Rubber round a cylinder is stretched in its upper half only. A cut from the gate up that was asked for
    /// there is not taken off at the gate: a slit by itself would open nothing.
    #[test]
    fn cuts_that_grow_from_the_opening_stay_joined_to_it() {
        let mesh = divided(&divided(&divided(&cylinder(20.0, 60.0, 12))));
        let gate: Vec<bool> = mesh.positions.iter().map(|p| p.z < 0.05).collect();
        let n = gate.len();
        let graph = PlanningGraph::new(mesh, gate, vec![0.5; n], &vec![1.0; n]).expect("a graph");
        let opened = |v: usize| {
            let p = graph.mesh.positions[v];
            let round = Vector::new(-p.y, p.x, 0.0).try_normalize(1e-9).filter(|_| p.z > 30.0);
            Matrix3::identity()
                + round.map_or_else(Matrix3::zeros, |r| r * r.transpose() * (1.5 * 1.5 - 1.0))
        };
        let stretched = (0..n).map(opened).collect();
        let mut pools = Pools::new(RowPool::new(graph.edges.len()));
        pools.relieve(&graph, Relief { stretched, most: 0.6, asked: 8.0 }, &[]);
        let settings = SearchSettings {
            entry_price: 12.0,
            least_cut: 12.0,
            hinge_width: 4.0,
            deadline: Deadline::strict(1e3),
            seed: 1,
            fixed: Vec::new(),
            by_clock: true,
        };
        let builder = Builder::new(&graph, &pools, &settings);
        let costs: Vec<f64> = graph.edges.iter().map(|e| e.cost).collect();
        for seed in 0..5 {
            let mut random = ChaCha8Rng::seed_from_u64(seed);
            let full = builder.complete(&CutSet::default(), &costs, &mut random).expect("a way");
            let cut = builder.trim(&full, &mut random);
            assert!(builder.meets_all(&cut) && !cut.edges().is_empty());
            for component in cut.components(&graph) {
                let mut ends = component.iter().flat_map(|&e| graph.edges[e as usize].ends);
                assert!(ends.any(|v| graph.is_gate[v as usize]), "seed {seed}: a slit by itself");
            }
        }
    }
}
