//! Good plans early: build a set of cuts that meets every known row, trim it, and search round it.
//!
//! A superset is easy: join the gate to the deepest point beyond every ring that is not crossed
//! yet. Trimming takes edges off the ends (and out of the middle, where that pays for one more
//! entry) as long as every row stays met. Which end is trimmed first decides what comes out, so
//! the order is drawn at random, many times. The search destroys a part of the best plan, joins
//! up what is no longer met along other ways, and trims again; it keeps what is cheaper.

use rand::Rng;
use rand::seq::SliceRandom;
use rand_chacha::ChaCha8Rng;

use super::cut_set::CutSet;
use super::integer::{IntegerLimits, solve_cover_while};
use super::one_piece::{Places, is_forest, necks};
use super::rows::{ROW_TOLERANCE, RowKind, RowPool};
use super::search::SearchSettings;
use crate::control::Control;
use crate::girth::PlanningGraph;
use crate::girth::paths::{Ways, ways};

/// An integer solve is one proposal among many: a few nodes are enough.
const INTEGER_LIMITS: IntegerLimits = IntegerLimits { nodes: 60, seconds: 2.0 };

/// Scratch for building and trimming over one pool.
pub struct Builder<'a> {
    graph: &'a PlanningGraph,
    pool: &'a RowPool,
    settings: &'a SearchSettings,
}

