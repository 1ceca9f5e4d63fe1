//! Trials of cuts between two sides: those that passed, those that failed, and what is made of either.

use std::sync::Arc;

use rayon::prelude::*;

use super::cut::{Cut, Failure};
use super::draw::{Addition, Drawing};
use super::passed::Passed;
use super::pattern::whole;
use super::views::Views;
use crate::control::{Control, Stage};
use crate::plan::candidate::Candidate;
use crate::plan::error::PlanError;
use crate::plan::incumbents::Incumbents;
use crate::plan::request::PlanRequest;
use crate::plan::sheets::CutSurfaces;
use crate::plan::trial::{Effort, pieces_of, try_surfaces};
use crate::plan::verdict::{NotTried, PlanTrial, TrialVerdict, believed, is_easy};
use crate::plan::workbench::Workbench;
use crate::sides::PartingSheet;
use crate::trial::{Outcome, TrialError, TrialReport};

/// Cuts that are tried at the same time, however many threads there are: the same request makes the same plan.
pub(super) const AT_ONCE: usize = 2;
/// Trials for each round of a budget that counts rounds in place of time.
const TRIALS_A_ROUND: u32 = 4;

/// No trial takes more than this share of the budget: what jams and never comes to rest would take all of it. The tree's blanket
/// took up to 50 of 120 s for its first one, which passes; no source.
const LONGEST: f64 = 0.6;

/// How often elements are made finer for a cut at most, and how many times as many there are each time.
const REFINED: (u32, f64) = (3, 1.4);

/// As many as they come to where they are made finer as often as may be.
pub(super) fn most_refined(elements: usize) -> usize {
    (elements as f64 * REFINED.1.powi(REFINED.0 as i32)) as usize
}

/// Trials of cuts, and what came of them.
pub(in crate::plan) struct Tries<'s, 'v> {
    pub(super) views: &'s mut Views<'v>,
    /// All that passed, the shortest last, with their trials.
    pub(super) passed: Vec<(Cut, TrialReport)>,
    /// Cuts that were held somewhere, until one passes.
    pub(super) failures: Vec<Failure>,
    /// Cuts that come off, but with more pull than can be believed.
    pub(super) heavy: Vec<Cut>,
    /// Elements of a trial, about.
    pub(super) elements: usize,
    /// What the last trials took, made at the same time, seconds.
    pub(super) took: f64,
    /// Trials that may still be made, where they are counted and not timed.
    left: Option<u32>,
}

impl<'s, 'v> Tries<'s, 'v> {
    /// With so many elements each.
    pub(super) fn new(views: &'s mut Views<'v>, request: &PlanRequest, elements: usize) -> Self {
        let left = request.budget.rounds.map(|rounds| TRIALS_A_ROUND * rounds);
        let (passed, failures, heavy) = (Vec::new(), Vec::new(), Vec::new());
        Self { views, passed, failures, heavy, elements, took: 0.0, left }
    }

    /// The shortest that passed.
    pub(super) fn best(&self) -> Option<&Cut> {
        self.passed.last().map(|(cut, _)| cut)
    }

    /// Try cuts, a few at a time, until one passes; none where time is up.
    pub(super) fn attempt_each(
        &mut self,
        bench: &Workbench<'_, '_, '_>,
        incumbents: &mut Incumbents<'_>,
        cuts: &[Cut],
        end: f64,
    ) -> Result<Option<bool>, PlanError> {
        for some in cuts.chunks(AT_ONCE) {
            match self.attempt(bench, incumbents, some, end)? {
                Some(passed) if passed.contains(&true) => return Ok(Some(true)),
                Some(_) => {}
                None => return Ok(None),
            }
        }
        Ok(Some(false))
    }

    /// Try cuts at the same time, and tell which passed. What passes is offered; so is what fails as long as nothing
    /// passed. None where time is up.
    pub(super) fn attempt(
        &mut self,
        bench: &Workbench<'_, '_, '_>,
        incumbents: &mut Incumbents<'_>,
        cuts: &[Cut],
        end: f64,
    ) -> Result<Option<Vec<bool>>, PlanError> {
        let within = self.are_within_reach(bench, cuts)?;
        let tried: Vec<&Cut> = cuts.iter().zip(&within).filter(|w| *w.1).map(|w| w.0).collect();
        if tried.is_empty() {
            return Ok(Some(within));
        }
        let Some(passed) = self.attempt_within(bench, incumbents, &tried, end)? else {
            return Ok(None);
        };
        let mut passed = passed.into_iter();
        Ok(Some(within.into_iter().map(|w| w && passed.next() == Some(true)).collect()))
    }

