//! The trial corrects the plan: one that fails is made again with cut asked for across the rubber that was
//! stretched round the place where it was held.

use super::candidate::Candidate;
use super::demand::{Ask, Asked, asked_by};
use super::ending::TrialsEnd;
use super::error::PlanError;
use super::improve::{improve, mend};
use super::incumbents::Incumbents;
use super::request::TrialMode;
use super::verdict::{Demand, NotTried, TrialVerdict};
use super::workbench::Workbench;
use crate::optimise::cut_set::CutSet;
use crate::optimise::relaxation::RelaxationError;
use crate::optimise::search::SearchError;
use crate::trial::Outcome;

/// A plan is made and tried again while there is so many times the time left that it took last.
const LEAST_AGAIN: f64 = 1.2;

/// Share of the time left after which a plan that is made again has to be there: as much is for its
/// trial, and as much to make one more.
const SEARCHED: f64 = 1.0 / 3.0;

/// So many mended plans in a row that come no nearer make the next one be searched for anew.
const IN_VAIN: usize = 2;

/// Try a candidate with sheets as the request asks. As long as it fails and time is left before `end`, seconds
/// on the job's clock without what is given on top, make it again, until one passes. All of them are offered
/// to the incumbents.
///
/// What is asked is what the nearest candidate lacks, more of it every time that this brings no nearer one.
/// A search finds the shorter cuts, but others, which may fail elsewhere; a mended candidate holds what
/// the one before it did.
pub(super) fn try_and_correct(
    bench: &mut Workbench<'_, '_, '_>,
    incumbents: &mut Incumbents<'_>,
    candidate: Candidate,
    end: f64,
) -> Result<TrialsEnd, PlanError> {
    let control = bench.control;
    let clock = || control.elapsed().as_secs_f64();
    let mut demands: Vec<Demand> = Vec::new();
    let mut in_vain = 0;
    let mut began = clock();
    let tried = bench.with_trial(candidate, &demands, end);
    let mut verdict = tried.trial().clone();
    incumbents.offer(bench, tried)?;
    loop {
        if let Some(end) = settled(&verdict, demands.is_empty(), bench.request.trial.mode) {
            return Ok(end);
        }
        let now = clock();
        let left = control.with_extra_time(end) - now;
        let took = now - std::mem::replace(&mut began, now);
        if left < LEAST_AGAIN * took {
            return Ok(TrialsEnd::OutOfTime);
        }
        let Some(nearest) = incumbents.nearest() else { return Ok(TrialsEnd::GaveUp) };
        let Some(Asked { what, demand }) = asked_by(bench, nearest, 1 + in_vain) else {
            return Ok(TrialsEnd::GaveUp);
        };
        let anew = in_vain > 0 && in_vain % IN_VAIN == 0;
        let before = nearest.edges().filter(|_| !anew).cloned();
        match what {
            Ask::Cut(relief) => bench.search.relieve(relief),
            Ask::Opening(ring) => bench.search.demand(ring),
        }
        demands.push(demand);
        let until = now + SEARCHED * left - control.with_extra_time(0.0);
        let is_nearer = make_again(bench, incumbents, before, until).and_then(|made| {
            let tried = bench.with_trial(made, &demands, end);
            verdict = tried.trial().clone();
            incumbents.offer(bench, tried)
        });
        in_vain = match is_nearer {
            Ok(true) => 0,
            Ok(false) => in_vain + 1,
            Err(error) => return Ok(given_up(&error, incumbents)),
        };
    }
}

/// How the trials ended if this verdict is the last; none where the plan is to be made again.
fn settled(verdict: &TrialVerdict, is_first: bool, mode: TrialMode) -> Option<TrialsEnd> {
    match verdict {
        TrialVerdict::NotRun(NotTried::Stopped) => Some(TrialsEnd::OutOfTime),
        // Told among the limits.
        TrialVerdict::NotRun(_) => Some(TrialsEnd::AsSearched),
        TrialVerdict::Ran(trial) => match trial.report.outcome {
            Outcome::Released if is_first => Some(TrialsEnd::AsSearched),
            Outcome::Released => Some(TrialsEnd::Corrected),
            Outcome::OutOfTime => Some(TrialsEnd::OutOfTime),
            // There is no place to cut beside.
            Outcome::NoVerdict { .. } => Some(TrialsEnd::GaveUp),
            Outcome::Stuck { .. } if mode != TrialMode::Correct => Some(TrialsEnd::AsSearched),
            Outcome::Stuck { .. } => None,
        },
    }
}

/// Why no other plan came of what was asked. The incumbents keep what they have.
fn given_up(error: &PlanError, incumbents: &mut Incumbents<'_>) -> TrialsEnd {
    match error {
        PlanError::Search(SearchError::NoPlan(_)) | PlanError::Cancelled(_) => TrialsEnd::OutOfTime,
        PlanError::Search(SearchError::Relaxation(RelaxationError::Infeasible)) => {
            TrialsEnd::GaveUp
        }
        error => {
            incumbents.fault(error);
            TrialsEnd::Fault
        }
    }
}

/// Another candidate, now that more is asked, by `seconds` on the job's clock without what is given on top:
/// searched for, or the edges `before` with what they lack.
fn make_again(
    bench: &mut Workbench<'_, '_, '_>,
    incumbents: &mut Incumbents<'_>,
    before: Option<CutSet>,
    seconds: f64,
) -> Result<Candidate, PlanError> {
    bench.search.set_deadline(seconds);
    if !before.is_some_and(|before| mend(bench, incumbents, &before)) {
        improve(bench, incumbents, seconds)?;
    }
    let drawn = incumbents.take_drawn().ok_or(SearchError::NoPlan("out of time"))?;
    bench.with_sheets(drawn)
}
