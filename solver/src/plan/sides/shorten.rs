//! From the cut that surely releases to the shortest that still does: the trial judges each step.
//!
//! The first cut that passes is found in `first`. Then what
//! is cut is shortened from its ends, by gaps within it, and by other views at a length below the
//! best. A step that fails costs its trial and nothing else: the best that passed is kept throughout.

use super::confirm::FINER;
use super::cut::{Cut, FIRST_HINGE, first_patterns, longest};
use super::tries::{AT_ONCE, Tries};
use super::views::Views;
use crate::plan::error::PlanError;
use crate::plan::incumbents::Incumbents;
use crate::plan::request::PlanRequest;
use crate::plan::workbench::Workbench;

/// Shortening from an end is over at this share of a path, and in later rounds at half of that each time, but never below
/// the second number, mm: finer than a hand cuts. Like the numbers below tried on demo pieces and open meshes with 60 to
/// 120 s; no source.
const FINEST: (f64, f64) = (0.06, 4.0);
/// A gap within a cut is tried at this share of what is cut.
const GAP: f64 = 0.12;
/// Another view has to do with this share of the best length.
const NEXT_VIEW: f64 = 0.9;
/// Trials have no more elements than this each while cuts are shortened, and this many a second of the budget.
pub(super) const ELEMENTS: (usize, usize, f64) = (6_000, 16_000, 60.0);
/// Rounds of shortening at most.
const ROUNDS: u32 = 8;

/// Where a path is left uncut.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum End {
    First,
    Last,
}

/// How shortening ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::plan) enum Shortened {
    /// Time was up, or somebody stopped the work.
    OutOfTime,
    /// Nothing shorter was found.
    Done,
    /// No cut between two sides passed.
    NonePassed,
}

/// The search for the shortest cut between two sides.
pub(in crate::plan) struct Shortening<'s, 'v> {
    pub(super) tries: Tries<'s, 'v>,
}

impl<'s, 'v> Shortening<'s, 'v> {
    /// For a budget of time, or of rounds.
    pub(in crate::plan) fn new(views: &'s mut Views<'v>, request: &PlanRequest) -> Self {
        let (least, most, each) = ELEMENTS;
        let by_time = ((each * request.budget.seconds) as usize).clamp(least, most);
        let elements =
            request.trial.elements.map_or(by_time, |asked| asked.min(by_time.max(least)));
        Self { tries: Tries::new(views, request, elements) }
    }

    /// Trials have finer elements from now on.
    pub(super) fn refine(&mut self) {
        self.tries.elements = (FINER * self.tries.elements).min(ELEMENTS.1);
    }

    /// Shorten the best until `end`, seconds on the job's clock without what is given on top.
    pub(in crate::plan) fn shorten(
        &mut self,
        bench: &Workbench<'_, '_, '_>,
        incumbents: &mut Incumbents<'_>,
        end: f64,
    ) -> Result<Shortened, PlanError> {
        // What a hinge of the whole wall holds now it holds when less is cut.
        if !self.unfold(bench, incumbents, end)? {
            return Ok(Shortened::OutOfTime);
        }
        for round in 0..ROUNDS {
            let Some(before) = self.tries.best().map(Cut::length) else {
                return Ok(Shortened::NonePassed);
            };
            if !self.round(bench, incumbents, round, end)? {
                return Ok(Shortened::OutOfTime);
            }
            let now = self.tries.best().map_or(before, Cut::length);
            if now >= before - FINEST.1 && round > 1 {
                break;
            }
        }
        Ok(Shortened::Done)
    }

    /// One round of shortening; false where time was up.
    fn round(
        &mut self,
        bench: &Workbench<'_, '_, '_>,
        incumbents: &mut Incumbents<'_>,
        round: u32,
        end: f64,
    ) -> Result<bool, PlanError> {
        for which in [End::Last, End::First] {
            if !self.shorten_end(bench, incumbents, which, round, end)? {
                return Ok(false);
            }
        }
        if !self.leave_gaps(bench, incumbents, end)? {
            return Ok(false);
        }
        self.other_view(bench, incumbents, round as usize, end)
    }

    /// Leave the rubber behind hinges uncut.
    fn unfold(
        &mut self,
        bench: &Workbench<'_, '_, '_>,
        incumbents: &mut Incumbents<'_>,
        end: f64,
    ) -> Result<bool, PlanError> {
        let Some(best) = self.tries.best().cloned() else { return Ok(true) };
        let pattern = best.pattern.unfolding();
        if pattern == best.pattern {
            return Ok(true);
        }
        Ok(self.tries.attempt(bench, incumbents, &[best.with(pattern)], end)?.is_some())
    }