impl<'a> Builder<'a> {
    /// A builder over the pool's rows.
    pub fn new(graph: &'a PlanningGraph, pool: &'a RowPool, settings: &'a SearchSettings) -> Self {
        Self { graph, pool, settings }
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
    fn activity(&self, cut: &CutSet) -> Vec<f64> {
        self.pool.activity(cut.edges().iter().chain(&self.settings.fixed).copied())
    }

    /// Whether a set meets every row of the pool.
    pub fn meets_all(&self, cut: &CutSet) -> bool {
        self.activity(cut).iter().all(|&a| a >= 1.0 - ROW_TOLERANCE)
    }

    /// Add ways from the cuts (or the gate) to what is not met yet, until every row is met. What is
    /// added closes no ring.
    ///
    /// `guide` scales the cost of each edge: low where the relaxation likes to cut.
    pub fn complete(&self, cut: &CutSet, guide: &[f64], random: &mut ChaCha8Rng) -> Option<CutSet> {
        let mut edges: Vec<u32> = cut.edges().to_vec();
        let mut activity = self.activity(cut);
        let mut places = Places::new(self.graph, &self.settings.fixed);
        for &e in &edges {
            places.join(e);
        }
        // Every way adds an edge, so this ends.
        loop {
            // The row missed most; among equals the one whose far side is smallest, since a way
            // to its depth meets those round it too.
            let Some(row) = (0..activity.len())
                .filter(|&r| activity[r] < 1.0 - ROW_TOLERANCE)
                .min_by_key(|&r| self.far_size(r))
            else {
                return Some(CutSet::new(edges));
            };
            let way = self.way_to_row(&edges, row, &activity, guide, &mut places, random)?;
            if way.iter().all(|e| edges.contains(e)) {
                return None;
            }
            for e in way {
                if !edges.contains(&e) {
                    edges.push(e);
                    places.join(e);
                    for &(r, c) in self.pool.rows_of(e) {
                        activity[r as usize] += c;
                    }
                }
            }
        }
    }

    /// Whether cuts only grow from where the mould is open already. What a trial asks for does: a slit by itself in
    /// thick rubber, or from the depth of a hole, gives nothing.
    fn grows_from_opening(&self) -> bool {
        !self.pool.reliefs.is_empty()
    }

    fn ways_from(&self, start: &[u32], guide: &[f64]) -> Ways {
        let starts = start.iter().map(|&v| (v, 0.0));
        ways(self.graph, starts, |e, _| Some(guide[e as usize]), f64::INFINITY)
    }

    fn far_size(&self, row: usize) -> usize {
        let row = &self.pool.rows[row];
        match row.kind.is_of_ring() {
            true => self.pool.rings[row.origin as usize].beyond.len(),
            false => usize::MAX,
        }
    }

    /// A way that adds to a row what it lacks: from the gate or a cut to the row's depth.
    fn way_to_row(
        &self,
        edges: &[u32],
        row: usize,
        activity: &[f64],
        guide: &[f64],
        places: &mut Places<'_>,
        random: &mut ChaCha8Rng,
    ) -> Option<Vec<u32>> {
        let terms = &self.pool.rows[row].terms;
        let goal = match self.pool.rows[row].kind.is_of_ring() {
            true => self.pool.deepest[self.pool.rows[row].origin as usize],
            false => {
                let (edge, _) = terms[random.random_range(0..terms.len())];
                self.graph.edges[edge as usize].ends[random.random_range(0..2)]
            }
        };
        let from_holes =
            !self.grows_from_opening() || self.pool.rows[row].kind == RowKind::BridgeOpening;
        let holes = self.settings.fixed.iter().chain(&self.graph.discs).filter(|_| from_holes);
        let mut start: Vec<u32> =
            edges.iter().chain(holes).flat_map(|&e| self.graph.edges[e as usize].ends).collect();
        start.extend(
            (0..self.graph.vertex_count() as u32).filter(|&v| self.graph.is_gate[v as usize]),
        );
        let reach = self.ways_from(&start, guide);
        let way = reach.distance[goal as usize].is_finite().then(|| reach.trace(self.graph, goal));
        let gain = |way: &[u32]| -> f64 {
            let new: Vec<u32> = way.iter().copied().filter(|e| !edges.contains(e)).collect();
            activity[row]
                + terms.iter().filter(|(e, _)| new.contains(e)).map(|(_, c)| c).sum::<f64>()
        };
        if let Some(way) = way
            && gain(&way) > activity[row] + 1e-9
        {
            return Some(way);
        }
        // The goal is on a cut already: go to the cheapest edge that helps.
        let mut best: Option<(f64, Vec<u32>)> = None;
        for &(e, c) in terms {
            if edges.contains(&e) || places.closes(e) {
                continue;
            }
            let [a, b] = self.graph.edges[e as usize].ends;
            let from = if reach.distance[a as usize] <= reach.distance[b as usize] { a } else { b };
            let cost = (reach.distance[from as usize] + guide[e as usize]) / c;
            if cost.is_finite() && best.as_ref().is_none_or(|(least, _)| cost < *least) {
                let mut way = reach.trace(self.graph, from);
                way.push(e);
                best = Some((cost, way));
            }
        }
        best.map(|(_, way)| way)
    }

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

    /// A set from scratch that meets every row of the pool, trimmed.
    pub fn from_scratch(&self, relaxed: &[f64], random: &mut ChaCha8Rng) -> Option<Draft> {
        let guide = self.guide(relaxed, 0.8, 0.0, random);
        let full = self.complete(&CutSet::default(), &guide, random)?;
        Some(self.draft(full, random))
    }

    /// The larger set of a draft made to meet every row of the pool.
    pub fn widen(&self, draft: &Draft, random: &mut ChaCha8Rng) -> Option<CutSet> {
        let guide: Vec<f64> = self.graph.edges.iter().map(|e| e.cost).collect();
        self.complete(&draft.full, &guide, random)
    }

    /// A draft that misses some rows meets them with little change: along the ways it was trimmed
    /// from, where there are any.
    pub fn mend(&self, draft: &Draft, random: &mut ChaCha8Rng) -> Option<Draft> {
        let mut guide: Vec<f64> = self.graph.edges.iter().map(|e| e.cost).collect();
        for &e in draft.full.edges() {
            guide[e as usize] *= 0.05;
        }
        let longer = self.complete(&draft.trimmed, &guide, random)?;
        let trimmed = self.trim(&longer, random);
        let full = longer.edges().iter().chain(draft.full.edges()).copied().collect();
        Some(Draft { full: CutSet::new(full), trimmed })
    }

    fn draft(&self, full: CutSet, random: &mut ChaCha8Rng) -> Draft {
        Draft { trimmed: self.trim(&full, random), full }
    }

    fn guide(&self, relaxed: &[f64], lean: f64, jitter: f64, random: &mut ChaCha8Rng) -> Vec<f64> {
        self.graph
            .edges
            .iter()
            .zip(relaxed)
            .map(|(e, &x)| {
                let noise = if jitter > 0.0 { random.random_range(-jitter..jitter) } else { 0.0 };
                e.cost * (1.0 - lean * x.clamp(0.0, 1.0)) * (1.0 + noise)
            })
            .collect()
    }

    /// Take away a random part of a plan, join up what is missed, trim.
    pub fn vary(&self, draft: &Draft, relaxed: &[f64], random: &mut ChaCha8Rng) -> Option<Draft> {
        let cut = &draft.trimmed;
        let lean = random.random_range(0.0..0.95);
        let jitter = random.random_range(0.0..0.6);
        let guide = self.guide(relaxed, lean, jitter, random);
        if random.random_bool(0.3) {
            // Trim again from everything the draft came from and some ways more.
            let scratch = self.complete(&CutSet::default(), &guide, random)?;
            let edges = draft.full.edges().iter().chain(scratch.edges()).copied().collect();
            return Some(self.draft(CutSet::new(edges), random));
        }
        if random.random_bool(0.2)
            && let Some(joined) = self.joined(cut, &guide, random)
        {
            return Some(self.draft(joined, random));
        }
        let kept: Vec<u32> = if cut.edges().is_empty() {
            Vec::new()
        } else {
            let seed = cut.edges()[random.random_range(0..cut.edges().len())];
            let middle =
                self.graph.mesh.positions[self.graph.edges[seed as usize].ends[0] as usize];
            let radius =
                cut.length(self.graph) * random.random_range(0.05..0.6f64) + self.graph.mean_edge();
            cut.edges()
                .iter()
                .copied()
                .filter(|&e| {
                    let at =
                        self.graph.mesh.positions[self.graph.edges[e as usize].ends[0] as usize];
                    (at - middle).norm() > radius
                })
                .collect()
        };
        let full = self.complete(&CutSet::new(kept), &guide, random)?;
        Some(self.draft(full, random))
    }
}

impl Builder<'_> {
    /// The cheapest choice among the edges that a plan came from and those that the relaxation
    /// likes, by an integer solve over the pool's rows.
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
        let found =
            solve_cover_while(&costs, &self.pool.rows, allowed.edges(), INTEGER_LIMITS, control)?;
        let free = found.chosen.into_iter().filter(|e| !self.settings.fixed.contains(e)).collect();
        let chosen = CutSet::new(free);
        if !self.meets_all(&chosen) {
            return None;
        }
        let full = chosen.edges().iter().chain(draft.full.edges()).copied().collect();
        Some(Draft { trimmed: self.trim(&chosen, random), full: CutSet::new(full) })
    }

    /// One separate cut led on to the nearest other one, which saves an entry.
    fn joined(&self, cut: &CutSet, guide: &[f64], random: &mut ChaCha8Rng) -> Option<CutSet> {
        let components = cut.components(self.graph);
        if components.len() < 2 {
            return None;
        }
        let ends = |edges: &[u32]| -> Vec<u32> {
            edges.iter().flat_map(|&e| self.graph.edges[e as usize].ends).collect()
        };
        let own = random.random_range(0..components.len());
        let reach = self.ways_from(&ends(&components[own]), guide);
        let nearest = (0..components.len())
            .filter(|&k| k != own)
            .flat_map(|k| ends(&components[k]))
            .min_by(|&a, &b| {
                reach.distance[a as usize].total_cmp(&reach.distance[b as usize]).then(a.cmp(&b))
            })?;
        let mut edges = reach.trace(self.graph, nearest);
        edges.extend_from_slice(cut.edges());
        Some(CutSet::new(edges))
    }
}

/// A trimmed set and the larger one it was trimmed from.
#[derive(Clone, Debug, Default)]
pub struct Draft {
    /// What it was trimmed from.
    pub full: CutSet,
    /// The cuts.
    pub trimmed: CutSet,
}

struct Trim<'b, 'a> {
    builder: &'b Builder<'a>,
    present: std::collections::BTreeSet<u32>,
    activity: Vec<f64>,
    degree: Vec<u32>,
    count: usize,
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
        Self {
            builder,
            present: cut.edges().iter().copied().collect(),
            activity: builder.activity(cut),
            degree,
            count: cut.edges().len(),
            gone: Vec::new(),
        }
    }

    fn edges(&self) -> Vec<u32> {
        self.present.iter().copied().collect()
    }

    fn can_go(&self, edge: u32) -> bool {
        self.builder
            .pool
            .rows_of(edge)
            .iter()
            .all(|&(r, c)| self.activity[r as usize] - c >= 1.0 - ROW_TOLERANCE)
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
        for &(r, c) in self.builder.pool.rows_of(edge) {
            self.activity[r as usize] += sign * c;
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
        if self.degree[end as usize] != 1 {
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
                while self.degree[at as usize] == 1 {
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
