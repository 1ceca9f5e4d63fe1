//! From the cut that surely releases to the shortest that still does: the trial judges each step.
//!
//! All of the border but a hinge is cut first, from one view after the other, until a trial passes. Then what
//! is cut is shortened by bisection from its ends, by gaps within it, and by other views at a length below the
//! best. A step that fails costs its trial and nothing else: the best that passed is kept throughout.

use std::sync::Arc;

use super::draw::{Addition, Drawing};
use super::pattern::{Pattern, Piece, exterior_paths, pieces_where, whole};
use super::views::Views;
use crate::control::Stage;
use crate::mesh::Point;
use crate::plan::error::PlanError;
use crate::plan::incumbents::Incumbents;
use crate::plan::request::PlanRequest;
use crate::plan::trial::{Effort, try_surfaces};
use crate::plan::verdict::{NotTried, PlanTrial, TrialVerdict, is_easy};
use crate::plan::workbench::Workbench;
use crate::sides::PartingSheet;
use crate::trial::{Outcome, TrialError, TrialReport};

/// Hinge of the first cuts, as a share of the path that it lies on; never less than is asked for.
const FIRST_HINGE: f64 = 0.08;
/// Views whose first cuts are tried before shortening begins, at most.
const MOST_VIEWS: usize = 6;
/// Bisection ends at this share of a path, and in later rounds at half of that each time, but never below the second
/// number, mm: finer than a hand cuts.
const FINEST: (f64, f64) = (0.06, 4.0);
/// A gap within a cut is tried at this share of what is cut.
const GAP: f64 = 0.12;
/// Another view has to do with this share of the best length.
const NEXT_VIEW: f64 = 0.9;
/// Trials take no more elements than this each while cuts are shortened, and this many a second of the budget.
const ELEMENTS: (usize, usize, f64) = (4_000, 16_000, 30.0);
/// Where no first cut of the first view passes, trials go on with so many times the elements.
const FINER: usize = 2;
/// The last trial of the shortest cut has so many times the elements, if there is time.
const CONFIRMED: f64 = 2.0;
/// Views whose first cuts are tried before what holds them is cut from other views.
const BEFORE_ADDITIONS: usize = 1;
/// Additions to one cut at most, and cuts that failed to which they are made.
const MOST_ADDITIONS: usize = 2;
const NEAREST: usize = 2;
/// Another view looks across the first one: the cosine of the angle between them is less than this.
const ACROSS: f64 = 0.75;
/// Other views tried.
const OTHER_VIEWS: usize = 2;
/// How far round the place of a hindrance another view is cut, as shares of the model's longest side.
const AROUND: [f64; 2] = [0.2, 0.35];
/// Distance off the model at which it is asked which side a place is on, mm.
const OFF_MODEL: f64 = 1.5;
/// Distance between two looks along a border, mm.
const LOOK_EVERY: f64 = 2.0;
/// Trials for each round of a budget that counts rounds in place of time.
const TRIALS_A_ROUND: u32 = 2;
/// Rounds of shortening at most.
const ROUNDS: u32 = 8;

/// Where a path is left uncut.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum End {
    First,
    Last,
}

/// A cut that passed, or would be the start of one.
#[derive(Clone, Debug)]
struct Cut {
    view: usize,
    pattern: Pattern,
    /// What of other views is cut besides, and on which side of the first sheet.
    additions: Vec<(usize, Pattern, f64)>,
}

impl Cut {
    fn new(view: usize, pattern: Pattern) -> Self {
        Self { view, pattern, additions: Vec::new() }
    }

    /// The same with another pattern.
    fn with(&self, pattern: Pattern) -> Self {
        Self { pattern, ..self.clone() }
    }

    /// Length that is cut, mm.
    fn length(&self) -> f64 {
        let additions: f64 = self.additions.iter().map(|(_, pattern, _)| pattern.length()).sum();
        // A sum over nothing is -0.0.
        0.0 + self.pattern.length() + additions
    }
}

/// How a cut failed.
#[derive(Clone, Debug)]
struct Failure {
    cut: Cut,
    /// Where the model was held.
    place: Point,
    /// See `TrialReport::progress`.
    progress: f64,
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
    views: &'s mut Views<'v>,
    /// All that passed, the best last, with their trials.
    passed: Vec<(Cut, TrialReport)>,
    elements: usize,
    /// Cuts that were held somewhere, until one passes.
    failures: Vec<Failure>,
    /// Trials that may still be made, where they are counted and not timed.
    trials_left: Option<u32>,
}