    /// The same of cuts through which the blade is known to get to every bridge.
    pub(super) fn attempt_within(
        &mut self,
        bench: &Workbench<'_, '_, '_>,
        incumbents: &mut Incumbents<'_>,
        cuts: &[&Cut],
        end: f64,
    ) -> Result<Option<Vec<bool>>, PlanError> {
        let lengths: Vec<String> = cuts.iter().map(|c| format!("{:.0}", c.length())).collect();
        let message =
            format!("{} mm of cut between two sides, tried by simulation", lengths.join(" and "));
        bench.control.stage(Stage::Trial, 0.5, message);
        // Beside one that passes only what passes too counts.
        let hand_force = bench.request.knife.hand_force;
        let give_up = (!self.passed.is_empty()).then(|| believed(hand_force));
        let effort = Effort { give_up, ..Effort::of(self.elements, end) };
        let Some(reports) = self.try_with(bench, cuts, effort)? else {
            // Whoever has no time for a trial still gets a plan; one without any cut is none before it was tried.
            let first = cuts.iter().find(|cut| !cut.pattern.pieces.is_empty());
            if let Some(cut) = first
                && !incumbents.has_plan()
                && !bench.control.is_cancelled()
            {
                let verdict = TrialVerdict::NotRun(NotTried::Stopped);
                self.offer_with(bench, incumbents, cut, verdict)?;
            }
            return Ok(None);
        };
        let (mut is_late, mut passed) = (false, Vec::with_capacity(cuts.len()));
        for (&cut, report) in cuts.iter().zip(reports) {
            let is_whole = report.mesh.pieces <= 1;
            let passes = is_pass(&report, bench.request) && self.hangs_together(bench, cut)?;
            passed.push(passes);
            is_late |= report.outcome == Outcome::OutOfTime && bench.control.is_past(end);
            let (outcome, progress) = (report.outcome, report.progress);
            if passes {
                self.passed.push((cut.clone(), report.clone()));
                self.passed.sort_by(|a, b| b.0.length().total_cmp(&a.0.length()));
                let all = self.passed.iter().map(|(cut, _)| cut);
                incumbents.passed = Passed::of(self.views, self.elements, all);
            }
            // What is not cut at all is a plan where it passes, and else says nothing to anybody.
            if passes || (self.passed.is_empty() && !cut.pattern.pieces.is_empty()) {
                self.offer(bench, incumbents, cut, report)?;
            }
            match outcome {
                Outcome::Stuck { place, .. } => {
                    self.failures.push(Failure { cut: cut.clone(), place, progress });
                }
                Outcome::Released if !passes && is_whole => self.heavy.push(cut.clone()),
                _ => {}
            }
        }
        if passed.contains(&true) {
            self.failures.clear();
        }
        Ok(if is_late && !passed.contains(&true) { None } else { Some(passed) })
    }

