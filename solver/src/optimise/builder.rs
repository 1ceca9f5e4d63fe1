//! Sets of cuts over the rows that are known: what they cost, and whether they meet them.

use super::cut_set::CutSet;
use super::one_piece::{is_forest, necks};
use super::pool::Pools;
use super::settings::SearchSettings;
use crate::girth::PlanningGraph;
use crate::girth::paths::{Ways, ways};

/// A trimmed set and the larger one it was trimmed from.
#[derive(Clone, Debug, Default)]
pub struct Draft {
    /// What it was trimmed from.
    pub full: CutSet,
    /// The cuts.
    pub trimmed: CutSet,
}

/// Builds and trims sets over the rows of both pools.
pub struct Builder<'a> {
    pub(super) graph: &'a PlanningGraph,
    pub(super) pools: &'a Pools,
    pub(super) settings: &'a SearchSettings,
}

impl<'a> Builder<'a> {
    /// A builder over all rows.
    pub fn new(graph: &'a PlanningGraph, pools: &'a Pools, settings: &'a SearchSettings) -> Self {
        Self { graph, pools, settings }
    }

    /// Cost of a set, mm.
    pub fn cost(&self, cut: &CutSet) -> f64 {
        cut.cost(self.graph, self.settings.entry_price, self.settings.least_cut)
    }

    /// Cost with a penalty for each hinge that is too narrow; infinite for a set that would part
    /// the mould.
    pub fn penalised_cost(&self, cut: &CutSet) -> f64 {
        if !is_forest(self.graph, cut, &self.settings.fixed) {
            return f64::INFINITY;
        }
        let narrow =
            necks(self.graph, cut, &self.settings.fixed, self.settings.hinge_width).len() as f64;
        self.cost(cut) + narrow * (self.settings.hinge_width + self.settings.entry_price)
    }

    /// Left-hand sides with the fixed edges counted in.
    pub(super) fn activity(&self, cut: &CutSet) -> Vec<f64> {
        self.pools.activity(cut.edges().iter().chain(&self.settings.fixed).copied())
    }

    /// Whether a set meets every row.
    pub fn meets_all(&self, cut: &CutSet) -> bool {
        self.pools.is_met(cut.edges().iter().chain(&self.settings.fixed).copied())
    }

    /// Whether cuts only grow from where the mould is open already. What a trial asks for does: a slit by itself in
    /// thick rubber, or from the depth of a hole, gives nothing.
    pub(super) fn grows_from_opening(&self) -> bool {
        !self.pools.reliefs.is_empty()
    }

    pub(super) fn ways_from(&self, start: &[u32], guide: &[f64]) -> Ways {
        let starts = start.iter().map(|&v| (v, 0.0));
        ways(self.graph, starts, |e, _| Some(guide[e as usize]), f64::INFINITY)
    }
}