impl<'s, 'v> Shortening<'s, 'v> {
    /// For a budget of time, or of rounds.
    pub(in crate::plan) fn new(views: &'s mut Views<'v>, request: &PlanRequest) -> Self {
        let (least, most, each) = ELEMENTS;
        let by_time = ((each * request.budget.seconds) as usize).clamp(least, most);
        let elements =
            request.trial.elements.map_or(by_time, |asked| asked.min(by_time.max(least)));
        let trials_left = request.budget.rounds.map(|rounds| TRIALS_A_ROUND * rounds);
        Self { views, passed: Vec::new(), elements, failures: Vec::new(), trials_left }
    }

    /// The best that passed.
    fn best(&self) -> Option<&Cut> {
        self.passed.last().map(|(cut, _)| cut)
    }

    /// Try cuts with a short hinge, from one view after the other, until one passes.
    pub(in crate::plan) fn find_first(
        &mut self,
        bench: &mut Workbench<'_, '_, '_>,
        incumbents: &mut Incumbents<'_>,
        end: f64,
    ) -> Result<Shortened, PlanError> {
        // Nothing is shorter than no cut at all, but across bridges.
        let uncut = Cut::new(0, Pattern { pieces: Vec::new() });
        match self.attempt(bench, incumbents, uncut, end)? {
            Some(true) => return Ok(Shortened::Done),
            Some(false) => {}
            None => return Ok(Shortened::OutOfTime),
        }
        for view in 0..self.views.len().min(MOST_VIEWS) {
            let sheet = match self.views.sheet(view, bench.control) {
                Ok(sheet) => sheet,
                Err(PlanError::Cancelled(_)) => return Ok(Shortened::OutOfTime),
                Err(error) => {
                    incumbents.fault(&error);
                    continue;
                }
            };
            let hinge = bench.request.knife.hinge_width;
            let cuts = |share: f64| {
                let patterns = first_patterns(&sheet, share, hinge).into_iter();
                patterns.map(|pattern| Cut::new(view, pattern)).collect()
            };
            match self.attempt_each(bench, incumbents, cuts(FIRST_HINGE), end)? {
                Some(true) => return Ok(Shortened::Done),
                Some(false) => {}
                None => return Ok(Shortened::OutOfTime),
            }
            if view + 1 == BEFORE_ADDITIONS {
                // Elements as long as a limb is thick hook the halves to each other, and what is hard to open wants
                // the shortest hinge.
                self.elements = (FINER * self.elements).min(ELEMENTS.1);
                match self.attempt_each(bench, incumbents, cuts(0.0), end)? {
                    Some(true) => return Ok(Shortened::Done),
                    Some(false) => {}
                    None => return Ok(Shortened::OutOfTime),
                }
                match self.add_other_views(bench, incumbents, end)? {
                    Some(true) => return Ok(Shortened::Done),
                    Some(false) => {}
                    None => return Ok(Shortened::OutOfTime),
                }
            }
        }
        Ok(match self.add_other_views(bench, incumbents, end)? {
            Some(true) => Shortened::Done,
            Some(false) => Shortened::NonePassed,
            None => Shortened::OutOfTime,
        })
    }

    /// What the nearest cuts that failed are held at is cut from other views besides: an undercut that two sides leave
    /// wants a cut of its own.
    fn add_other_views(
        &mut self,
        bench: &mut Workbench<'_, '_, '_>,
        incumbents: &mut Incumbents<'_>,
        end: f64,
    ) -> Result<Option<bool>, PlanError> {
        for _ in 0..MOST_ADDITIONS {
            let mut failures = std::mem::take(&mut self.failures);
            failures.retain(|f| !f.cut.pattern.pieces.is_empty());
            failures.sort_by(|a, b| b.progress.total_cmp(&a.progress));
            for failure in failures.iter().take(NEAREST) {
                let cuts = self.with_additions(bench, failure)?;
                match self.attempt_each(bench, incumbents, cuts, end)? {
                    Some(false) => {}
                    decided => return Ok(decided),
                }
            }
        }
        Ok(Some(false))
    }

