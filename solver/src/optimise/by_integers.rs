//! Proposals by integer solves near a draft.

use rand_chacha::ChaCha8Rng;

use super::builder::{Builder, Draft};
use super::cut_set::CutSet;
use super::integer::{IntegerLimits, solve_cover_while};
use super::rows::Row;
use crate::control::Control;

/// A solve is one proposal among many: a few nodes are enough.
const NODES: i32 = 60;
/// Where the clock counts, a solve is broken off after so many seconds.
const SECONDS: f64 = 2.0;

impl Builder<'_> {
    /// The cheapest choice among the edges that a plan came from and those that the relaxation
    /// likes, by an integer solve over all rows.
    pub fn integer_neighbour(
        &self,
        draft: &Draft,
        relaxed: &[f64],
        control: &Control<'_>,
        random: &mut ChaCha8Rng,
    ) -> Option<Draft> {
        let liked = (0..relaxed.len() as u32).filter(|&e| {
            relaxed[e as usize] > 0.02 && self.graph.edges[e as usize].cost.is_finite()
        });
        let allowed = CutSet::new(
            draft
                .full
                .edges()
                .iter()
                .copied()
                .chain(liked)
                .chain(self.settings.fixed.iter().copied())
                .collect(),
        );
        let mut costs: Vec<f64> = self.graph.edges.iter().map(|e| e.cost).collect();
        for &e in &self.settings.fixed {
            costs[e as usize] = 0.0;
        }
        let mut is_allowed = vec![false; costs.len()];
        for &e in allowed.edges() {
            is_allowed[e as usize] = true;
        }
        let rows: Vec<Row> = (0..self.pools.len())
            .map(|r| {
                let row = self.pools.row(r).0;
                let terms = row.terms.iter().filter(|(e, _)| is_allowed[*e as usize]).copied();
                Row { terms: terms.collect(), ..*row }
            })
            .collect();
        let seconds = if self.settings.by_clock { SECONDS } else { f64::INFINITY };
        let limits = IntegerLimits { nodes: NODES, seconds };
        let found = solve_cover_while(costs, rows, allowed.edges(), limits, control)?;
        let free = found.chosen.into_iter().filter(|e| !self.settings.fixed.contains(e)).collect();
        let chosen = CutSet::new(free);
        if !self.meets_all(&chosen) {
            return None;
        }
        let full = chosen.edges().iter().chain(draft.full.edges()).copied().collect();
        Some(Draft { trimmed: self.trim(&chosen, random), full: CutSet::new(full) })
    }
}
