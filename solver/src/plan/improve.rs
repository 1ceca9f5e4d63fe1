//! Search and finish in turn: what counts is the finished plan.
//!
//! The search works along the graph and on known rows. Every few rounds its best plan is finished:
//! drawn straight and looked at again as it runs. A look that finds a ring sends it back to the
//! search; a clean plan is kept if it is the cheapest, and its cost is what the gap is measured
//! on.

use std::cmp::Ordering;

use super::{PlanRequest, StopReason};
use crate::control::Control;
use crate::curves::{Finished, Finisher};
use crate::optimise::cut_set::CutSet;
use crate::optimise::rows::RowPool;
use crate::optimise::search::{Search, SearchError};
use crate::optimise::separation::Separator;

/// A finished plan and how it was found.
pub(super) struct Found {
    /// Its cuts along the graph.
    pub cut: CutSet,
    /// Its curves.
    pub curves: Finished,
    /// Lower bound, mm.
    pub bound: f64,
    /// All rows and rings.
    pub pool: RowPool,
    /// Rounds.
    pub rounds: u32,
    /// Why the search stopped.
    pub stopped_by: StopReason,
}

/// Rounds of the search between two plans that are finished.
const ROUNDS: u32 = 2;

/// Times that a plan is finished and mended before the search goes on.
const MENDS: usize = 3;

/// Improve until the gap asked for is reached or the budget ends.
pub(super) fn improve(
    mut search: Search<'_, '_>,
    mut finisher: Finisher<'_>,
    separator: &Separator<'_>,
    request: &PlanRequest,
    control: &Control<'_>,
) -> Result<Found, SearchError> {
    let mut kept: Option<(f64, CutSet, Finished)> = None;
    let mut last: Option<CutSet> = None;
    let stopped_by = loop {
        let reason = search.run(ROUNDS, &mut |cut, pool| finisher.price(cut, pool))?;
        let mut sound = true;
        for _ in 0..MENDS {
            let plan = search.plan().cloned().unwrap_or_default();
            // Whoever cancels does not wait for more than there is.
            let in_haste = control.is_cancelled() && kept.is_some();
            if last.as_ref() == Some(&plan) || in_haste {
                break;
            }
            let curves = finisher.finish(&plan, search.pool(), separator, search.order(), control);
            sound = curves.is_sound();
            search.add_rings(curves.tight.clone());
            let cost = curves.cost(request.knife.entry_price);
            let better = kept.as_ref().is_none_or(|(least, _, old)| {
                curves.worst_fault().total_cmp(&old.worst_fault()).then(cost.total_cmp(least))
                    == Ordering::Less
            });
            last = sound.then(|| plan.clone());
            if better {
                kept = Some((cost, plan, curves));
            }
            // With what the look has found the plan may be mended at once.
            let late = control.elapsed().as_secs_f64() > request.budget.seconds;
            if sound || late || !search.mend(&mut |cut, pool| finisher.price(cut, pool)) {
                break;
            }
        }
        if let Some((cost, _, curves)) = &kept
            && curves.is_sound()
            && *cost - search.bound() <= request.budget.target_gap * cost
        {
            break StopReason::GapReached;
        }
        // A plan that releases is worth the time kept for what follows.
        let held = kept.as_ref().is_some_and(|(_, _, curves)| curves.is_sound());
        let late = control.elapsed().as_secs_f64() > request.budget.seconds;
        match reason {
            // An optimum along the graph that lets a ring by is none.
            Some(StopReason::Optimal) if !sound => {}
            Some(StopReason::TimeBudget) if !held && !late => {}
            Some(reason) => break reason,
            None => {}
        }
    };
    let Some((_, cut, curves)) = kept else {
        return Err(SearchError::NoPlan("out of time"));
    };
    Ok(Found {
        cut,
        curves,
        bound: search.bound(),
        rounds: search.rounds(),
        pool: search.into_pool(),
        stopped_by,
    })
}