    /// A cut that failed with more cut from other views round the place where it was held.
    fn with_additions(
        &mut self,
        bench: &Workbench<'_, '_, '_>,
        failure: &Failure,
    ) -> Result<Vec<Cut>, PlanError> {
        let first = self.views.sheet(failure.cut.view, bench.control)?;
        let body = &bench.setup.body;
        let off = |p: &Point| body.model().closest(p).normal * OFF_MODEL;
        let at = body.model().closest(&failure.place);
        let Some(side) = first.side_of(&(at.point + at.normal * OFF_MODEL)) else {
            return Ok(Vec::new());
        };
        let own = self.views.direction(failure.cut.view);
        let across: Vec<usize> = (0..self.views.len())
            .filter(|&view| self.views.direction(view).dot(&own).abs() < ACROSS)
            .take(OTHER_VIEWS)
            .collect();
        let size = bench.setup.working.longest_side();
        let mut cuts = Vec::new();
        for share in AROUND {
            for &view in &across {
                let other = self.views.sheet(view, bench.control)?;
                let near = |p: &Point| {
                    (p - failure.place).norm() <= share * size
                        && first.side_of(&(p + off(p))) == Some(side)
                };
                let least = bench.request.knife.least_cut;
                let pattern = pieces_where(&other, LOOK_EVERY, least, &near);
                if !pattern.pieces.is_empty() {
                    let mut cut = failure.cut.clone();
                    cut.additions.push((view, pattern, side));
                    cuts.push(cut);
                }
            }
        }
        Ok(cuts)
    }

    /// Shorten the best until `end`, seconds on the job's clock without what is given on top.
    pub(in crate::plan) fn shorten(
        &mut self,
        bench: &mut Workbench<'_, '_, '_>,
        incumbents: &mut Incumbents<'_>,
        end: f64,
    ) -> Result<Shortened, PlanError> {
        for round in 0..ROUNDS {
            let Some(before) = self.best().map(Cut::length) else {
                return Ok(Shortened::NonePassed);
            };
            if !self.round(bench, incumbents, round, end)? {
                return Ok(Shortened::OutOfTime);
            }
            let now = self.best().map_or(before, Cut::length);
            if now >= before - FINEST.1 && round > 1 {
                break;
            }
        }
        Ok(Shortened::Done)
    }

    /// One round of shortening; false where time was up.
    fn round(
        &mut self,
        bench: &mut Workbench<'_, '_, '_>,
        incumbents: &mut Incumbents<'_>,
        round: u32,
        end: f64,
    ) -> Result<bool, PlanError> {
        for which in [End::Last, End::First] {
            if !self.bisect(bench, incumbents, which, round, end)? {
                return Ok(false);
            }
        }
        if !self.leave_gaps(bench, incumbents, end)? {
            return Ok(false);
        }
        self.other_view(bench, incumbents, round as usize, end)
    }

    /// Take as much as possible off one end of the longest piece.
    fn bisect(
        &mut self,
        bench: &mut Workbench<'_, '_, '_>,
        incumbents: &mut Incumbents<'_>,
        which: End,
        round: u32,
        end: f64,
    ) -> Result<bool, PlanError> {
        let Some(start) = self.best().cloned() else { return Ok(true) };
        let Some(longest) = longest(&start.pattern) else { return Ok(true) };
        let least = bench.request.knife.least_cut;
        let finest = (FINEST.0 * longest.length() / f64::from(1 << round)).max(FINEST.1);
        let (mut kept, mut too_much) = (0.0, longest.length() - least);
        while too_much - kept > finest {
            let off = 0.5 * (kept + too_much);
            let (from, to) = match which {
                End::First => (longest.from, longest.from + off),
                End::Last => (longest.to - off, longest.to),
            };
            let pattern = start.pattern.without(longest.path, from, to, least);
            match self.attempt(bench, incumbents, start.with(pattern), end)? {
                Some(true) => kept = off,
                Some(false) => too_much = off,
                None => return Ok(false),
            }
        }
        Ok(true)
    }

