//! The search: bound and plans improve together, round by round.
//!
//! Each round solves the linear relaxation while, on another thread, the primal search works on
//! the same rows; then the cheapest plan that meets all known rows is put to the separator. It
//! either passes, and is a plan, or it yields the rings it missed. The relaxation's own solution
//! is separated too. Nothing depends on which thread was faster: both work on a fixed snapshot
//! for a fixed number of steps.

use std::num::NonZeroU32;

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;

use super::builder::{Builder, Draft};
use super::climb::climb;
use super::cut_set::CutSet;
use super::gap::gap;
use super::look::{RINGS, add_rings, first_rings, to_front};
use super::pool::{Pools, RowPool};
use super::relaxation::{Relaxation, RelaxationError, Relaxed};
use super::relief::Relief;
use super::separation::{Crossing, Separator};
use super::settings::{Deadline, SearchSettings};
use super::settle::Settling;
use crate::control::{Control, Progress, Stage};
use crate::girth::{PlanningGraph, Ring};

/// Why the search stopped.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SearchEnd {
    /// The set is optimal for the planning graph.
    Optimal,
    /// The time budget ran out.
    TimeBudget,
    /// No further improvement was found and the bound stopped moving.
    Stalled,
    /// Someone asked for the best set so far.
    Cancelled,
}

/// The search found no plan.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum SearchError {
    /// The relaxation failed.
    #[error(transparent)]
    Relaxation(#[from] RelaxationError),
    /// Time ran out or the caller cancelled before any plan passed.
    #[error(
        "no plan had passed every check when the search stopped ({0}): allow more seconds or a coarser planning edge"
    )]
    NoPlan(&'static str),
}

/// Targets looked at for the relaxation's own solution, twice a round.
const SAMPLE: usize = 96;
/// Step through the targets, coprime to their usual number, so that samples are well spread.
const STRIDE: usize = 37;
/// Every so many rounds the proposal comes from an integer solve near the best plan.
const INTEGER_EVERY: u32 = 4;
/// Rows of rings have so many terms at most, or so many times the edges of the graph if that is more; then the
/// rings that are least in the way are dropped until half are left. A term takes 16
/// bytes.
const MOST_TERMS: (usize, usize) = (12_000_000, 400);
/// Rounds without any progress after which the search gives up.
const PATIENCE: u32 = 25;

/// The greatest ratio of a way along the graph to the straight line, on a regular triangulation:
/// with directions every 30 degrees it is 1 / cos 15. The relaxation counts ways along the graph,
/// plans are drawn straight: the bound is brought to the same measure by this factor. It leaves
/// out that an end may fall between vertices, at most an edge a cut.
const GRAPH_OVER_STRAIGHT: f64 = 1.035_276_180_410_083;

/// A search that goes on as long as it is run.
pub struct Search<'s, 'g> {
    separator: &'s Separator<'g>,
    settings: SearchSettings,
    control: &'s Control<'s>,
    /// What each edge costs, mm.
    costs: Vec<f64>,
    relaxation: Relaxation,
    pools: Pools,
    random: ChaCha8Rng,
    /// Targets, those that gave rings last first.
    order: Vec<usize>,
    fixed: CutSet,
    /// Where the search is: the cheapest draft along the graph that passed, and its price with penalties,
    /// mm.
    place: Option<(f64, Draft)>,
    /// The set that is cheapest once drawn straight, and that cost, mm: of sets that meet every row and leave
    /// the mould whole, cost is all that decides.
    incumbent: Option<(f64, CutSet)>,
    bound: f64,
    /// The last relaxation's solution.
    guide: Vec<f64>,
    rounds: u32,
    idle: u32,
    sample: usize,
}

