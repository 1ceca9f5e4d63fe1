//! The first cut that passes: all of the border but a hinge, from one view after the other.
//!
//! What is the surest to come off goes first, by itself; then, in thick rubber, the likeliest of shorter ones. Where all fail, the two
//! halves of a few views are tried loose, without any hinge: what holds these holds them with any hinge, and for those that come off most
//! easily a hinge that folds comes next.

use super::cut::{Cut, FIRST_HINGE, first_patterns, folding};
use super::pattern::{Pattern, whole};
use super::shorten::{ELEMENTS, Shortened, Shortening};
use super::tries::{AT_ONCE, most_refined};
use crate::body::Outside;
use crate::bridges::Bridge;
use crate::control::Stage;
use crate::mesh::Point;
use crate::plan::error::PlanError;
use crate::plan::incumbents::Incumbents;
use crate::plan::trial::Effort;
use crate::plan::workbench::Workbench;
use crate::trial::Outcome;

/// Hinge where nothing opens with that of the first cuts, as a share of the path that it lies on.
const SHORTEST_HINGE: f64 = 0.03;
/// The same where it is to be no wider than asked.
const NARROWEST: f64 = 0.0;
/// Hinges are made to fold where rubber is so many times as thick as their skin; no source.
const THICKER: f64 = 1.5;
/// Views whose loose halves are tried, at most.
const PARTED: usize = 4;
/// Views whose first cuts are tried before shortening begins, at most.
const MOST_VIEWS: usize = 6;

impl Shortening<'_, '_> {
    /// Try cuts with a short hinge, from one view after the other, until one passes that a finer look does not refute. The second
    /// end is for when two loose halves are known to come off.
    pub(in crate::plan) fn find_first(
        &mut self,
        bench: &Workbench<'_, '_, '_>,
        incumbents: &mut Incumbents<'_>,
        (end, end_in_sight): (f64, f64),
    ) -> Result<Shortened, PlanError> {
        if let Some(ended) = self.take_up(bench, incumbents, end)? {
            return Ok(ended);
        }
        let (begun, tried) = self.begin(bench, incumbents, end)?;
        if let Some(ended) = begun {
            return Ok(ended);
        }
        let views: Vec<usize> = self.tries.views.order().iter().copied().take(MOST_VIEWS).collect();
        let (likely, others) = views.split_at(views.len().min(AT_ONCE));
        // Elements as long as a limb is thick hook halves to each other: what is hard to open wants finer ones from here on.
        self.refine();
        // What holds two loose halves holds them with any hinge. The truest sides are the likeliest to come off.
        let (parted, unknown) = others.split_at(others.len().min(PARTED - AT_ONCE));
        let looked_at = if self.tries.views.are_in_a_blanket() {
            interleaved(likely, parted)
        } else {
            interleaved(parted, likely)
        };
        // What comes off on one hinge, only too heavily, needs no look at its loose halves.
        let mut heavy: Vec<usize> = self.tries.heavy.iter().map(|cut| cut.view).collect();
        heavy.dedup();
        let parting = if heavy.is_empty() {
            self.parting(bench, incumbents, &looked_at, end)?
        } else {
            let undecided = looked_at.iter().copied().filter(|view| !heavy.contains(view));
            Some(Parting { undecided: undecided.collect(), loose: heavy })
        };
        let Some(parting) = parting else { return Ok(Shortened::OutOfTime) };
        let end = if parting.loose.is_empty() { end } else { end_in_sight };
        // Thick hinges hold what the halves by themselves would let go, or let it go when they fold.
        let Some(mut folding) = self.folding_cuts(bench, incumbents, &parting.loose, end)? else {
            return Ok(Shortened::OutOfTime);
        };
        folding.retain(|cut| !self.tries.heavy.contains(cut));
        if let Some(ended) = self.first_of(bench, incumbents, &folding, end)? {
            return Ok(ended);
        }
        let mut order = parting.loose;
        order.extend(parting.undecided);
        if order.is_empty() {
            order = looked_at;
        }
        order.extend(unknown);
        for (round, views) in order.chunks(AT_ONCE).enumerate() {
            let cuts = self.first_cuts(bench, incumbents, views, FIRST_HINGE, end)?;
            let Some(mut cuts) = cuts else { return Ok(Shortened::OutOfTime) };
            cuts.retain(|cut| !tried.contains(cut));
            if let Some(ended) = self.first_of(bench, incumbents, &cuts, end)? {
                return Ok(ended);
            }
            if round > 0 {
                continue;
            }
            // What is hard to open wants the shortest hinge.
            let cuts = self.first_cuts(bench, incumbents, views, SHORTEST_HINGE, end)?;
            let Some(cuts) = cuts else { return Ok(Shortened::OutOfTime) };
            if let Some(ended) = self.first_of(bench, incumbents, &cuts, end)? {
                return Ok(ended);
            }
            if let Some(ended) = self.first_of_additions(bench, incumbents, end)? {
                return Ok(ended);
            }
        }
        let ended = self.first_of_additions(bench, incumbents, end)?;
        Ok(ended.unwrap_or(Shortened::NonePassed))
    }