    /// Leave gaps within what is cut, as wide as a hinge at least.
    fn leave_gaps(
        &mut self,
        bench: &mut Workbench<'_, '_, '_>,
        incumbents: &mut Incumbents<'_>,
        end: f64,
    ) -> Result<bool, PlanError> {
        let knife = &bench.request.knife;
        let (least, hinge, entry) = (knife.least_cut, knife.hinge_width, knife.entry_price);
        let Some(start) = self.best().cloned() else { return Ok(true) };
        for piece in start.pattern.pieces.clone() {
            let width = (GAP * start.pattern.length()).max(hinge);
            // A gap saves its width and costs an entry.
            if piece.length() < 2.0 * least + width || width <= entry {
                continue;
            }
            let count = ((piece.length() / (2.0 * width)) as usize).clamp(1, 4);
            for k in 0..count {
                let Some(best) = self.best().cloned() else { return Ok(true) };
                let middle = piece.from + piece.length() * (k as f64 + 1.0) / (count as f64 + 1.0);
                let (from, to) = (middle - 0.5 * width, middle + 0.5 * width);
                let pattern = best.pattern.without(piece.path, from, to, least);
                if pattern.length() > best.pattern.length() - entry {
                    continue;
                }
                if self.attempt(bench, incumbents, best.with(pattern), end)?.is_none() {
                    return Ok(false);
                }
            }
        }
        Ok(true)
    }

    /// Another view, cut shorter than the best.
    fn other_view(
        &mut self,
        bench: &mut Workbench<'_, '_, '_>,
        incumbents: &mut Incumbents<'_>,
        round: usize,
        end: f64,
    ) -> Result<bool, PlanError> {
        let Some(best) = self.best().cloned() else { return Ok(true) };
        let others: Vec<usize> = (0..self.views.len()).filter(|&v| v != best.view).collect();
        if others.is_empty() {
            return Ok(true);
        }
        for step in 0..2 {
            let view = others[(2 * round + step) % others.len()];
            let sheet = self.views.sheet(view, bench.control)?;
            let asked = NEXT_VIEW * best.length();
            for pattern in first_patterns(&sheet, FIRST_HINGE, bench.request.knife.hinge_width)
                .into_iter()
                .take(2)
            {
                let over = pattern.length() - asked;
                let Some(longest) = longest(&pattern).filter(|p| p.length() > over) else {
                    continue;
                };
                let pattern = if over > 0.0 {
                    // The hinge that is there grows.
                    let (from, to) = if longest.from > 0.0 {
                        (longest.from, longest.from + over)
                    } else {
                        (longest.to - over, longest.to)
                    };
                    pattern.without(longest.path, from, to, bench.request.knife.least_cut)
                } else {
                    pattern
                };
                match self.attempt(bench, incumbents, Cut::new(view, pattern), end)? {
                    Some(true) => return Ok(true),
                    Some(false) => {}
                    None => return Ok(false),
                }
            }
        }
        Ok(true)
    }

    /// The shortest cut is tried once more with finer elements. If that fails it is taken back, and the next longer one
    /// that passed is tried so, until one passes or time is up. Where none does, the shortest is reported as it is.
    pub(in crate::plan) fn confirm(
        &mut self,
        bench: &mut Workbench<'_, '_, '_>,
        incumbents: &mut Incumbents<'_>,
        end: f64,
    ) -> Result<(), PlanError> {
        if incumbents.nearest().is_none_or(|nearest| nearest.two_sides().is_none()) {
            return Ok(());
        }
        let elements = (CONFIRMED * self.elements as f64) as usize;
        let mut refuted: Option<(Cut, TrialReport)> = None;
        let mut longer = (0..self.passed.len()).rev();
        let stands = loop {
            let Some(next) = longer.next() else { break refuted.take() };
            let (cut, coarse) = self.passed[next].clone();
            match self.try_out(bench, &cut, elements, end)? {
                Some(report) if is_pass(&report, bench.request) => break Some((cut, report)),
                Some(report)
                    if matches!(report.outcome, Outcome::Stuck { .. } | Outcome::Released) =>
                {
                    refuted.get_or_insert((cut, report));
                }
                // What has no verdict refutes nothing.
                _ => break Some((cut, coarse)),
            }
        };
        if let Some((cut, report)) = stands {
            incumbents.retract();
            self.offer(bench, incumbents, &cut, report)?;
        }
        Ok(())
    }

    /// Try cuts until one passes; none where time is up.
    fn attempt_each(
        &mut self,
        bench: &mut Workbench<'_, '_, '_>,
        incumbents: &mut Incumbents<'_>,
        cuts: Vec<Cut>,
        end: f64,
    ) -> Result<Option<bool>, PlanError> {
        for cut in cuts {
            match self.attempt(bench, incumbents, cut, end)? {
                Some(false) => {}
                decided => return Ok(decided),
            }
        }
        Ok(Some(false))
    }