    /// Whether the blade gets to every bridge through each of some cuts.
    pub(super) fn are_within_reach(
        &mut self,
        bench: &Workbench<'_, '_, '_>,
        cuts: &[Cut],
    ) -> Result<Vec<bool>, PlanError> {
        cuts.iter().map(|cut| self.is_within_reach(bench, cut)).collect()
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

    /// Whether a cut leaves the rubber in one piece, by counting cells. Whoever stops the work is told of it by the trial.
    pub(super) fn hangs_together(
        &mut self,
        bench: &Workbench<'_, '_, '_>,
        cut: &Cut,
    ) -> Result<bool, PlanError> {
        let surfaces = match self.surfaces(bench, cut) {
            Ok(surfaces) => surfaces,
            Err(PlanError::Cancelled(_)) => return Ok(true),
            Err(error) => return Err(error),
        };
        let all = surfaces.sheets.iter().chain(&surfaces.across);
        let counted = bench.setup.cells.cut_along(all, bench.control);
        Ok(counted.map_or(true, |one| one.holds()))
    }

    /// Elements as fine as it takes for a cut that leaves the rubber in one piece to leave them in one: where coarse ones lose the
    /// thin rubber by which a part hangs, nothing would hold that part in the trial. Where a few times finer ones do not do
    /// either, they stay as they are.
    pub(super) fn refine_for(
        &mut self,
        bench: &Workbench<'_, '_, '_>,
        cut: &Cut,
    ) -> Result<(), PlanError> {
        let surfaces = match self.surfaces(bench, cut) {
            Ok(surfaces) => surfaces,
            Err(PlanError::Cancelled(_)) => return Ok(()),
            Err(error) => return Err(error),
        };
        let mut elements = self.elements;
        for _ in 0..REFINED.0 {
            match pieces_of(bench.setup, &surfaces, bench.request, elements, bench.control) {
                Ok(0..=1) => {
                    self.elements = elements;
                    break;
                }
                Ok(_) => elements = (REFINED.1 * elements as f64) as usize,
                Err(TrialError::Cancelled(_)) => break,
                Err(error) => return Err(PlanError::Trial(error)),
            }
        }
        Ok(())
    }

    /// The trials of cuts, made at the same time; none where time is up.
    pub(super) fn try_out(
        &mut self,
        bench: &Workbench<'_, '_, '_>,
        cuts: &[&Cut],
        elements: usize,
        end: f64,
    ) -> Result<Option<Vec<TrialReport>>, PlanError> {
        self.try_with(bench, cuts, Effort::of(elements, end))
    }

    /// The same with as much effort as asked for, along the direction first in which the last one came off.
    pub(super) fn try_with(
        &mut self,
        bench: &Workbench<'_, '_, '_>,
        cuts: &[&Cut],
        effort: Effort,
    ) -> Result<Option<Vec<TrialReport>>, PlanError> {
        let (setup, request, control) = (bench.setup, bench.request, bench.control);
        control.rest();
        let count = cuts.len() as u32;
        let is_over =
            bench.control.is_past(effort.until) || self.left.is_some_and(|left| left < count);
        if control.is_cancelled() || is_over {
            return Ok(None);
        }
        self.left = self.left.map(|left| left - count);
        let mut surfaces = Vec::with_capacity(cuts.len());
        for cut in cuts {
            match self.surfaces(bench, cut) {
                Ok(surface) => surfaces.push(surface),
                Err(PlanError::Cancelled(_)) => return Ok(None),
                Err(error) => return Err(error),
            }
        }
        let first = self.passed.last().map(|(_, report)| report.direction);
        let until = effort.until.min(latest(request, control));
        let effort = Effort { first, until, ..effort };
        let began = control.elapsed();
        let reports: Vec<Result<TrialReport, TrialError>> = surfaces
            .par_iter()
            .with_max_len(1)
            .map(|surfaces| try_surfaces(setup, surfaces, request, &effort, control))
            .collect();
        self.took = control.elapsed().saturating_sub(began).as_secs_f64();
        let mut made = Vec::with_capacity(reports.len());
        for report in reports {
            match report {
                Ok(report) => made.push(report),
                Err(TrialError::Cancelled(_)) => return Ok(None),
                Err(error) => return Err(PlanError::Trial(error)),
            }
        }
        Ok(Some(made))
    }

    /// What a cut parts, drawn out beyond the rubber.
    fn surfaces(
        &mut self,
        bench: &Workbench<'_, '_, '_>,
        cut: &Cut,
    ) -> Result<CutSurfaces, PlanError> {
        let sheet = self.views.sheet(cut.view, bench.control)?;
        let mut sheets = vec![sheet.cut_surface(&|place| cut.pattern.is_cut(place))];
        let additions = self.additions(bench, cut)?;
        sheets.extend(additions.iter().map(|addition| addition.surface(&sheet)));
        let drawing = self.drawing(bench, &sheet, &additions);
        Ok(CutSurfaces { sheets, across: drawing.own_discs(&bench.request.sheets)? })
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

    /// A cut with its trial becomes a candidate.
    pub(super) fn offer(
        &mut self,
        bench: &Workbench<'_, '_, '_>,
        incumbents: &mut Incumbents<'_>,
        cut: &Cut,
        report: TrialReport,
    ) -> Result<(), PlanError> {
        self.offer_with(bench, incumbents, cut, verdict_of(bench, report))
    }

    fn offer_with(
        &mut self,
        bench: &Workbench<'_, '_, '_>,
        incumbents: &mut Incumbents<'_>,
        cut: &Cut,
        verdict: TrialVerdict,
    ) -> Result<(), PlanError> {
        if let Some(candidate) = self.drawn(bench, cut)? {
            incumbents.offer(bench, candidate.with_trial(verdict))?;
        }
        Ok(())
    }

    /// The shortest that passed does not by a finer trial: the next shortest takes its place, where there is one.
    pub(super) fn take_back(
        &mut self,
        bench: &Workbench<'_, '_, '_>,
        incumbents: &mut Incumbents<'_>,
        refuted: TrialReport,
    ) -> Result<(), PlanError> {
        let Some((cut, _)) = self.passed.pop() else { return Ok(()) };
        if refuted.outcome == Outcome::Released && refuted.mesh.pieces <= 1 {
            self.heavy.push(cut.clone());
        }
        self.replace(bench, incumbents, &cut, refuted)?;
        let all = self.passed.iter().map(|(cut, _)| cut);
        incumbents.passed = Passed::of(self.views, self.elements, all);
        match self.passed.last().cloned() {
            Some((cut, report)) => self.offer(bench, incumbents, &cut, report),
            None => Ok(()),
        }
    }

    /// A cut with a finer trial takes the place of the best.
    pub(super) fn replace(
        &mut self,
        bench: &Workbench<'_, '_, '_>,
        incumbents: &mut Incumbents<'_>,
        cut: &Cut,
        report: TrialReport,
    ) -> Result<(), PlanError> {
        let is_first = is_pass(&report, bench.request).then_some(cut);
        incumbents.passed = Passed::of(self.views, self.elements, is_first.into_iter());
        if let Some(candidate) = self.drawn(bench, cut)? {
            incumbents.replace(bench, candidate.with_trial(verdict_of(bench, report)))?;
        }
        Ok(())
    }

    /// The candidate of a cut; none where somebody stops the work: what was tried before stays.
    fn drawn(
        &mut self,
        bench: &Workbench<'_, '_, '_>,
        cut: &Cut,
    ) -> Result<Option<Candidate>, PlanError> {
        let sheet = match self.views.sheet(cut.view, bench.control) {
            Ok(sheet) => sheet,
            Err(PlanError::Cancelled(_)) => return Ok(None),
            Err(error) => return Err(error),
        };
        let additions = self.additions(bench, cut)?;
        let drawing = self.drawing(bench, &sheet, &additions);
        match drawing.candidate(&cut.pattern, bench.control) {
            Ok(candidate) => Ok(Some(candidate)),
            Err(PlanError::Cancelled(_)) => Ok(None),
            Err(error) => Err(error),
        }
    }
}

/// When a trial that begins now has to end, seconds on the job's clock without what is given on top.
fn latest(request: &PlanRequest, control: &Control<'_>) -> f64 {
    if request.budget.rounds.is_some() {
        return f64::MAX;
    }
    let now = control.elapsed().as_secs_f64() - control.with_extra_time(0.0);
    now + LONGEST * request.budget.seconds
}

fn verdict_of(bench: &Workbench<'_, '_, '_>, report: TrialReport) -> TrialVerdict {
    TrialVerdict::Ran(Arc::new(PlanTrial {
        report,
        model: bench.setup.working.clone(),
        paint: bench.setup.paint.clone(),
        hand_force: bench.request.knife.hand_force,
        to_mould: bench.setup.gate.to_mould,
        demands: Vec::new(),
    }))
}

/// Whether a cut counts: it comes off in one piece, with a pull that can be believed.
pub(super) fn is_pass(report: &TrialReport, request: &PlanRequest) -> bool {
    let comes_off = report.outcome == Outcome::Released && report.mesh.pieces <= 1;
    comes_off && is_easy(report, request.knife.hand_force)
}