    /// Try no cut at all, then the surest one, then shorter ones; how the search ended, if it did, and the shorter ones.
    fn begin(
        &mut self,
        bench: &Workbench<'_, '_, '_>,
        incumbents: &mut Incumbents<'_>,
        end: f64,
    ) -> Result<(Option<Shortened>, Vec<Cut>), PlanError> {
        let ended = |how| Ok((Some(how), Vec::new()));
        // Nothing is shorter than no cut at all, but across bridges; where a ring is too tight uncut it would miss the limit of
        // stretch.
        if bench.needs_no_cut() {
            let none = Cut::new(self.tries.views.truest(), Pattern { pieces: Vec::new() });
            if let Some(how) = self.first_of(bench, incumbents, &[none], end)? {
                return ended(how);
            }
        }
        let Some(surest) = self.surest(bench, incumbents, end)? else {
            return ended(Shortened::OutOfTime);
        };
        let Some(passes) = self.tries.attempt_each(bench, incumbents, &surest, end)? else {
            return ended(Shortened::OutOfTime);
        };
        let is_blanket = self.tries.views.are_in_a_blanket();
        if passes && is_blanket && !self.none_stands(bench, incumbents, end)? {
            return ended(Shortened::Done);
        }
        // In thick rubber a shorter border, and one along which the knife leans less, may do as well.
        match self.tries.views.look_at_the_likeliest(bench.request, end, bench.control) {
            Err(PlanError::Cancelled(_)) => return ended(Shortened::OutOfTime),
            looked => looked?,
        }
        let likely: Vec<usize> = self.tries.views.order().iter().copied().take(AT_ONCE).collect();
        let Some(tried) = self.likely(bench, incumbents, &likely, end)? else {
            return ended(self.ended_late());
        };
        let new: Vec<Cut> = tried.iter().filter(|cut| !surest.contains(cut)).cloned().collect();
        if self.tries.attempt_each(bench, incumbents, &new, end)?.is_none() {
            return ended(self.ended_late());
        }
        let stands = self.has_passed() && !self.none_stands(bench, incumbents, end)?;
        Ok((stands.then_some(Shortened::Done), tried))
    }

    /// The cut that is the surest to come off, to be tried alone: two trials at a time take longer to the first word. Between the truest
    /// sides; in thick rubber with a hinge that folds, in a blanket with a short one. None where the work is to stop.
    fn surest(
        &mut self,
        bench: &Workbench<'_, '_, '_>,
        incumbents: &mut Incumbents<'_>,
        end: f64,
    ) -> Result<Option<Vec<Cut>>, PlanError> {
        let views = [self.tries.views.truest()];
        let cuts = if self.tries.views.are_in_a_blanket() {
            self.first_cuts(bench, incumbents, &views, SHORTEST_HINGE, end)?
        } else {
            self.folding_cuts(bench, incumbents, &views, end)?
        };
        let Some(cuts) = cuts else { return Ok(None) };
        let cuts = self.in_one_piece(bench, cuts, 1)?;
        if let Some(cut) = cuts.first() {
            self.tries.refine_for(bench, cut)?;
        }
        Ok(Some(cuts))
    }

    /// The first cuts of the likeliest views. None where the work is to stop.
    fn likely(
        &mut self,
        bench: &Workbench<'_, '_, '_>,
        incumbents: &mut Incumbents<'_>,
        views: &[usize],
        end: f64,
    ) -> Result<Option<Vec<Cut>>, PlanError> {
        // A trial that holds costs a blanket a quarter of two minutes, and shortening widens what need not be so narrow.
        let is_blanket = self.tries.views.are_in_a_blanket();
        let hinge = if is_blanket { SHORTEST_HINGE } else { FIRST_HINGE };
        let Some(cuts) = self.first_cuts(bench, incumbents, views, hinge, end)? else {
            return Ok(None);
        };
        Ok(Some(self.in_one_piece(bench, cuts, AT_ONCE)?))
    }