    /// Try a cut. What passes becomes the best and is offered; so is what fails as long as nothing passed. None
    /// where time is up.
    fn attempt(
        &mut self,
        bench: &mut Workbench<'_, '_, '_>,
        incumbents: &mut Incumbents<'_>,
        cut: Cut,
        end: f64,
    ) -> Result<Option<bool>, PlanError> {
        if !self.is_within_reach(bench, &cut)? {
            return Ok(Some(false));
        }
        let length = cut.length();
        let message = format!("{length:.0} mm of cut between two sides, tried by simulation");
        bench.control.stage(Stage::Trial, 0.5, message);
        let Some(report) = self.try_out(bench, &cut, self.elements, end)? else {
            // Whoever has no time for a trial still gets a plan.
            if !incumbents.has_plan() && !bench.control.is_cancelled() {
                let verdict = TrialVerdict::NotRun(NotTried::Stopped);
                self.offer_with(bench, incumbents, &cut, verdict)?;
            }
            return Ok(None);
        };
        let passed = is_pass(&report, bench.request);
        let is_late = report.outcome == Outcome::OutOfTime;
        let (outcome, progress) = (report.outcome, report.progress);
        // What is not cut at all is a plan where it passes, and else says nothing to anybody.
        if passed || (self.best().is_none() && !cut.pattern.pieces.is_empty()) {
            self.offer(bench, incumbents, &cut, report.clone())?;
        }
        if passed {
            self.passed.push((cut, report));
            self.failures.clear();
        } else if let Outcome::Stuck { place, .. } = outcome {
            self.failures.push(Failure { cut, place, progress });
        }
        Ok(if is_late { None } else { Some(passed) })
    }

    /// Whether the blade gets to every bridge through a cut that it gets to with all of the border cut: a bridge has
    /// to be cut before the mould opens, so no trial can tell.
    fn is_within_reach(
        &mut self,
        bench: &Workbench<'_, '_, '_>,
        cut: &Cut,
    ) -> Result<bool, PlanError> {
        let sheet = match self.views.sheet(cut.view, bench.control) {
            Ok(sheet) => sheet,
            // Whoever stops the work is told of it by the trial.
            Err(PlanError::Cancelled(_)) => return Ok(true),
            Err(error) => return Err(error),
        };
        let additions = self.additions(bench, cut)?;
        let drawing = self.drawing(bench, &sheet, &additions);
        let (with_all, with_this) =
            (drawing.reached(&whole(&sheet)), drawing.reached(&cut.pattern));
        Ok(with_all.iter().zip(with_this).all(|(all, this)| this || !all))
    }

    fn try_out(
        &mut self,
        bench: &Workbench<'_, '_, '_>,
        cut: &Cut,
        elements: usize,
        end: f64,
    ) -> Result<Option<TrialReport>, PlanError> {
        let control = bench.control;
        control.rest();
        let until = control.with_extra_time(end);
        let is_over = control.elapsed().as_secs_f64() >= until || self.trials_left == Some(0);
        if control.is_cancelled() || is_over {
            return Ok(None);
        }
        self.trials_left = self.trials_left.map(|left| left - 1);
        let sheet = self.views.sheet(cut.view, control)?;
        let surface = sheet.cut_surface(&|place| cut.pattern.is_cut(place));
        let mut surfaces = vec![surface];
        let additions = self.additions(bench, cut)?;
        surfaces.extend(additions.iter().map(|addition| addition.surface(&sheet)));
        let drawing = self.drawing(bench, &sheet, &additions);
        surfaces.extend(drawing.own_discs(&bench.request.sheets));
        // The direction in which the last one came off.
        let first = self.passed.last().map(|(_, report)| report.direction);
        let effort = Effort { elements, until: end, first };
        match try_surfaces(bench.setup, &surfaces, bench.request, &effort, control) {
            Ok(report) => Ok(Some(report)),
            Err(TrialError::Cancelled(_)) => Ok(None),
            Err(error) => Err(PlanError::Trial(error)),
        }
    }

