//! A closer look at cuts that passed, with finer elements: coarse ones lose undercuts.

use super::cut::Cut;
use super::shorten::{ELEMENTS, Shortened, Shortening};
use super::tries::is_pass;
use crate::plan::error::PlanError;
use crate::plan::incumbents::Incumbents;
use crate::plan::workbench::Workbench;
use crate::trial::{GROWTH, LEAST_GAIN, Outcome, TrialReport};

/// The first cut that passes and the shortest one are looked at again with so many times the elements. Where the first
/// fails so, and where no first cut of the first views passes, trials go on with as many.
pub(super) const FINER: usize = 2;

impl Shortening<'_, '_> {
    /// Look at what passed again, with finer elements, the shortest first, until one stands: what they refute passed because undercuts
    /// were lost between the elements, so the search goes on with the finer ones. Whether none is left.
    pub(super) fn none_stands(
        &mut self,
        bench: &Workbench<'_, '_, '_>,
        incumbents: &mut Incumbents<'_>,
        end: f64,
    ) -> Result<bool, PlanError> {
        let elements = FINER * self.tries.elements;
        let mut is_refuted = false;
        while let Some((best, passed)) = self.tries.passed.last().cloned() {
            // Thin walls may have asked for as fine ones already.
            let is_gain = elements as f64 >= LEAST_GAIN * passed.mesh.elements as f64;
            if elements > ELEMENTS.1 || !is_gain {
                break;
            }
            let reports = self.tries.try_out(bench, &[&best], elements, end)?;
            let Some(report) = reports.and_then(|r| r.into_iter().next()) else { break };
            if is_pass(&report, bench.request) || !decides(&report) {
                break;
            }
            is_refuted = true;
            self.tries.take_back(bench, incumbents, report)?;
        }
        if is_refuted {
            self.refine();
        }
        Ok(self.tries.passed.is_empty())
    }

    /// Whether trials are as fine already as they are made while cuts are shortened, and a last look at the shortest would take more
    /// than so many seconds: as the last trials, with work that grows as in the trial's own budget.
    pub(in crate::plan) fn is_confirmed_in_vain(&self, seconds: f64) -> bool {
        let takes = self.tries.took * (FINER as f64).powf(GROWTH);
        FINER * self.tries.elements > ELEMENTS.1 && takes > seconds
    }

    /// The shortest cut is tried once more with finer elements, and one of half way to the longest beside it. If the shortest
    /// fails it is taken back, and the search for the shortest that passes goes on between those that failed and those that
    /// passed, until none is left or time is up. Where none passes, the shortest is reported as it is.
    pub(in crate::plan) fn confirm(
        &mut self,
        bench: &Workbench<'_, '_, '_>,
        incumbents: &mut Incumbents<'_>,
        end: f64,
    ) -> Result<Shortened, PlanError> {
        if incumbents.nearest().is_none_or(|nearest| nearest.two_sides().is_none()) {
            return Ok(Shortened::Done);
        }
        let elements = FINER * self.tries.elements;
        let (mut refuted, mut stands) = (None, None);
        let mut open = Open::new(self.tries.passed.len());
        let mut ended = Shortened::Done;
        while let Some(numbers) = open.next() {
            let cuts: Vec<Cut> = numbers.iter().map(|&k| self.tries.passed[k].0.clone()).collect();
            let cuts: Vec<&Cut> = cuts.iter().collect();
            let Some(finer) = self.tries.try_out(bench, &cuts, elements, end)? else {
                ended = Shortened::OutOfTime;
                // The best is still the one that it was, unless it was refuted.
                if refuted.is_some() && stands.is_none() {
                    stands = Some(self.tries.passed[numbers[0]].clone());
                }
                break;
            };
            for (k, report) in numbers.into_iter().zip(finer) {
                let (cut, coarse) = &self.tries.passed[k];
                let passes = is_pass(&report, bench.request);
                // What has no verdict refutes nothing.
                if passes || !decides(&report) {
                    if open.stands(k) {
                        stands = Some((cut.clone(), if passes { report } else { coarse.clone() }));
                    }
                } else {
                    open.is_refuted(k);
                    refuted.get_or_insert((cut.clone(), report));
                }
            }
        }
        if let Some((cut, report)) = stands.or(refuted) {
            self.tries.replace(bench, incumbents, &cut, report)?;
        }
        Ok(ended)
    }
}

/// Cuts, by their numbers, of which it is not known whether they stand: between the shortest that does and the longest that does
/// not, the longest first. What holds one cut holds a shorter one, as a rule.
struct Open {
    from: usize,
    to: usize,
}

impl Open {
    fn new(count: usize) -> Self {
        Self { from: 0, to: count }
    }

    /// The shortest and the one in the middle; none where there are no more.
    fn next(&self) -> Option<Vec<usize>> {
        let last = self.to.checked_sub(1).filter(|last| *last >= self.from)?;
        let middle = self.from + (last - self.from) / 2;
        Some(if middle < last { vec![last, middle] } else { vec![last] })
    }

    /// Whether it is the shortest that is known to stand, as all that are longer do.
    fn stands(&mut self, number: usize) -> bool {
        let is_shortest = number >= self.from;
        self.from = self.from.max(number + 1);
        is_shortest
    }

    fn is_refuted(&mut self, number: usize) {
        self.to = self.to.min(number);
    }
}

/// Whether a trial came to a verdict.
fn decides(report: &TrialReport) -> bool {
    matches!(report.outcome, Outcome::Stuck { .. } | Outcome::Released)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// For every number of cuts, and wherever the limit between those that stand and those that do not lies.
    #[test]
    fn the_shortest_that_stands_is_found_in_few_rounds() {
        for count in 0..40usize {
            for standing in 0..=count {
                let (mut open, mut found, mut rounds) = (Open::new(count), None, 0);
                while let Some(numbers) = open.next() {
                    rounds += 1;
                    for k in numbers {
                        if k >= standing {
                            open.is_refuted(k);
                        } else if open.stands(k) {
                            found = Some(k);
                        }
                    }
                }
                assert_eq!(found, standing.checked_sub(1), "{standing} of {count}");
                assert!(rounds <= count.max(1).ilog2() + 1, "{rounds} for {count}");
            }
        }
    }
}
