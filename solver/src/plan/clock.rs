//! Seconds of each stage, and shares of the time that there is.

use crate::control::Control;
use crate::optimise::settings::Deadline;

/// Seconds of each stage.
pub(super) struct StageClock<'a, 'b> {
    control: &'a Control<'b>,
    last: f64,
    pub laps: Vec<(String, f64)>,
}

impl<'a, 'b> StageClock<'a, 'b> {
    pub(super) fn new(control: &'a Control<'b>) -> Self {
        Self { control, last: control.elapsed().as_secs_f64(), laps: Vec::new() }
    }
    pub(super) fn lap(&mut self, name: &str) {
        let now = self.control.elapsed().as_secs_f64();
        self.laps.push((name.to_owned(), now - self.last));
        self.last = now;
    }
}

/// Share of the budget, and most seconds, kept for what follows the search.
const KEPT: (f64, f64) = (0.15, 3.0);

/// The time from one reading of a job's clock to another, and shares of it.
#[derive(Clone, Copy)]
pub(super) struct Span<'a, 'c> {
    began: f64,
    end: f64,
    control: &'a Control<'c>,
}

impl<'a, 'c> Span<'a, 'c> {
    /// From `began` to `end`, seconds on the job's clock, the latter without what is given on top.
    pub(super) fn new(began: f64, end: f64, control: &'a Control<'c>) -> Self {
        Self { began, end, control }
    }

    /// When it ends, seconds on the job's clock without what is given on top.
    pub(super) fn end(&self) -> f64 {
        self.end
    }

    /// How long it is with what was given on top until now, seconds.
    pub(super) fn seconds(&self) -> f64 {
        (self.control.with_extra_time(self.end) - self.began).max(0.0)
    }

    /// When a share of it is over, seconds on the job's clock without what is given on top: a job that goes on may have begun
    /// with all of its first budget used.
    pub(super) fn at(&self, share: f64) -> f64 {
        self.began + share * self.seconds() - self.control.with_extra_time(0.0)
    }

    /// When a search has to be over whose curves and sheets are wanted by `end`; later for a first plan, if there is none yet.
    pub(super) fn deadline(&self, end: f64, has_plan: bool) -> Deadline {
        let seconds = (self.control.with_extra_time(end) - self.began).max(0.0);
        let end = end - kept(seconds);
        if has_plan { Deadline::strict(end) } else { Deadline::patient(end, seconds) }
    }
}

/// What is kept of a budget for what follows the search, seconds.
pub(super) fn kept(seconds: f64) -> f64 {
    (KEPT.0 * seconds).min(KEPT.1)
}

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use super::*;
    use crate::control::{Cancel, Extra};

    /// A job of 4 s that got 10 s on top and goes on after 12 s: 2 s are left, and its shares are shares of those.
    #[test]
    fn what_is_left_is_shared_with_what_was_given_on_top() {
        let extra = Extra::new();
        extra.add(10.0);
        let control = Control::new(Cancel::new(), |_| {}).after(Duration::from_secs(12));
        let control = control.with_extra(extra);
        let span = Span::new(12.0, 4.0, &control);
        for (share, reading) in [(0.0, 12.0), (0.5, 13.0), (1.0, 14.0)] {
            let at = control.with_extra_time(span.at(share));
            assert!((at - reading).abs() < 1e-9, "{share}: {at}");
        }
        assert!((span.seconds() - 2.0).abs() < 1e-9);
    }

    /// A first plan is worth waiting for. Who has a plan waits for no other: half as much again of the job's time was let by.
    #[test]
    fn only_a_search_for_a_first_plan_may_be_late() {
        let control = Control::silent();
        let span = Span::new(0.0, 120.0, &control);
        let ends = |has_plan| {
            let deadline = span.deadline(40.0, has_plan);
            [true, false].map(|has_own| deadline.on(&control, has_own))
        };
        assert_eq!(ends(true), [37.0, 37.0]);
        assert_eq!(ends(false), [37.0, 57.0]);
    }
}
