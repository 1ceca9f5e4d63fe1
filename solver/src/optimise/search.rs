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

use super::cut_set::CutSet;
use super::primal::{Builder, Draft};
use super::relaxation::{Relaxation, RelaxationError, Relaxed};
use super::rows::RowPool;
use super::separation::{Crossing, Separator};
use super::settle::{Settling, add_rings};
use crate::control::{Control, Progress, Stage};
use crate::girth::PlanningGraph;
use crate::girth::paths::distances;
use crate::plan::StopReason;

/// What the search is told.
#[derive(Clone, Debug)]
pub struct SearchSettings {
    /// Price of one more separate cut, mm.
    pub entry_price: f64,
    /// A cut shorter than this costs as much as one of this length, mm.
    pub least_cut: f64,
    /// Least width of rubber between cuts, mm.
    pub hinge_width: f64,
    /// Stop at this gap.
    pub target_gap: f64,
    /// Seconds on the job's clock after which the search stops.
    pub deadline: f64,
    /// Seed of every random choice.
    pub seed: u64,
    /// Edges that are cut in any case: bridge loops. Their cost is not counted here.
    pub fixed: Vec<u32>,
}

/// What the search found.
#[derive(Debug)]
pub struct SearchOutcome {
    /// The cheapest plan that passed, without the fixed edges.
    pub best: CutSet,
    /// Its cost, mm.
    pub cost: f64,
    /// Lower bound on every plan's cost, mm.
    pub bound: f64,
    /// All rows and rings found.
    pub pool: RowPool,
    /// Rounds.
    pub rounds: u32,
    /// Why it stopped.
    pub stopped_by: StopReason,
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

/// Primal steps a round.
const STEPS: usize = 60;
/// Rings asked of the separator a round.
pub(super) const RINGS: usize = 40;
/// Targets looked at for the relaxation's own solution, twice a round.
const SAMPLE: usize = 96;
/// Step through the targets, coprime to their usual number, so that samples are well spread.
const STRIDE: usize = 37;
/// Every so many rounds the proposal comes from an integer solve near the best plan.
const INTEGER_EVERY: u32 = 4;
/// Rounds without any progress after which the search gives up.
const PATIENCE: u32 = 25;

/// Find a cheap plan and a bound.
pub fn search(
    separator: &Separator<'_>,
    mut pool: RowPool,
    settings: &SearchSettings,
    control: &Control<'_>,
) -> Result<SearchOutcome, SearchError> {
    let graph = separator.graph();
    let mut costs: Vec<f64> = graph.edges.iter().map(|e| e.cost).collect();
    for &e in &settings.fixed {
        costs[e as usize] = 0.0;
    }
    let mut relaxation = Relaxation::new(&costs, NonZeroU32::MIN);
    let mut random = ChaCha8Rng::seed_from_u64(settings.seed);
    let every: Vec<usize> = (0..separator.target_count()).collect();
    let fixed = CutSet::new(settings.fixed.clone());
    let mut order = every.clone();

    for ring in separator.nested_rings() {
        pool.add_ring(graph, ring);
    }
    let start = fixed.indicator(graph);
    let first = separator.tight_rings(&start, Crossing::Forbidden, &order, usize::MAX, control);
    for ring in first.rings {
        pool.add_ring(graph, ring);
    }
    to_front(&mut order, &first.hits);
    let mut best: Option<(f64, Draft, f64)> = None;
    let mut bound: f64 = 0.0;
    let mut rounds = 0;
    let mut idle = 0;
    let mut sample = 0;
    let stopped_by = loop {
        rounds += 1;
        relaxation.take_rows(&pool);
        let relaxed: Relaxed = relaxation.solve()?;
        let known_rings = pool.rings.len();
        let new_bound = if pool_needs_cut(&pool, &fixed) {
            // Whatever the plan is, it has at least one cut.
            (relaxed.bound.max(settings.least_cut) + settings.entry_price).max(bound)
        } else {
            bound
        };
        let moved = new_bound > bound + 1e-6;
        bound = new_bound;

        let mut passed = false;
        let proposal = {
            let deepest = deepest(graph, &pool);
            let builder = Builder::new(graph, &pool, settings, &deepest);
            let known = best.as_ref().map(|b| &b.1);
            match known.filter(|_| rounds % INTEGER_EVERY == 0) {
                Some(draft) => builder.integer_neighbour(draft, &relaxed.cut, &mut random),
                None => improve(&builder, known, &relaxed.cut, &mut random),
            }
        };
        if let Some(draft) = proposal {
            let mut settling =
                Settling { separator, settings, control, pool: &mut pool, order: &mut order };
            if let Some((price, cost, draft)) = settling.settle(draft, &mut random)
                && best.as_ref().is_none_or(|(_, b, least)| {
                    !settling.meets_all(&b.trimmed) || price < *least - 1e-9
                })
            {
                best = Some((cost, draft, price));
                passed = true;
            }
        }
        let widest = pool.rings.iter().map(|r| r.width).fold(0.0, f64::max);
        for share in [0.3, 1.0] {
            let looked: Vec<usize> = (0..SAMPLE.min(every.len()))
                .map(|k| every[(sample + k * STRIDE) % every.len()])
                .collect();
            sample += 1;
            let found = separator.tight_rings(
                &relaxed.cut,
                Crossing::Priced(share * widest),
                &looked,
                RINGS,
                control,
            );
            add_rings(separator, &mut pool, found.rings);
        }
        let new_rings = pool.rings.len() - known_rings;

        let gap = best.as_ref().map(|(c, ..)| if *c > 0.0 { (c - bound) / c } else { 0.0 });
        control.report(Progress {
            stage: Stage::Optimise,
            fraction: 0.1 + 0.8 * (control.elapsed().as_secs_f64() / settings.deadline).min(1.0),
            elapsed_seconds: control.elapsed().as_secs_f64(),
            rounds,
            rows: pool.rows.len() as u32,
            lower_bound: Some(bound),
            best_cost: best.as_ref().map(|b| b.0),
            best_length: best.as_ref().map(|b| b.1.trimmed.length(graph)),
            message: format!("{new_rings} new rings"),
        });
        if let Some(gap) = gap {
            if gap <= 1e-6 {
                break StopReason::Optimal;
            }
            if gap <= settings.target_gap {
                break StopReason::GapReached;
            }
        }
        idle = if passed || moved || new_rings > 0 { 0 } else { idle + 1 };
        if idle > PATIENCE && best.is_some() {
            break StopReason::Stalled;
        }
        if control.is_cancelled() {
            break StopReason::Cancelled;
        }
        if control.elapsed().as_secs_f64() > settings.deadline {
            break StopReason::TimeBudget;
        }
    };
    let (cost, best, _) = best.ok_or(SearchError::NoPlan(match stopped_by {
        StopReason::Cancelled => "cancelled",
        _ => "out of time",
    }))?;
    Ok(SearchOutcome { best: best.trimmed, cost, bound, pool, rounds, stopped_by })
}

/// Whether the fixed edges alone leave a row unmet.
fn pool_needs_cut(pool: &RowPool, fixed: &CutSet) -> bool {
    pool.activity(fixed.edges().iter().copied())
        .iter()
        .any(|&a| a < 1.0 - super::rows::ROW_TOLERANCE)
}

/// Move what was found useful to the front, in order of the last use.
pub(super) fn to_front(order: &mut Vec<usize>, hits: &[usize]) {
    let mut next: Vec<usize> = hits.to_vec();
    next.extend(order.iter().copied().filter(|t| !hits.contains(t)));
    *order = next;
}

/// Some steps of the primal search; the cheapest draft that meets every row of the pool.
fn improve(
    builder: &Builder<'_>,
    best: Option<&Draft>,
    relaxed: &[f64],
    random: &mut ChaCha8Rng,
) -> Option<Draft> {
    let mut current = match best {
        Some(draft) if builder.meets_all(&draft.trimmed) => draft.clone(),
        Some(draft) => builder.mend(draft, random)?,
        None => builder.from_scratch(relaxed, random)?,
    };
    let mut cost = builder.penalised_cost(&current.trimmed);
    for _ in 0..STEPS {
        if let Some(next) = builder.vary(&current, relaxed, random) {
            // The dear part of the price only where the cheap part promises something.
            if builder.cost(&next.trimmed) >= cost {
                continue;
            }
            let next_cost = builder.penalised_cost(&next.trimmed);
            if next_cost < cost - 1e-9 {
                current = next;
                cost = next_cost;
            }
        }
    }
    Some(current)
}

/// The vertex beyond each ring that lies deepest, by distance from the ring.
pub(super) fn deepest(graph: &PlanningGraph, pool: &RowPool) -> Vec<u32> {
    pool.rings
        .iter()
        .map(|ring| {
            let mut beyond = vec![false; graph.vertex_count()];
            for &v in &ring.beyond {
                beyond[v as usize] = true;
            }
            let edge: Vec<u32> = ring
                .outline
                .iter()
                .flat_map(|&e| graph.edges[e as usize].ends)
                .filter(|&v| beyond[v as usize])
                .collect();
            let distance = distances(graph, &edge);
            ring.beyond
                .iter()
                .copied()
                .max_by(|&a, &b| {
                    distance[a as usize].total_cmp(&distance[b as usize]).then(b.cmp(&a))
                })
                .unwrap_or(0)
        })
        .collect()
}
