//! Cuts that passed, as a checkpoint keeps them: whoever takes the job up again begins with them.
//!
//! A view is found again by its direction and the length of its border, whatever its number.

use serde::{Deserialize, Serialize};

use super::cut::Cut;
use super::pattern::Pattern;
use super::views::{Mark, Views};

/// Cuts that passed, the shortest last.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(in crate::plan) struct Passed {
    /// Elements of their trials, about.
    pub(super) elements: usize,
    cuts: Vec<Saved>,
}

/// One of them.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
struct Saved {
    view: Mark,
    pattern: Pattern,
    additions: Vec<(Mark, Pattern, f64)>,
}

impl Passed {
    /// Of cuts that passed with so many elements, the shortest last.
    pub(super) fn of<'c>(
        views: &Views<'_>,
        elements: usize,
        cuts: impl Iterator<Item = &'c Cut>,
    ) -> Self {
        let saved = |cut: &Cut| {
            let addition = |(view, pattern, side): &(usize, Pattern, f64)| {
                (views.mark(*view), pattern.clone(), *side)
            };
            let additions = cut.additions.iter().map(addition).collect();
            Saved { view: views.mark(cut.view), pattern: cut.pattern.clone(), additions }
        };
        Self { elements, cuts: cuts.map(saved).collect() }
    }

    /// The cuts, the shortest first. One whose view is not there, or whose pieces do not lie on its border, is left out.
    pub(super) fn restored(&self, views: &Views<'_>) -> Vec<Cut> {
        let view = |mark: &Mark, pattern: &Pattern| {
            views.marked(mark).filter(|&view| pattern.lies_on(views.border(view)))
        };
        let restored = |saved: &Saved| {
            let mut cut = Cut::new(view(&saved.view, &saved.pattern)?, saved.pattern.clone());
            for (mark, pattern, side) in &saved.additions {
                let other = view(mark, pattern).filter(|_| side.is_finite())?;
                cut.additions.push((other, pattern.clone(), *side));
            }
            Some(cut)
        };
        self.cuts.iter().rev().filter_map(restored).collect()
    }
}
