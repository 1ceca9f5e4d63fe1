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

/// A finished plan and how it was found.
pub(super) struct Found {
    /// Its cuts along the graph.
    pub cut: CutSet,
    /// Its curves.
    pub curves: Finished,
    /// Lower bound, mm.
    pub bound: f64,
    /// Rounds.
    pub rounds: u32,
    /// Why the search stopped.
    pub stopped_by: StopReason,
}

/// The best finished plan so far.
struct Kept {
    cost: f64,
    cut: CutSet,
    curves: Finished,
}

impl Kept {
    fn found(&self, search: &Search<'_, '_>, stopped_by: StopReason) -> Found {
        Found {
            cut: self.cut.clone(),
            curves: self.curves.clone(),
            bound: search.bound(),
            rounds: search.rounds(),
            stopped_by,
        }
    }
}

/// Who looks on while plans improve.
pub(super) trait Watch {
    /// Called after every few rounds, with the best set of cuts that was finished.
    fn went_on(&mut self, search: &Search<'_, '_>, best: Option<&CutSet>);
    /// Called when the best plan is a new one, and sound.
    fn better(&mut self, search: &Search<'_, '_>, found: Found);
}

/// Rounds of the search between two plans that are finished.
const ROUNDS: u32 = 2;

/// Mended plans of which the cheapest is taken where no search follows.
const TRIES: usize = 12;

/// Turns of finishing that a mended plan has to let no ring by.
const TURNS: usize = 4;

/// Times that a plan is finished and mended before the search goes on.
const MENDS: usize = 3;

/// Improve until the gap asked for is reached or `seconds` on the job's clock are over.
pub(super) fn improve(
    search: &mut Search<'_, '_>,
    finisher: &mut Finisher<'_>,
    seconds: f64,
    request: &PlanRequest,
    control: &Control<'_>,
    watch: &mut dyn Watch,
) -> Result<Found, SearchError> {
    let is_late = || control.elapsed().as_secs_f64() > control.with_extra_time(seconds);
    let mut finishing = Finishing { finisher, request, control, kept: None, last: None };
    let stopped_by = loop {
        let reason = search.run(ROUNDS, &mut |cut, pool| finishing.finisher.price(cut, pool))?;
        let Turn { sound, better } = finishing.finish_and_mend(search, &is_late);
        let kept = finishing.kept.as_ref();
        watch.went_on(search, kept.map(|k| &k.cut));
        if let Some(kept) = kept
            && kept.curves.is_sound()
            && kept.cost - search.bound() <= request.budget.target_gap * kept.cost
        {
            break StopReason::GapReached;
        }
        // A plan that releases is worth the time kept for what follows.
        let held = kept.is_some_and(|kept| kept.curves.is_sound());
        match reason {
            // An optimum along the graph that lets a ring by is none.
            Some(StopReason::Optimal) if !sound && !is_late() => {}
            Some(StopReason::TimeBudget) if !held && !is_late() => {}
            Some(reason) => break reason,
            None => {}
        }
        if let Some(kept) = kept.filter(|_| better) {
            watch.better(search, kept.found(search, StopReason::TimeBudget));
        }
    };
    let kept = finishing.kept.ok_or(SearchError::NoPlan("out of time"))?;
    Ok(kept.found(search, stopped_by))
}

/// A plan found before with what it lacks since more is asked of it, and else as it was: nobody looks for a
/// better one. None if no such plan is sound.
pub(super) fn mended(
    before: &Found,
    search: &mut Search<'_, '_>,
    finisher: &mut Finisher<'_>,
    request: &PlanRequest,
    control: &Control<'_>,
) -> Option<Found> {
    if !search.mend_from(&before.cut, TRIES, &mut |cut, pool| finisher.price(cut, pool)) {
        return None;
    }
    let mut finishing = Finishing { finisher, request, control, kept: None, last: None };
    let is_late = || control.is_cancelled();
    for _ in 0..TURNS {
        let turn = finishing.finish_and_mend(search, &is_late);
        if turn.sound && !turn.better {
            break;
        }
    }
    let kept = finishing.kept.filter(|kept| kept.curves.is_sound())?;
    Some(kept.found(search, before.stopped_by))
}

/// Finishes the plans of a search and keeps the best.
struct Finishing<'f, 'g> {
    finisher: &'f mut Finisher<'g>,
    request: &'f PlanRequest,
    control: &'f Control<'f>,
    kept: Option<Kept>,
    /// The last plan that was finished and sound.
    last: Option<CutSet>,
}

/// What a turn of finishing came to.
struct Turn {
    /// Whether the last plan that was finished is sound.
    sound: bool,
    /// Whether the best plan is a new one, and sound.
    better: bool,
}

impl Finishing<'_, '_> {
    fn finish_and_mend(&mut self, search: &mut Search<'_, '_>, is_late: &dyn Fn() -> bool) -> Turn {
        let Self { finisher, request, control, kept, last } = self;
        let mut turn = Turn { sound: true, better: false };
        for _ in 0..MENDS {
            let plan = search.plan().cloned().unwrap_or_default();
            // Whoever cancels does not wait for more than there is.
            let in_haste = control.is_cancelled() && kept.is_some();
            if last.as_ref() == Some(&plan) || in_haste {
                break;
            }
            let curves =
                finisher.finish(&plan, search.pool(), search.separator(), search.order(), control);
            turn.sound = curves.is_sound();
            search.add_seen(&curves.tight);
            let cost = curves.cost(request.knife.entry_price);
            *last = turn.sound.then(|| plan.clone());
            if kept.as_ref().is_none_or(|old| {
                curves
                    .worst_fault()
                    .total_cmp(&old.curves.worst_fault())
                    .then(cost.total_cmp(&old.cost))
                    == Ordering::Less
            }) {
                *kept = Some(Kept { cost, cut: plan, curves });
                turn.better = turn.sound;
            }
            // With what the look has found the plan may be mended at once.
            let mut price = |cut: &CutSet, pool: &RowPool| finisher.price(cut, pool);
            if turn.sound || is_late() || !search.mend(&mut price) {
                break;
            }
        }
        turn
    }
}
