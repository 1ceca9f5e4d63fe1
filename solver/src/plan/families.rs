//! Cuts of both families: between two sides of the model, and free ones by the girth model.
//!
//! Those between two sides come first, since they pass the soonest; free cuts compete. Thick rubber hardly opens at a slit, and in a
//! blanket, where the girth model is at home, what it finds is mostly held at first, too.

use super::candidate::Candidate;
use super::clock::{Span, StageClock};
use super::correct::try_and_correct;
use super::ending::{StopReason, TrialsEnd, stop_reason};
use super::error::PlanError;
use super::improve::improve;
use super::incumbents::Incumbents;
use super::request::PlanRequest;
use super::sides::{Shortened, Shortening, Views};
use super::workbench::Workbench;
use crate::control::{Control, Stage};
use crate::optimise::relaxation::RelaxationError;
use crate::optimise::search::SearchError;
use crate::trial::Finer;

/// When views are to be there, as a share of a pass: after that fewer of them are drawn.
const VIEWS: f64 = 0.4;
/// The first free cuts take about so many times as long as the first look for rings: 3.7 and 3.8 times in two runs on the
/// clapper.
const FIRST_ROUND: f64 = 4.0;
/// When the first cut between two sides has to have passed, as a share of a pass. Like the shares below tried on demo pieces
/// with 60 to 120 s; no source.
const FIRST: f64 = 0.7;
/// The same where the two loose halves are known to come off: only a hinge is to be found then, and free cuts in thick rubber have
/// less to hope for.
const FIRST_IN_SIGHT: f64 = 0.9;
/// When free cuts have to be there, as a share of a pass: where a cut between two sides passes, and where none does;
/// and the least time for them.
const FREE: (f64, f64, f64) = (0.25, 0.7, 0.1);
/// What their trial may take then.
const TRIED: f64 = 0.1;
/// When shortening ends, and the last trial begins.
const SHORTENED: f64 = 0.75;
/// The best free cuts by the girth model, with their sheets.
pub(super) fn search(
    bench: &mut Workbench<'_, '_, '_>,
    incumbents: &mut Incumbents<'_>,
    end: f64,
) -> Result<(StopReason, Candidate), PlanError> {
    let searched = improve(bench, incumbents, end).map_err(|error| match error {
        SearchError::Relaxation(RelaxationError::Infeasible) => PlanError::KeptOff,
        other => other.into(),
    })?;
    let drawn = incumbents.take_drawn().ok_or(SearchError::NoPlan("out of time"))?;
    Ok((searched, bench.with_sheets(drawn)?))
}

/// The work on both families within one pass.
pub(super) struct Families<'a, 'c> {
    request: &'a PlanRequest,
    control: &'a Control<'c>,
    /// When the pass begins and ends.
    span: Span<'a, 'c>,
    /// What the first look for rings took, seconds.
    first_look: f64,
}

impl<'a, 'c> Families<'a, 'c> {
    /// From when to when; the first look for rings took `first_look` seconds.
    pub(super) fn new(
        request: &'a PlanRequest,
        control: &'a Control<'c>,
        span: Span<'a, 'c>,
        first_look: f64,
    ) -> Self {
        Self { request, control, span, first_look }
    }

    /// Rounds are counted where they are given, and nothing is timed.
    fn is_timed(&self) -> bool {
        self.request.budget.rounds.is_none()
    }

    fn at(&self, share: f64) -> f64 {
        if self.is_timed() { self.span.at(share) } else { f64::MAX }
    }

    /// Whether free cuts that are looked for from `now` on, a reading of the job's clock, are there by `end`, seconds on it
    /// without what is given on top. That a model needs none is soon found.
    fn is_early(&self, bench: &Workbench<'_, '_, '_>, now: f64, end: f64) -> bool {
        let end = self.control.with_extra_time(end);
        !self.is_timed() || bench.needs_no_cut() || now + FIRST_ROUND * self.first_look <= end
    }

    /// Free cuts within so much of the pass.
    fn free(
        &self,
        bench: &mut Workbench<'_, '_, '_>,
        incumbents: &mut Incumbents<'_>,
        until: f64,
    ) -> Result<(StopReason, Candidate), PlanError> {
        bench.search.set_deadline(self.span.deadline(until, incumbents.has_plan()));
        search(bench, incumbents, until)
    }

    /// First a cut between two sides that passes, then free cuts as competitors, then the best of them shortened. Where there
    /// is a plan already, nothing begins that would end after the budget.
    pub(super) fn work(
        &self,
        bench: &mut Workbench<'_, '_, '_>,
        incumbents: &mut Incumbents<'_>,
        clock: &mut StageClock<'_, '_>,
    ) -> Result<StopReason, PlanError> {
        let mut views = self.views(bench, incumbents)?;
        let mut shortening = views.as_mut().map(|v| Shortening::new(v, self.request));
        // The time that is too short for free cuts is the trial's.
        let after = self.control.with_extra_time(self.at(FIRST));
        let is_shared = self.is_early(bench, after, self.span.end());
        let share = if is_shared { FIRST } else { 1.0 };
        let passes = self.first(&mut shortening, bench, incumbents, share)?;
        clock.lap("first cut between two sides");
        if self.control.is_cancelled() {
            return Ok(StopReason::Cancelled);
        }
        let now = self.control.elapsed().as_secs_f64();
        let until = self.at(if passes { FREE.0 } else { FREE.1 });
        let least = now - self.control.with_extra_time(0.0) + FREE.2 * self.span.seconds();
        let until = until.max(least).min(self.at(1.0));
        let mut searched = StopReason::TimeBudget;
        let mut trials = TrialsEnd::AsSearched;
        // Competitors that would not be there in time are better not begun: what passes is shortened for as long.
        let latest = if passes { until } else { self.span.end() };
        let is_wanted = !incumbents.has_plan() || self.is_early(bench, now, latest);
        match is_wanted.then(|| self.free(bench, incumbents, until)) {
            None => {}
            Some(Ok((end, candidate))) => {
                clock.lap("optimise, curves, sheets");
                searched = end;
                // Cuts that are dearer than what passes already need no trial.
                let best = incumbents.nearest().map(Candidate::cost);
                if !passes {
                    trials = try_and_correct(bench, incumbents, candidate, self.span.end())?;
                } else if best.is_none_or(|best| candidate.cost() < best) {
                    let end = (until + TRIED * self.span.seconds()).min(self.at(1.0));
                    let tried = bench.with_trial(candidate, &[], (end, Finer::IfReleased));
                    incumbents.offer(bench, tried)?;
                }
                clock.lap("trial of free cuts");
            }
            Some(Err(error)) => self.gone_on(incumbents, error)?,
        }
        if let Some(shortening) = shortening.as_mut().filter(|_| passes) {
            searched = self.shortened(shortening, bench, incumbents, clock)?;
        }
        Ok(stop_reason(searched, trials, self.control.is_cancelled()))
    }

