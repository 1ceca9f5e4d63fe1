//! Rows that a search knows of, and the rings they come from, in two pools: what every plan must meet, and what
//! trials wish for.

use std::collections::HashSet;

use rayon::prelude::*;

use super::relief::Relief;
use super::rows::{ROW_TOLERANCE, Row};
use super::strips::RingRows;
use crate::girth::{PlanningGraph, Ring};

/// Rows and the rings they come from.
#[derive(Clone, Debug, Default)]
pub struct RowPool {
    /// All rows so far.
    pub rows: Vec<Row>,
    /// The rings they come from.
    pub rings: Vec<Ring>,
    /// The vertex beyond each ring that lies deepest, by stretched distance from it.
    pub deepest: Vec<u32>,
    /// How often rings were dropped: rows and rings have other numbers since.
    pub epoch: u32,
    /// Terms of all rows.
    terms: usize,
    by_edge: Vec<Vec<(u32, f32)>>,
    known: HashSet<Vec<u32>>,
}

impl RowPool {
    /// An empty pool over a graph with `edge_count` edges.
    pub fn new(edge_count: usize) -> Self {
        Self { by_edge: vec![Vec::new(); edge_count], ..Self::default() }
    }

    /// Whether a ring is in the pool.
    pub fn knows(&self, ring: &Ring) -> bool {
        self.known.contains(&ring.outline)
    }

    /// Add the rows of tight rings, those that are not known yet. Returns how many were new.
    pub fn add_rings(&mut self, graph: &PlanningGraph, rings: Vec<Ring>) -> usize {
        let new: Vec<Ring> =
            rings.into_iter().filter(|ring| self.known.insert(ring.outline.clone())).collect();
        let first = self.rings.len() as u32;
        let made: Vec<RingRows> = new
            .par_iter()
            .zip(first..first + new.len() as u32)
            .map(|(ring, origin)| RingRows::new(graph, ring, origin))
            .collect();
        let count = new.len();
        for (ring, made) in new.into_iter().zip(made) {
            self.take(ring, made);
        }
        count
    }

    fn take(&mut self, ring: Ring, made: RingRows) {
        for row in made.rows {
            self.push(row);
        }
        self.deepest.push(made.deepest);
        self.rings.push(ring);
    }

    /// Add a row that comes from no ring.
    pub fn push(&mut self, row: Row) {
        let index = self.rows.len() as u32;
        for &(edge, coefficient) in &row.terms {
            self.by_edge[edge as usize].push((index, coefficient));
        }
        self.terms += row.terms.len();
        self.rows.push(row);
    }

    /// Rows in which an edge counts, with its coefficient.
    pub fn rows_of(&self, edge: u32) -> &[(u32, f32)] {
        &self.by_edge[edge as usize]
    }

    /// Left-hand side of every row for a set of cut edges.
    pub fn activity(&self, cut: impl IntoIterator<Item = u32>) -> Vec<f64> {
        let mut activity = vec![0.0; self.rows.len()];
        for edge in cut {
            for &(row, coefficient) in self.rows_of(edge) {
                activity[row as usize] += f64::from(coefficient);
            }
        }
        activity
    }

    /// Terms of all rows: what the pool weighs.
    pub fn terms(&self) -> usize {
        self.terms
    }

    /// Keep the rings with the least `slack`, one a ring, until their rows have so many `terms`. The others are
    /// known no more; rows that come from no ring stay.
    pub fn keep_tightest(&mut self, slack: &[f64], terms: usize) {
        let mut weight = vec![0; self.rings.len()];
        for row in self.rows.iter().filter(|row| row.kind.is_of_ring()) {
            weight[row.origin as usize] += row.terms.len();
        }
        let mut order: Vec<usize> = (0..self.rings.len()).collect();
        order.sort_by(|&a, &b| slack[a].total_cmp(&slack[b]).then(b.cmp(&a)));
        let mut is_kept = vec![false; self.rings.len()];
        let mut sum = 0;
        for ring in order {
            sum += weight[ring];
            if sum > terms {
                break;
            }
            is_kept[ring] = true;
        }
        let mut number = 0;
        let numbers: Vec<u32> = is_kept
            .iter()
            .map(|&kept| {
                number += u32::from(kept);
                number.wrapping_sub(1)
            })
            .collect();
        let rows = std::mem::take(&mut self.rows);
        let (rings, deepest) = (std::mem::take(&mut self.rings), std::mem::take(&mut self.deepest));
        *self = Self { epoch: self.epoch + 1, ..Self::new(self.by_edge.len()) };
        for mut row in rows {
            if row.kind.is_of_ring() {
                if !is_kept[row.origin as usize] {
                    continue;
                }
                row.origin = numbers[row.origin as usize];
            }
            self.push(row);
        }
        for ((ring, deepest), _) in
            rings.into_iter().zip(deepest).zip(is_kept).filter(|(_, kept)| *kept)
        {
            self.known.insert(ring.outline.clone());
            self.rings.push(ring);
            self.deepest.push(deepest);
        }
    }

    /// Whether a set of cut edges meets every row.
    pub fn is_met(&self, cut: impl IntoIterator<Item = u32>) -> bool {
        self.activity(cut).iter().all(|&a| a >= 1.0 - ROW_TOLERANCE)
    }
}

