//! Search and finish in turn: what counts is the finished candidate.
//!
//! The search works along the graph and on known rows. Every few rounds its best set is finished:
//! drawn straight and looked at again as it runs. A look that finds a ring sends it back to the
//! search; a clean candidate is kept if it is the best, and its cost is what the gap is measured
//! on.

use super::candidate::{Candidate, Origin};
use super::ending::StopReason;
use super::incumbents::Incumbents;
use super::workbench::Workbench;
use crate::optimise::cut_set::CutSet;
use crate::optimise::gap::gap;
use crate::optimise::search::{SearchEnd, SearchError};

/// Rounds of the search between two sets that are finished.
const ROUNDS: u32 = 2;

/// Mended sets of which the cheapest is taken where no search follows.
const TRIES: usize = 12;

/// Turns of finishing that a mended set has to let no ring by.
const TURNS: usize = 4;

/// Times that a set is finished and mended before the search goes on.
const MENDS: usize = 3;

/// Improve until the gap asked for is reached or `seconds` on the job's clock are over, those given on top
/// not counted. The best candidate is drawn among the incumbents then.
pub(super) fn improve(
    bench: &mut Workbench<'_, '_, '_>,
    incumbents: &mut Incumbents<'_>,
    seconds: f64,
) -> Result<StopReason, SearchError> {
    let control = bench.control;
    let is_late = || control.is_past(seconds);
    incumbents.begin_search();
    let first = bench.search.rounds();
    let mut last = None;
    loop {
        let Workbench { search, finisher, .. } = &mut *bench;
        let end = match search.run(ROUNDS, &mut |cut, pool| finisher.price(cut, pool)) {
            Ok(end) => end,
            Err(error) if incumbents.drawn().is_none() => return Err(error),
            Err(SearchError::NoPlan(_)) => return Ok(StopReason::TimeBudget),
            // What there is stays, whatever broke the search off.
            Err(error) => {
                incumbents.fault(&error);
                return Ok(StopReason::Fault);
            }
        };
        let is_sound = finish_and_mend(bench, incumbents, &mut last, &is_late);
        incumbents.search_went_on(bench);
        // A candidate that releases is worth the time kept for what follows.
        let held = incumbents.drawn().filter(|drawn| drawn.curves().is_sound());
        let target = bench.request.budget.target_gap;
        if held.is_some_and(|held| gap(held.cost(), bench.search.bound()) <= target) {
            return Ok(StopReason::GapReached);
        }
        if bench.request.budget.rounds.is_some_and(|most| bench.search.rounds() - first >= most) {
            return Ok(StopReason::Rounds);
        }
        match end {
            // An optimum along the graph that lets a ring by is none.
            Some(SearchEnd::Optimal) if !is_sound && !is_late() => {}
            Some(SearchEnd::TimeBudget) if held.is_none() && !is_late() => {}
            Some(end) => return Ok(end.into()),
            None => {}
        }
    }
}

/// Draw a set that was found before with what it lacks since more is asked of it, and else as it was: nobody
/// looks for a better one, nor goes on after `seconds` as in [`improve`]. Tells whether the candidate among the incumbents
/// is sound.
pub(super) fn mend(
    bench: &mut Workbench<'_, '_, '_>,
    incumbents: &mut Incumbents<'_>,
    before: &CutSet,
    seconds: f64,
) -> bool {
    incumbents.begin_search();
    let Workbench { search, finisher, control, .. } = &mut *bench;
    let control = *control;
    if !search.mend_from(before, TRIES, &mut |cut, pool| finisher.price(cut, pool)) {
        return false;
    }
    let (mut last, mut best) = (None, None);
    let is_late = || control.is_cancelled() || control.is_past(seconds);
    for _ in 0..TURNS {
        let is_sound = finish_and_mend(bench, incumbents, &mut last, &is_late);
        let cost = incumbents.drawn().map(Candidate::cost);
        if (is_sound && cost == best) || is_late() {
            break;
        }
        best = cost;
    }
    incumbents.drawn().is_some_and(|drawn| drawn.curves().is_sound())
}

/// Finish the search's best set, and mend it as long as the look at its curves finds rings. `last` is the
/// last one that was finished and sound. Tells whether the last one finished is.
fn finish_and_mend(
    bench: &mut Workbench<'_, '_, '_>,
    incumbents: &mut Incumbents<'_>,
    last: &mut Option<CutSet>,
    is_late: &dyn Fn() -> bool,
) -> bool {
    let Workbench { search, finisher, setup, request, control, .. } = bench;
    let mut is_sound = true;
    for _ in 0..MENDS {
        let set = search.plan().cloned().unwrap_or_default();
        // Whoever cancels does not wait for more than there is.
        let in_haste = control.is_cancelled() && incumbents.drawn().is_some();
        if last.as_ref() == Some(&set) || in_haste {
            break;
        }
        let curves =
            finisher.finish(&set, search.pools(), search.separator(), search.order(), control);
        is_sound = curves.is_sound();
        search.add_seen(&curves.tight);
        *last = is_sound.then(|| set.clone());
        let (graph, fixed, price) = (&setup.graph, setup.fixed(), request.knife.entry_price);
        let origin = Origin::FreeCuts(set);
        incumbents.offer_drawn(Candidate::drawn(origin, curves, graph, &fixed, price));
        // With what the look has found the set may be mended at once.
        if is_sound || is_late() || !search.mend(&mut |cut, pool| finisher.price(cut, pool)) {
            break;
        }
    }
    is_sound
}