    fn drawing<'d>(
        &'d self,
        bench: &'d Workbench<'_, '_, '_>,
        sheet: &'d PartingSheet,
        additions: &'d [Addition],
    ) -> Drawing<'d> {
        let (setup, request) = (bench.setup, bench.request);
        Drawing { setup, sheet, additions, outer: self.views.outer(), request }
    }

    fn additions(
        &mut self,
        bench: &Workbench<'_, '_, '_>,
        cut: &Cut,
    ) -> Result<Vec<Addition>, PlanError> {
        let mut additions = Vec::with_capacity(cut.additions.len());
        for (view, pattern, side) in &cut.additions {
            let sheet = self.views.sheet(*view, bench.control)?;
            additions.push(Addition { sheet, pattern: pattern.clone(), side: *side });
        }
        Ok(additions)
    }

    fn offer(
        &mut self,
        bench: &Workbench<'_, '_, '_>,
        incumbents: &mut Incumbents<'_>,
        cut: &Cut,
        report: TrialReport,
    ) -> Result<(), PlanError> {
        let trial = PlanTrial {
            report,
            model: bench.setup.working.clone(),
            hand_force: bench.request.knife.hand_force,
            to_mould: bench.setup.gate.to_mould,
            demands: Vec::new(),
        };
        self.offer_with(bench, incumbents, cut, TrialVerdict::Ran(Arc::new(trial)))
    }

    fn offer_with(
        &mut self,
        bench: &Workbench<'_, '_, '_>,
        incumbents: &mut Incumbents<'_>,
        cut: &Cut,
        verdict: TrialVerdict,
    ) -> Result<(), PlanError> {
        let sheet = self.views.sheet(cut.view, bench.control)?;
        let additions = self.additions(bench, cut)?;
        let drawing = self.drawing(bench, &sheet, &additions);
        let candidate = match drawing.candidate(&cut.pattern, bench.control) {
            Ok(candidate) => candidate,
            // What was tried is lost only with the whole job.
            Err(PlanError::Cancelled(_)) => return Ok(()),
            Err(error) => return Err(error),
        };
        incumbents.offer(bench, candidate.with_trial(verdict))?;
        Ok(())
    }
}

/// Whether a cut counts: it comes off in one piece, with a pull that can be believed.
fn is_pass(report: &TrialReport, request: &PlanRequest) -> bool {
    let comes_off = report.outcome == Outcome::Released && report.mesh.pieces <= 1;
    comes_off && is_easy(report, request.knife.hand_force)
}

fn longest(pattern: &Pattern) -> Option<Piece> {
    pattern.pieces.iter().copied().max_by(|a, b| a.length().total_cmp(&b.length()))
}

/// All of the border but one hinge, a `share` of it and at least `hinge` mm wide, on its longest path: at one end, at
/// the other, in the middle; on a closed path at its lowest point, at its highest, and half way.
fn first_patterns(sheet: &PartingSheet, share: f64, hinge: f64) -> Vec<Pattern> {
    let all = whole(sheet);
    let Some(&(path, length, closed)) = exterior_paths(sheet).first() else { return Vec::new() };
    let width = (share * length).max(hinge).min(0.5 * length);
    let without = |from: f64, to: f64| all.without(path, from, to, 1e-6);
    if !closed {
        let middle = 0.5 * (length - width);
        return vec![
            without(length - width, length),
            without(0.0, width),
            without(middle, middle + width),
        ];
    }
    let points = &sheet.border.paths[path as usize].points;
    let mut along = 0.0;
    let mut heights = Vec::with_capacity(points.len());
    for pair in points.windows(2) {
        heights.push((pair[0].z, along));
        along += (pair[1] - pair[0]).norm();
    }
    let by_height = |a: &&(f64, f64), b: &&(f64, f64)| a.0.total_cmp(&b.0);
    let low = heights.iter().min_by(by_height).map_or(0.0, |h| h.1);
    let high = heights.iter().max_by(by_height).map_or(0.0, |h| h.1);
    let between = (0.5 * (low + high)).rem_euclid(length);
    [low, high, between]
        .into_iter()
        .map(|middle| {
            let from = (middle - 0.5 * width).rem_euclid(length);
            let to = from + width;
            let part = all.without(path, from, to.min(length), 1e-6);
            if to > length { part.without(path, 0.0, to - length, 1e-6) } else { part }
        })
        .collect()
}