/// What every plan must meet, and what trials wish for.
#[derive(Clone, Debug)]
pub struct Pools {
    /// What every plan must meet. The bound rests on these rows alone.
    pub must: RowPool,
    /// What trials wish for: rings of which more is asked than the girth model does, and cut across rubber
    /// that was stretched.
    pub wishes: RowPool,
    /// Where cut across stretched rubber was asked for, in order.
    pub reliefs: Vec<Relief>,
}

impl Pools {
    /// No wishes yet.
    pub fn new(must: RowPool) -> Self {
        let wishes = RowPool::new(must.by_edge.len());
        Self { must, wishes, reliefs: Vec::new() }
    }

    /// Wish for more of a ring than the girth model asks. It may be there already with less asked of it.
    pub fn demand(&mut self, graph: &PlanningGraph, ring: Ring) {
        let asked = |r: &Ring| r.outline == ring.outline && r.width >= ring.width;
        if self.wishes.rings.iter().any(asked) {
            return;
        }
        let made = RingRows::new(graph, &ring, self.wishes.rings.len() as u32);
        self.wishes.take(ring, made);
    }

    /// Wish for cut across stretched rubber; edges of `open` are cut in any case and relieve nothing.
    pub fn relieve(&mut self, graph: &PlanningGraph, relief: Relief, open: &[u32]) {
        let row = relief.row(graph, open, self.reliefs.len() as u32);
        // No edge relieves: nothing can be asked.
        if !row.terms.is_empty() {
            self.wishes.push(row);
            self.reliefs.push(relief);
        }
    }

    /// Number of rows: first come those that every plan must meet.
    pub fn len(&self) -> usize {
        self.must.rows.len() + self.wishes.rows.len()
    }

    /// Whether there are no rows.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// One of all rows, with the pool that it is in.
    pub fn row(&self, index: usize) -> (&Row, &RowPool) {
        match self.must.rows.get(index) {
            Some(row) => (row, &self.must),
            None => (&self.wishes.rows[index - self.must.rows.len()], &self.wishes),
        }
    }

    /// All rows in which an edge counts, with its coefficient.
    pub fn rows_of(&self, edge: u32) -> impl Iterator<Item = (usize, f64)> + '_ {
        let after = self.must.rows.len();
        let must = self.must.rows_of(edge).iter().map(|&(row, c)| (row as usize, c));
        let wishes = self.wishes.rows_of(edge).iter();
        let all = must.chain(wishes.map(move |&(row, c)| (after + row as usize, c)));
        all.map(|(row, c)| (row, f64::from(c)))
    }

    /// Left-hand side of every row for a set of cut edges.
    pub fn activity(&self, cut: impl IntoIterator<Item = u32> + Clone) -> Vec<f64> {
        let mut activity = self.must.activity(cut.clone());
        activity.extend(self.wishes.activity(cut));
        activity
    }

    /// Whether a set of cut edges meets every row.
    pub fn is_met(&self, cut: impl IntoIterator<Item = u32> + Clone) -> bool {
        self.must.is_met(cut.clone()) && self.wishes.is_met(cut)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mesh::fixtures::icosphere;
    use crate::optimise::separation::Separator;

    /// A pool that was thinned out is the pool of the rings that are left: the tightest, as many as may be.
    #[test]
    fn the_tightest_rings_are_kept_with_their_rows() {
        let mesh = icosphere(30.0, 4);
        let gate: Vec<bool> = mesh.positions.iter().map(|p| p.z < -25.0).collect();
        let n = gate.len();
        let graph = PlanningGraph::new(mesh, gate, vec![0.3; n], &vec![1.0; n]).expect("a graph");
        let mut pool = RowPool::new(graph.edges.len());
        pool.add_rings(&graph, Separator::new(&graph, 10, 4).nested_rings());
        let slack: Vec<f64> = (0..pool.rings.len()).map(|k| f64::from(k as u32 % 4)).collect();
        let (all, most) = (pool.clone(), pool.terms() / 2);
        pool.keep_tightest(&slack, most);
        assert!(pool.terms() <= most && pool.terms() > most / 2, "{} of {most}", pool.terms());
        assert_eq!(pool.epoch, all.epoch + 1);
        let left: Vec<Ring> = pool.rings.clone();
        let mut again = RowPool::new(graph.edges.len());
        again.add_rings(&graph, left.clone());
        assert_eq!((&pool.rows, &pool.deepest), (&again.rows, &again.deepest));
        let cut: Vec<u32> = (0..graph.edges.len() as u32).step_by(7).collect();
        assert_eq!(pool.activity(cut.iter().copied()), again.activity(cut));
        let (mut most_kept, mut least_gone) = (0.0, f64::INFINITY);
        for (ring, slack) in all.rings.iter().zip(slack) {
            assert_eq!(pool.knows(ring), left.contains(ring));
            if pool.knows(ring) {
                most_kept = f64::max(most_kept, slack);
            } else {
                least_gone = f64::min(least_gone, slack);
            }
        }
        assert!(most_kept <= least_gone, "{most_kept} {least_gone}");
    }
}