    /// What an error of the search means where there is a plan already.
    fn gone_on(&self, incumbents: &mut Incumbents<'_>, error: PlanError) -> Result<(), PlanError> {
        match error {
            error if !incumbents.has_plan() => return Err(error),
            PlanError::Search(SearchError::NoPlan(_)) | PlanError::Cancelled(_) => {}
            error => incumbents.fault(&error),
        }
        Ok(())
    }

    /// All ways to draw two sides; none where there are none, or a fault is in the way: free cuts are there still.
    fn views<'v>(
        &self,
        bench: &Workbench<'v, '_, '_>,
        incumbents: &mut Incumbents<'_>,
    ) -> Result<Option<Views<'v>>, PlanError> {
        self.control.stage(Stage::Girth, 0.09, "two sides of the model are drawn");
        let views = Views::new(bench.setup, self.at(VIEWS), self.control);
        Ok(incumbents.unless_faulty(views)?.flatten())
    }

    /// Whether a first cut between two sides passes within a share of the pass.
    fn first(
        &self,
        shortening: &mut Option<Shortening<'_, '_>>,
        bench: &Workbench<'_, '_, '_>,
        incumbents: &mut Incumbents<'_>,
        share: f64,
    ) -> Result<bool, PlanError> {
        let Some(shortening) = shortening else { return Ok(false) };
        let ends = (self.at(share), self.at(share.max(FIRST_IN_SIGHT)));
        let found = shortening.find_first(bench, incumbents, ends);
        Ok(incumbents.unless_faulty(found)? == Some(Shortened::Done))
    }

    /// Shorten what passes, and look at it once more.
    fn shortened(
        &self,
        shortening: &mut Shortening<'_, '_>,
        bench: &Workbench<'_, '_, '_>,
        incumbents: &mut Incumbents<'_>,
        clock: &mut StageClock<'_, '_>,
    ) -> Result<StopReason, PlanError> {
        let (early, end) = (self.at(SHORTENED), self.span.end());
        // The time for a last trial that would not come to an end is better used to shorten.
        let is_in_vain = self.is_timed() && shortening.is_confirmed_in_vain(end - early);
        let shortened = shortening.shorten(bench, incumbents, if is_in_vain { end } else { early });
        let shortened = incumbents.unless_faulty(shortened)?;
        clock.lap("shortening");
        let confirmed = shortening.confirm(bench, incumbents, end);
        let confirmed = incumbents.unless_faulty(confirmed)?;
        clock.lap("last trial");
        let is_late = [shortened, confirmed].contains(&Some(Shortened::OutOfTime));
        Ok(match (is_late, self.is_timed()) {
            (false, _) => StopReason::Stalled,
            (true, true) => StopReason::TimeBudget,
            (true, false) => StopReason::Rounds,
        })
    }
}

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use super::*;
    use crate::body::GateChoice;
    use crate::mesh::fixtures::{icosphere, moved};
    use crate::mesh::{Point, PrepareOptions, prepare_mesh};
    use crate::plan::{Budget, NotTried, TrialVerdict, make_plan};

    /// Whose time is over before there is a plan gets one by the shortest way: a cut between two sides that nobody
    /// tries, nor looks for a better one beside it.
    #[test]
    fn a_job_whose_time_is_over_gets_one_plan_and_no_more() {
        let ball = moved(&icosphere(12.0, 4), [0.0, 0.0, 12.0]);
        let ball = prepare_mesh(ball, &PrepareOptions::default()).expect("sound");
        let budget = Budget { seconds: 4.0, ..Budget::default() };
        let gate = GateChoice::Patch { centre: Point::origin(), radius: 4.0 };
        let request = PlanRequest { gate, budget, ..PlanRequest::default() };
        let control = Control::silent().after(Duration::from_secs(1000));
        let plan = make_plan(&ball, &request, &control).expect("a plan");
        assert!(plan.two_sides.is_some() && plan.total_length > 0.0, "{:?}", plan.two_sides);
        assert_eq!(plan.trial, TrialVerdict::NotRun(NotTried::Stopped));
        assert_eq!(plan.ending.stopped_by, StopReason::TimeBudget);
        let stages: Vec<&str> = plan.figures.seconds.iter().map(|s| s.0.as_str()).collect();
        assert_eq!(stages.last(), Some(&"first cut between two sides"), "{stages:?}");
    }
}