    /// Take as much as possible off one end of the longest piece: a third and two thirds of what may still go are tried at
    /// the same time.
    fn shorten_end(
        &mut self,
        bench: &Workbench<'_, '_, '_>,
        incumbents: &mut Incumbents<'_>,
        which: End,
        round: u32,
        end: f64,
    ) -> Result<bool, PlanError> {
        let Some(start) = self.tries.best().cloned() else { return Ok(true) };
        let Some(longest) = longest(&start.pattern) else { return Ok(true) };
        let at = if which == End::First { longest.from } else { longest.to };
        if start.pattern.folds_at(longest.path, at) {
            return Ok(true);
        }
        let least = bench.request.knife.least_cut;
        let finest = (FINEST.0 * longest.length() / f64::from(1 << round)).max(FINEST.1);
        let (mut kept, mut too_much) = (0.0, longest.length() - least);
        while too_much - kept > finest {
            let third = (too_much - kept) / 3.0;
            let offs = [kept + third, kept + 2.0 * third];
            let cuts = offs.map(|off| {
                let (from, to) = match which {
                    End::First => (longest.from, longest.from + off),
                    End::Last => (longest.to - off, longest.to),
                };
                start.with(start.pattern.without(longest.path, from, to, least))
            });
            match self.tries.attempt(bench, incumbents, &cuts, end)?.as_deref() {
                Some([_, true]) => kept = offs[1],
                Some([true, _]) => (kept, too_much) = (offs[0], offs[1]),
                Some(_) => too_much = offs[0],
                None => return Ok(false),
            }
        }
        Ok(true)
    }

    /// Leave gaps within what is cut, as wide as a hinge at least.
    fn leave_gaps(
        &mut self,
        bench: &Workbench<'_, '_, '_>,
        incumbents: &mut Incumbents<'_>,
        end: f64,
    ) -> Result<bool, PlanError> {
        let knife = &bench.request.knife;
        let (least, hinge, entry) = (knife.least_cut, knife.hinge_width, knife.entry_price);
        let Some(start) = self.tries.best().cloned() else { return Ok(true) };
        for piece in start.pattern.unfolding().pieces {
            let width = (GAP * start.pattern.length()).max(hinge);
            // A gap saves its width and costs an entry.
            if piece.length() < 2.0 * least + width || width <= entry {
                continue;
            }
            let count = ((piece.length() / (2.0 * width)) as usize).clamp(1, 4);
            let middles: Vec<f64> = (1..=count)
                .map(|k| piece.from + piece.length() * k as f64 / (count + 1) as f64)
                .collect();
            for some in middles.chunks(AT_ONCE) {
                let Some(best) = self.tries.best().cloned() else { return Ok(true) };
                let cuts: Vec<Cut> = some
                    .iter()
                    .map(|middle| {
                        let (from, to) = (middle - 0.5 * width, middle + 0.5 * width);
                        best.pattern.without(piece.path, from, to, least)
                    })
                    .filter(|pattern| pattern.length() <= best.pattern.length() - entry)
                    .map(|pattern| best.with(pattern))
                    .collect();
                if self.tries.attempt(bench, incumbents, &cuts, end)?.is_none() {
                    return Ok(false);
                }
            }
        }
        Ok(true)
    }

    /// Another view, cut shorter than the best.
    fn other_view(
        &mut self,
        bench: &Workbench<'_, '_, '_>,
        incumbents: &mut Incumbents<'_>,
        round: usize,
        end: f64,
    ) -> Result<bool, PlanError> {
        let Some(best) = self.tries.best().cloned() else { return Ok(true) };
        let order = self.tries.views.order().iter().copied();
        let others: Vec<usize> = order.filter(|&v| v != best.view).collect();
        if others.is_empty() {
            return Ok(true);
        }
        let (least, hinge) = (bench.request.knife.least_cut, bench.request.knife.hinge_width);
        for step in 0..2 {
            if bench.control.is_past(end) {
                return Ok(false);
            }
            let view = others[(2 * round + step) % others.len()];
            let sheet = self.tries.views.sheet(view, bench.control)?;
            let asked = NEXT_VIEW * best.length();
            let cuts: Vec<Cut> = first_patterns(&sheet, FIRST_HINGE, hinge)
                .into_iter()
                .take(2)
                .filter_map(|pattern| {
                    let over = pattern.length() - asked;
                    let longest = longest(&pattern).filter(|p| p.length() > over)?;
                    // The hinge that is there grows.
                    let (from, to) = if longest.from > 0.0 {
                        (longest.from, longest.from + over)
                    } else {
                        (longest.to - over, longest.to)
                    };
                    Some(if over > 0.0 {
                        pattern.without(longest.path, from, to, least)
                    } else {
                        pattern
                    })
                })
                .map(|pattern| Cut::new(view, pattern))
                .collect();
            match self.tries.attempt_each(bench, incumbents, &cuts, end)? {
                Some(true) => return Ok(true),
                Some(false) => {}
                None => return Ok(false),
            }
        }
        Ok(true)
    }
}