impl<'s, 'g> Search<'s, 'g> {
    /// A search over the rows of `must` and those that will be found.
    pub fn new(
        separator: &'s Separator<'g>,
        must: RowPool,
        settings: SearchSettings,
        control: &'s Control<'s>,
    ) -> Self {
        let graph = separator.graph();
        let mut costs: Vec<f64> = graph.edges.iter().map(|e| e.cost).collect();
        for &e in &settings.fixed {
            costs[e as usize] = 0.0;
        }
        let mut search = Self {
            separator,
            control,
            relaxation: Relaxation::new(&costs, NonZeroU32::MIN),
            costs,
            pools: Pools::new(must),
            random: ChaCha8Rng::seed_from_u64(settings.seed),
            order: (0..separator.target_count()).collect(),
            fixed: CutSet::new(settings.fixed.clone()),
            place: None,
            incumbent: None,
            bound: 0.0,
            guide: Vec::new(),
            rounds: 0,
            idle: 0,
            sample: 0,
            settings,
        };
        let Search { separator, fixed, order, pools, .. } = &mut search;
        let hits = first_rings(separator, fixed, order, &mut pools.must, control);
        to_front(order, &hits);
        search
    }

    /// Up to `rounds` more rounds, fewer if there is a reason to stop; the reason, if there is
    /// one. Runs on until there is a plan.
    ///
    /// `straight_cost` tells what a plan costs once its curves are straight, mm; infinite if they
    /// cannot be drawn.
    pub fn run(
        &mut self,
        rounds: u32,
        straight_cost: &mut dyn FnMut(&CutSet, &Pools) -> f64,
    ) -> Result<Option<SearchEnd>, SearchError> {
        self.keep_valid(straight_cost);
        let last = self.rounds + rounds;
        loop {
            self.control.rest();
            self.rounds += 1;
            let started = self.control.elapsed().as_secs_f64();
            let known_rings = self.pools.must.rings.len();
            let (relaxed, proposal) = match self.relax_and_propose() {
                Err(SearchError::Relaxation(RelaxationError::Cancelled)) => {
                    return self.ended(SearchEnd::Cancelled);
                }
                worked => worked?,
            };
            let moved = self.raise_bound(&relaxed);
            let passed = self.settle(proposal, straight_cost);
            self.separate_relaxed(&relaxed);
            let new_rings = self.pools.must.rings.len() - known_rings;
            self.keep_valid(straight_cost);
            self.thin_out();
            self.report(new_rings);
            self.idle = if passed || moved || new_rings > 0 { 0 } else { self.idle + 1 };
            if let Some(reason) = self.finished(started) {
                return self.ended(reason);
            }
            if self.rounds >= last && self.incumbent.is_some() {
                return Ok(None);
            }
        }
    }

    fn ended(&self, reason: SearchEnd) -> Result<Option<SearchEnd>, SearchError> {
        match (&self.incumbent, reason) {
            (Some(_), _) => Ok(Some(reason)),
            (None, SearchEnd::Cancelled) => Err(SearchError::NoPlan("cancelled")),
            (None, _) => Err(SearchError::NoPlan("out of time")),
        }
    }

    /// The plan that is cheapest once drawn straight, once there is one, without the fixed edges.
    pub fn plan(&self) -> Option<&CutSet> {
        self.incumbent.as_ref().map(|(_, cut)| cut)
    }

    /// What it asks for tight rings.
    pub fn separator(&self) -> &'s Separator<'g> {
        self.separator
    }