    fn has_passed(&self) -> bool {
        self.tries.best().is_some()
    }

    /// How the search for a first cut ended where time was up on the way to a better one.
    fn ended_late(&self) -> Shortened {
        if self.has_passed() { Shortened::Done } else { Shortened::OutOfTime }
    }

    /// Begin with what passed in an earlier run of the job, the shortest first; none where nothing did, or it does not any more.
    fn take_up(
        &mut self,
        bench: &Workbench<'_, '_, '_>,
        incumbents: &mut Incumbents<'_>,
        end: f64,
    ) -> Result<Option<Shortened>, PlanError> {
        let before = &incumbents.passed;
        self.tries.elements =
            self.tries.elements.max(before.elements.min(most_refined(ELEMENTS.1)));
        let cuts = before.restored(self.tries.views);
        self.first_of(bench, incumbents, &cuts, end)
    }

    /// Try the two halves of some views with all of the border cut, without any hinge, until some come off. None where time is up.
    fn parting(
        &mut self,
        bench: &Workbench<'_, '_, '_>,
        incumbents: &mut Incumbents<'_>,
        views: &[usize],
        end: f64,
    ) -> Result<Option<Parting>, PlanError> {
        let mut all = Vec::with_capacity(views.len());
        for &view in views {
            match self.tries.views.sheet(view, bench.control) {
                Ok(sheet) => all.push(Cut::new(view, whole(&sheet))),
                Err(PlanError::Cancelled(_)) => return Ok(None),
                // It is told with the first cuts.
                Err(_) => {}
            }
        }
        let (mut loose, mut undecided) = (Vec::new(), Vec::new());
        for some in all.chunks(AT_ONCE) {
            if !loose.is_empty() {
                undecided.extend(some.iter().map(|cut| cut.view));
                continue;
            }
            let cuts: Vec<&Cut> = some.iter().collect();
            bench.control.stage(Stage::Trial, 0.5, "two loose halves, tried by simulation");
            // Halves that are free come off along the most open direction.
            let effort = Effort { attempts: 1, ..Effort::of(self.tries.elements, end) };
            let Some(reports) = self.tries.try_with(bench, &cuts, effort)? else {
                return Ok(None);
            };
            for (cut, report) in some.iter().zip(reports) {
                if report.outcome == Outcome::Released {
                    let pull = report.greatest_pull();
                    incumbents.halves.come_off(cut.length(), pull);
                    loose.push((pull, cut.view));
                } else if let Outcome::Stuck { place, .. } = report.outcome {
                    incumbents.halves.are_held(hole_at(&bench.setup.bridges.bridges, &place));
                } else {
                    undecided.push(cut.view);
                }
            }
        }
        loose.sort_by(|a, b| a.0.total_cmp(&b.0));
        Ok(Some(Parting { loose: loose.into_iter().map(|(_, view)| view).collect(), undecided }))
    }

    /// All of the border but one hinge, a `share` of it wide: the first place of the hinge for each of some views, then the
    /// second, and so on. When it is late one view is enough to have a plan, and no other is drawn. None where the work is
    /// to stop.
    fn first_cuts(
        &mut self,
        bench: &Workbench<'_, '_, '_>,
        incumbents: &mut Incumbents<'_>,
        views: &[usize],
        share: f64,
        end: f64,
    ) -> Result<Option<Vec<Cut>>, PlanError> {
        let mut cuts: Vec<(usize, Cut)> = Vec::new();
        for &view in views {
            if bench.control.is_past(end) && (incumbents.has_plan() || !cuts.is_empty()) {
                if cuts.is_empty() {
                    return Ok(None);
                }
                break;
            }
            let sheet = match self.tries.views.sheet(view, bench.control) {
                Ok(sheet) => sheet,
                Err(PlanError::Cancelled(_)) => return Ok(None),
                Err(error) => {
                    incumbents.fault(&error);
                    continue;
                }
            };
            let patterns = first_patterns(&sheet, share, bench.request.knife.hinge_width);
            let of_view = patterns.into_iter().map(|pattern| Cut::new(view, pattern));
            cuts.extend(of_view.enumerate());
        }
        cuts.sort_by_key(|&(place, _)| place);
        Ok(Some(cuts.into_iter().map(|(_, cut)| cut).collect()))
    }

