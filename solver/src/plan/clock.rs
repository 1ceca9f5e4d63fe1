//! Seconds of each stage.

use crate::control::Control;

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

/// What is kept of a budget for what follows the search, seconds.
pub(super) fn kept(seconds: f64) -> f64 {
    (KEPT.0 * seconds).min(KEPT.1)
}