    /// The graph it searches on.
    pub fn graph(&self) -> &'g PlanningGraph {
        self.separator.graph()
    }

    /// Lower bound on every plan's cost, mm.
    pub fn bound(&self) -> f64 {
        self.bound
    }

    /// All rows and rings found, and what trials wish for.
    pub fn pools(&self) -> &Pools {
        &self.pools
    }

    /// Targets, those that gave rings last first.
    pub fn order(&self) -> &[usize] {
        &self.order
    }

    /// Rounds so far.
    pub fn rounds(&self) -> u32 {
        self.rounds
    }

    /// Take tight rings that were found elsewhere.
    pub fn add_rings(&mut self, rings: Vec<Ring>) {
        self.pools.must.add_rings(self.separator.graph(), rings);
    }

    /// Take rings that were seen on the mesh as it was fitted to curves: those that are tight on the
    /// planning mesh too. Edges are numbered anew there, and lengths differ a little.
    pub fn add_seen(&mut self, rings: &[Ring]) {
        let (judge, graph) = (self.separator.judge(), self.separator.graph());
        let here = rings.iter().map(|ring| judge.measure(&graph.membership(&ring.beyond)));
        let tight: Vec<Ring> = here.filter(|ring| ring.shortfall() > 0.0).collect();
        self.pools.must.add_rings(graph, tight);
    }

    /// Ask more of a ring than the girth model does: it has to let `ring.width` pass.
    pub fn demand(&mut self, ring: Ring) {
        self.pools.demand(self.separator.graph(), ring);
    }

    /// Ask for cut across rubber that a trial found stretched.
    pub fn relieve(&mut self, relief: Relief) {
        self.pools.relieve(self.separator.graph(), relief, &self.settings.fixed);
    }

    /// Go on from where an earlier search over the same graph was: its bound, its rounds and a set
    /// of cuts that it had found. Its rings come by [`Search::add_rings`].
    pub fn take_up(
        &mut self,
        bound: f64,
        rounds: u32,
        cut: Option<CutSet>,
        straight_cost: &mut dyn FnMut(&CutSet, &Pools) -> f64,
    ) {
        self.bound = self.bound.max(bound);
        self.rounds = rounds;
        let draft = cut.map(|cut| Draft { full: cut.clone(), trimmed: cut });
        self.settle(draft, straight_cost);
    }

    /// Until when the search goes on.
    pub fn set_deadline(&mut self, deadline: Deadline) {
        self.settings.deadline = deadline;
    }

    /// Make the plan meet rows that it misses since rows were added, without looking for a better one. Tells
    /// whether the plan is another one now.
    pub fn mend(&mut self, straight_cost: &mut dyn FnMut(&CutSet, &Pools) -> f64) -> bool {
        self.mend_in(1, straight_cost)
    }

    /// Let a set of cuts be the plan, with what it lacks of the known rows: of so many `tries`, each along
    /// other ways, the cheapest. Tells whether the plan is another one now.
    pub fn mend_from(
        &mut self,
        cut: &CutSet,
        tries: usize,
        straight_cost: &mut dyn FnMut(&CutSet, &Pools) -> f64,
    ) -> bool {
        let draft = Draft { full: cut.clone(), trimmed: cut.clone() };
        self.place = Some((f64::INFINITY, draft));
        self.incumbent = Some((f64::INFINITY, cut.clone()));
        self.mend_in(tries, straight_cost)
    }

    fn mend_in(
        &mut self,
        tries: usize,
        straight_cost: &mut dyn FnMut(&CutSet, &Pools) -> f64,
    ) -> bool {
        let Some((_, draft)) = &self.place else { return false };
        let builder = Builder::new(self.separator.graph(), &self.pools, &self.settings);
        let mended = if builder.meets_all(&draft.trimmed) {
            Some(draft.clone())
        } else {
            let random = &mut self.random;
            (0..tries)
                .filter_map(|_| builder.mend(draft, random))
                .map(|mended| (builder.penalised_cost(&mended.trimmed), mended))
                .min_by(|a, b| a.0.total_cmp(&b.0))
                .map(|(_, mended)| mended)
        };
        let known = self.incumbent.as_ref().map(|(_, cut)| cut.clone());
        self.settle(mended, straight_cost);
        self.keep_valid(straight_cost);
        self.incumbent.as_ref().map(|(_, cut)| cut) != known.as_ref()
    }

    /// Take the relaxation's value for the bound, if it is better.
    fn raise_bound(&mut self, relaxed: &Relaxed) -> bool {
        if self.pools.must.is_met(self.fixed.edges().iter().copied()) {
            return false;
        }
        // Whatever the plan is, it has at least one cut, which is at best where length weighs least.
        let weights = self.graph().cost_weight.iter().copied();
        let least_cut = self.settings.least_cut * weights.fold(f64::INFINITY, f64::min);
        let length = (relaxed.bound / GRAPH_OVER_STRAIGHT).max(least_cut);
        let bound = length + self.settings.entry_price;
        let moved = bound > self.bound + 1e-6;
        self.bound = self.bound.max(bound);
        moved
    }

    /// Solve the relaxation and, side by side, look for a better draft over the same rows,
    /// guided by the relaxation of the round before.
    fn relax_and_propose(&mut self) -> Result<(Relaxed, Option<Draft>), SearchError> {
        let Self { relaxation, pools, separator, settings, random, place, guide, rounds, .. } =
            self;
        let (pools, control): (&Pools, _) = (pools, self.control);
        if guide.is_empty() {
            *guide = relaxation.solve(&pools.must, control)?.cut;
        }
        let builder = Builder::new(separator.graph(), pools, settings);
        let known = place.as_ref().map(|(_, draft)| draft);
        let by_integers = rounds.is_multiple_of(INTEGER_EVERY);
        let guided: &[f64] = guide;
        let (relaxed, proposal) = rayon::join(
            || relaxation.solve(&pools.must, control),
            || match known.filter(|_| by_integers) {
                Some(draft) => builder.integer_neighbour(draft, guided, control, random),
                None => climb(&builder, known, guided, control, random),
            },
        );
        let relaxed = relaxed?;
        self.guide.clone_from(&relaxed.cut);
        Ok((relaxed, proposal))
    }

    /// Put a proposal to the separator and keep what comes out if it is better.
    fn settle(
        &mut self,
        proposal: Option<Draft>,
        straight_cost: &mut dyn FnMut(&CutSet, &Pools) -> f64,
    ) -> bool {
        let Some(draft) = proposal else { return false };
        let mut settling = Settling {
            separator: self.separator,
            settings: &self.settings,
            control: self.control,
            pools: &mut self.pools,
            order: &mut self.order,
            first: self.place.is_none(),
        };
        let Some((price, cost, draft)) = settling.settle(draft, &mut self.random) else {
            return false;
        };
        let better = self.place.as_ref().is_none_or(|(least, best)| {
            !settling.meets_all(&best.trimmed) || price < *least - 1e-9
        });
        if better {
            self.consider(&draft.trimmed, cost, straight_cost);
            self.place = Some((price, draft));
        }
        better
    }

    /// Draw a plan straight and keep it if it is the cheapest.
    fn consider(
        &mut self,
        cut: &CutSet,
        graph_cost: f64,
        straight_cost: &mut dyn FnMut(&CutSet, &Pools) -> f64,
    ) {
        let straight = straight_cost(cut, &self.pools);
        // A plan that cannot be drawn straight is worth what it costs along the graph.
        let cost = if straight.is_finite() { straight } else { graph_cost };
        if self.incumbent.as_ref().is_none_or(|(least, _)| cost < *least - 1e-9) {
            self.incumbent = Some((cost, cut.clone()));
        }
    }

    /// New rows may show that the plan kept so far misses a ring: then the best draft takes its
    /// place.
    fn keep_valid(&mut self, straight_cost: &mut dyn FnMut(&CutSet, &Pools) -> f64) {
        let meets = |cut: &CutSet| {
            let edges = cut.edges().iter().chain(self.fixed.edges()).copied();
            self.pools.is_met(edges)
        };
        let Some((_, top)) = &self.incumbent else { return };
        if meets(top) {
            return;
        }
        // Even a plan that misses a ring is better than none, until there is another.
        if let Some((price, draft)) = &self.place
            && draft.trimmed != *top
            && meets(&draft.trimmed)
        {
            let (price, cut) = (*price, draft.trimmed.clone());
            self.incumbent = None;
            self.consider(&cut, price, straight_cost);
        }
    }

    /// Rings that the relaxation's solution leaves little crossed.
    fn separate_relaxed(&mut self, relaxed: &Relaxed) {
        let widest = self.pools.must.rings.iter().map(|r| r.width).fold(0.0, f64::max);
        let count = self.order.len();
        for share in [0.3, 1.0] {
            let looked: Vec<usize> =
                (0..SAMPLE.min(count)).map(|k| (self.sample + k * STRIDE) % count).collect();
            self.sample += 1;
            let found = self.separator.tight_rings(
                &relaxed.cut,
                Crossing::Priced(share * widest),
                &looked,
                RINGS,
                self.control,
            );
            add_rings(self.separator, &mut self.pools.must, found.rings);
        }
    }

    /// Drop rings that neither the cheapest draft nor the relaxation's solution comes near to missing. What was
    /// proved with them stays proved, and the separator finds them again where they are missed.
    fn thin_out(&mut self) {
        let edges = self.separator.graph().edges.len();
        let most = MOST_TERMS.0.max(MOST_TERMS.1 * edges);
        let must = &mut self.pools.must;
        if must.terms() <= most {
            return;
        }
        let fixed = self.fixed.edges().iter();
        let of_draft = self.place.as_ref().map_or_else(
            || must.activity(fixed.clone().copied()),
            |(_, draft)| must.activity(draft.trimmed.edges().iter().chain(fixed.clone()).copied()),
        );
        let mut slack = vec![f64::INFINITY; must.rings.len()];
        for (row, of_draft) in must.rows.iter().zip(of_draft).filter(|(r, _)| r.kind.is_of_ring()) {
            let least = &mut slack[row.origin as usize];
            *least = least.min(of_draft - 1.0).min(row.sum(&self.guide) - row.least);
        }
        must.keep_tightest(&slack, most / 2);
        self.relaxation = Relaxation::new(&self.costs, NonZeroU32::MIN);
    }

    fn gap(&self) -> Option<f64> {
        let (cost, _) = self.incumbent.as_ref()?;
        Some(gap(*cost, self.bound))
    }

    fn report(&self, new_rings: usize) {
        let seconds = self.control.elapsed().as_secs_f64();
        let graph = self.separator.graph();
        self.control.report(Progress {
            stage: Stage::Optimise,
            fraction: 0.1 + 0.8 * (seconds / self.deadline()).min(1.0),
            elapsed_seconds: seconds,
            rounds: self.rounds,
            rows: self.pools.len() as u32,
            lower_bound: Some(self.bound),
            best_cost: self.incumbent.as_ref().map(|(cost, _)| *cost),
            best_length: self.incumbent.as_ref().map(|(_, cut)| cut.length(graph)),
            message: match new_rings {
                0 => "no more rings of rubber found that are too tight".to_owned(),
                1 => "1 more ring of rubber found that is too tight".to_owned(),
                more => format!("{more} more rings of rubber found that are too tight"),
            },
        });
    }

    /// Why to stop, if there is a reason. The last round began at `started`, seconds.
    fn finished(&self, started: f64) -> Option<SearchEnd> {
        if self.control.is_cancelled() {
            return Some(SearchEnd::Cancelled);
        }
        match self.gap() {
            Some(gap) if gap <= 1e-6 => return Some(SearchEnd::Optimal),
            Some(_) if self.idle > PATIENCE => return Some(SearchEnd::Stalled),
            _ => {}
        }
        // Half of another round would be over the deadline.
        let now = self.control.elapsed().as_secs_f64();
        let over = now + 0.5 * (now - started) > self.deadline();
        over.then_some(SearchEnd::TimeBudget)
    }

    fn deadline(&self) -> f64 {
        self.settings.deadline.on(self.control, self.incumbent.is_some())
    }
}

#[cfg(test)]
mod tests;