    /// Two sides of some views that hang together by the skin of a hinge, as thick as a hinge is to be wide; in a blanket that is
    /// hardly thicker, by a hinge no wider than asked. None where the work is to stop.
    fn folding_cuts(
        &mut self,
        bench: &Workbench<'_, '_, '_>,
        incumbents: &mut Incumbents<'_>,
        views: &[usize],
        end: f64,
    ) -> Result<Option<Vec<Cut>>, PlanError> {
        let skin = bench.request.knife.hinge_width;
        let outside = bench.setup.body.outside();
        if matches!(outside, Outside::Offset { thickness, .. } if thickness <= THICKER * skin) {
            return self.first_cuts(bench, incumbents, views, NARROWEST, end);
        }
        let Some(cuts) = self.first_cuts(bench, incumbents, views, SHORTEST_HINGE, end)? else {
            return Ok(None);
        };
        let mut folded = Vec::with_capacity(cuts.len());
        for cut in cuts {
            let sheet = self.tries.views.sheet(cut.view, bench.control)?;
            folded.push(cut.with(folding(&sheet, &cut.pattern, skin)));
        }
        Ok(Some(folded))
    }

    /// The first `most` cuts that leave the rubber in one piece: others cannot pass. Where none does, the first ones as they are:
    /// their trials tell what holds.
    fn in_one_piece(
        &mut self,
        bench: &Workbench<'_, '_, '_>,
        mut cuts: Vec<Cut>,
        most: usize,
    ) -> Result<Vec<Cut>, PlanError> {
        let mut whole = Vec::with_capacity(most);
        for cut in &cuts {
            if whole.len() < most && self.tries.hangs_together(bench, cut)? {
                whole.push(cut.clone());
            }
        }
        if whole.is_empty() {
            cuts.truncate(most);
            return Ok(cuts);
        }
        Ok(whole)
    }

    /// Try cuts until one passes for good; none where none does.
    fn first_of(
        &mut self,
        bench: &Workbench<'_, '_, '_>,
        incumbents: &mut Incumbents<'_>,
        cuts: &[Cut],
        end: f64,
    ) -> Result<Option<Shortened>, PlanError> {
        let within = self.tries.are_within_reach(bench, cuts)?;
        let cuts: Vec<&Cut> = cuts.iter().zip(within).filter(|w| w.1).map(|w| w.0).collect();
        for some in cuts.chunks(AT_ONCE) {
            let Some(passed) = self.tries.attempt_within(bench, incumbents, some, end)? else {
                return Ok(Some(Shortened::OutOfTime));
            };
            if passed.contains(&true) && !self.none_stands(bench, incumbents, end)? {
                return Ok(Some(Shortened::Done));
            }
        }
        Ok(None)
    }

    /// The same with cuts of other views added to those that came nearest.
    fn first_of_additions(
        &mut self,
        bench: &Workbench<'_, '_, '_>,
        incumbents: &mut Incumbents<'_>,
        end: f64,
    ) -> Result<Option<Shortened>, PlanError> {
        Ok(match self.tries.add_other_views(bench, incumbents, end)? {
            Some(true) if self.none_stands(bench, incumbents, end)? => None,
            Some(true) => Some(Shortened::Done),
            Some(false) => None,
            None => Some(Shortened::OutOfTime),
        })
    }
}

/// What two loose halves did, by the views that they were seen from; those that are held are in neither list.
struct Parting {
    /// They come off, the easiest first.
    loose: Vec<usize>,
    /// That is not known.
    undecided: Vec<usize>,
}

/// The bridge in whose hole a place lies: nearer to the middle of its disc than the hole is wide or deep.
fn hole_at(bridges: &[Bridge], place: &Point) -> Option<usize> {
    let away = |k: usize| {
        let bridge = &bridges[k];
        (place - bridge.centre).norm() / bridge.neck_width.max(bridge.depth).max(1e-9)
    };
    let nearest = (0..bridges.len()).min_by(|&a, &b| away(a).total_cmp(&away(b)));
    nearest.filter(|&k| away(k) < 1.0)
}

/// One of each list in turn, the first list first.
fn interleaved(a: &[usize], b: &[usize]) -> Vec<usize> {
    let count = a.len().max(b.len());
    (0..count).flat_map(|k| a.get(k).into_iter().chain(b.get(k))).copied().collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lists_take_turns() {
        assert_eq!(interleaved(&[2, 3], &[0, 1]), [2, 0, 3, 1]);
        assert_eq!(interleaved(&[], &[0, 1]), [0, 1]);
        assert_eq!(interleaved(&[2, 3], &[0]), [2, 0, 3]);
    }
}
