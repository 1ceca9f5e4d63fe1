//! How work gets on, on a terminal.

use std::time::Duration;

use indicatif::{ProgressBar, ProgressStyle};
use slitwright_solver::control::Progress;

use super::summary;
use crate::convert::progress_to_proto;

/// A bar for work that tells how it gets on.
pub fn progress_bar() -> ProgressBar {
    let style = ProgressStyle::with_template("{bar:24} {percent:>3} % {elapsed:>5} {wide_msg}")
        .unwrap_or_else(|_| ProgressStyle::default_bar());
    // The bar keeps itself hidden where stderr is no terminal.
    let bar = ProgressBar::new(1000).with_style(style);
    bar.enable_steady_tick(Duration::from_millis(250));
    bar
}

/// Shows how the work gets on.
pub fn show(bar: &ProgressBar, progress: &Progress) {
    // A fraction outside 0 to 1 is pinned by the cast and the bar.
    bar.set_position((progress.fraction * 1000.0) as u64);
    bar.set_message(summary::progress_text(&progress_to_proto(progress)));
}
