//! From a draft to a plan that passes the separator.
//!
//! A draft has a larger set that should hold and a trimmed one that meets all known rows but may
//! miss rings not found yet. What was trimmed came off edge by edge, and the fewer edges are off
//! the fewer rings are missed. So the last step of trimming that still passes is found by
//! bisection; each step that fails brings its rings as new rows, with which the rest is trimmed
//! again. On the way only the targets that gave rings before are looked at; the result is put to
//! all of them.

use rand_chacha::ChaCha8Rng;

use super::builder::{Builder, Draft};
use super::cut_set::CutSet;
use super::look::{RINGS, add_rings, to_front};
use super::pool::Pools;
use super::separation::{Crossing, Separator};
use super::settings::SearchSettings;
use crate::control::Control;

/// Targets looked at on the way, those that gave rings last first.
const ON_THE_WAY: usize = 32;
/// Rounds of trimming and bisection.
const ROUNDS: usize = 6;
/// The same while there is no plan at all: better late than none.
const ROUNDS_FOR_THE_FIRST: usize = 60;

/// What settling works on.
pub(super) struct Settling<'s, 'g> {
    pub separator: &'s Separator<'g>,
    pub settings: &'s SearchSettings,
    pub control: &'s Control<'s>,
    pub pools: &'s mut Pools,
    pub order: &'s mut Vec<usize>,
    /// Whether there is no plan yet.
    pub first: bool,
}

impl Settling<'_, '_> {
    /// A plan near the draft that passes, with its price (hinge penalties counted in) and cost.
    pub(super) fn settle(
        &mut self,
        draft: Draft,
        random: &mut ChaCha8Rng,
    ) -> Option<(f64, f64, Draft)> {
        let mut draft = draft;
        for _ in 0..self.rounds() {
            if self.meets_all(&draft.trimmed) && self.passes(&draft.trimmed, ON_THE_WAY) {
                if self.passes(&draft.trimmed, usize::MAX) {
                    return self.priced(draft);
                }
            } else {
                draft.full = self.holding(&draft, random)?;
                draft.trimmed = self.bisect(&draft.full, random);
            }
            if self.out_of_time() {
                break;
            }
        }
        // The larger set is no beauty, but it may be all there is.
        if self.first && self.meets_all(&draft.full) && self.passes(&draft.full, usize::MAX) {
            let trimmed = draft.full.clone();
            return self.priced(Draft { full: draft.full, trimmed });
        }
        None
    }

    /// Whether a set meets every known row.
    pub(super) fn meets_all(&self, cut: &CutSet) -> bool {
        self.with_builder(|builder| builder.meets_all(cut))
    }

    fn with_builder<T>(&self, work: impl FnOnce(&Builder<'_>) -> T) -> T {
        work(&Builder::new(self.separator.graph(), self.pools, self.settings))
    }

    fn rounds(&self) -> usize {
        if self.first { ROUNDS_FOR_THE_FIRST } else { ROUNDS }
    }

    fn out_of_time(&self) -> bool {
        let deadline = self.settings.deadline.on(self.control, !self.first);
        self.control.is_cancelled() || self.control.elapsed().as_secs_f64() > deadline
    }

    fn priced(&self, draft: Draft) -> Option<(f64, f64, Draft)> {
        let (price, cost) = self.with_builder(|builder| {
            (builder.penalised_cost(&draft.trimmed), builder.cost(&draft.trimmed))
        });
        price.is_finite().then_some((price, cost, draft))
    }

    /// The larger set, widened until it passes.
    fn holding(&mut self, draft: &Draft, random: &mut ChaCha8Rng) -> Option<CutSet> {
        let mut draft = draft.clone();
        for _ in 0..self.rounds() {
            if self.out_of_time() {
                break;
            }
            if self.meets_all(&draft.full) && self.passes(&draft.full, ON_THE_WAY) {
                break;
            }
            draft.full = self.with_builder(|builder| builder.widen(&draft, random))?;
        }
        Some(draft.full)
    }

    /// Trim as far as the separator, looking at the usual targets, lets pass.
    fn bisect(&mut self, full: &CutSet, random: &mut ChaCha8Rng) -> CutSet {
        let (trimmed, gone) = self.with_builder(|builder| builder.trim_in_steps(full, random));
        if gone.is_empty() || self.passes(&trimmed, ON_THE_WAY) {
            return trimmed;
        }
        let without = |count: usize| {
            let off = &gone[..count];
            CutSet::new(full.edges().iter().copied().filter(|e| !off.contains(e)).collect())
        };
        let (mut good, mut bad) = (0, gone.len());
        while bad - good > 1 && !self.out_of_time() {
            let middle = (good + bad) / 2;
            if self.passes(&without(middle), ON_THE_WAY) { good = middle } else { bad = middle }
        }
        // With the rows that the failures brought, the rest may be trimmed at other ends.
        let rest = without(good);
        self.with_builder(|builder| builder.trim(&rest, random))
    }

    /// Whether no tight ring is found round the first `count` targets; rings found become rows.
    fn passes(&mut self, cut: &CutSet, count: usize) -> bool {
        let graph = self.separator.graph();
        let all = cut.edges().iter().chain(&self.settings.fixed).copied().collect();
        let looked = &self.order[..count.min(self.order.len())];
        let found = self.separator.tight_rings(
            &CutSet::new(all).indicator(graph),
            Crossing::Forbidden,
            looked,
            RINGS,
            self.control,
        );
        if self.control.is_cancelled() {
            return false;
        }
        to_front(self.order, &found.hits);
        let clean = found.rings.is_empty();
        add_rings(self.separator, &mut self.pools.must, found.rings);
        clean
    }
}
