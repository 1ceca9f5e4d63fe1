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
use crate::optimise::settings::Deadline;
use crate::trial::{Finer, Outcome};

/// A plan is made and tried again while there is so many times the time left that it took last. Like the two numbers below
/// tried on balls on rods and demo pieces; no source.
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
    let tried = bench.with_trial(candidate, &demands, (end, Finer::Always));
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
        let is_nearer = make_again(bench, incumbents, before, until, end).and_then(|made| {
            let tried = bench.with_trial(made, &demands, (end, Finer::Always));
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

/// Another candidate, now that more is asked: the edges `before` with what they lack, or searched for until `seconds`,
/// neither after `end`, both on the job's clock without what is given on top.
fn make_again(
    bench: &mut Workbench<'_, '_, '_>,
    incumbents: &mut Incumbents<'_>,
    before: Option<CutSet>,
    seconds: f64,
    end: f64,
) -> Result<Candidate, PlanError> {
    bench.search.set_deadline(Deadline::strict(seconds));
    if !before.is_some_and(|before| mend(bench, incumbents, &before, end)) {
        let control = bench.control;
        if control.is_past(end) {
            return Err(SearchError::NoPlan("out of time").into());
        }
        improve(bench, incumbents, seconds)?;
    }
    let drawn = incumbents.take_drawn().ok_or(SearchError::NoPlan("out of time"))?;
    bench.with_sheets(drawn)
}

#[cfg(test)]
mod tests {
    use super::super::ending::{StopReason, stop_reason};
    use super::super::hooks::Hooks;
    use super::super::request::{Budget, KnifeRules, PlanRequest, TrialRequest};
    use super::super::setup::set_up;
    use super::super::skin::Holes;
    use super::super::tools::{finisher, separator};
    use super::*;
    use crate::body::{GateChoice, MouldShape, Rubber};
    use crate::control::Control;
    use crate::mesh::fixtures::{icosphere, moved};
    use crate::mesh::{Point, PrepareOptions, prepare_mesh};
    use crate::optimise::pool::RowPool;
    use crate::optimise::search::Search;
    use crate::optimise::settings::SearchSettings;
    use crate::sheets::{CostWeights, SheetSettings};

    /// A ball on a small gate in thick rubber that weak hands cannot open without much cut.
    fn held_ball() -> PlanRequest {
        PlanRequest {
            mould: MouldShape::Box { side_clearance: 9.0, top_clearance: 9.0 },
            gate: GateChoice::Patch { centre: Point::origin(), radius: 4.0 },
            rubber: Rubber { shore_a: 45.0, working_stretch: 1.0, ..Rubber::default() },
            knife: KnifeRules {
                opening_zone: Some(8.0),
                // So weak that the trial cannot pass.
                hand_force: 5.0,
                ..KnifeRules::default()
            },
            weights: CostWeights::NONE,
            trial: TrialRequest { elements: Some(4000), ..TrialRequest::default() },
            budget: Budget { seconds: 600.0, target_gap: 0.9, seed: 1, rounds: None },
            ..PlanRequest::default()
        }
    }

    /// A plan that is to be made again meets a fault, here numbers that no sheet can be made with: what was
    /// tried before stays, and the fault is told.
    #[test]
    fn a_fault_on_the_way_leaves_the_plan_that_was_tried() {
        let ball = moved(&icosphere(12.0, 4), [0.0, 0.0, 12.0]);
        let model = prepare_mesh(ball, &PrepareOptions::default()).expect("sound");
        let (request, control) = (held_ball(), Control::silent());
        let setup = set_up(&model, &request, 1.0, Holes::Filled, &control).expect("set up");
        let settings = SearchSettings {
            entry_price: request.knife.entry_price,
            least_cut: request.knife.least_cut,
            hinge_width: request.knife.hinge_width,
            deadline: Deadline::strict(300.0),
            seed: 1,
            fixed: setup.fixed(),
            by_clock: true,
        };
        let separator = separator(&setup.graph);
        let mut finisher = finisher(&setup, &request);
        let pool = RowPool::new(setup.graph.edges.len());
        let mut search = Search::new(&separator, pool, settings, &control);
        let mut bench = Workbench {
            pass: 0,
            model: &model,
            request: &request,
            setup: &setup,
            search: &mut search,
            finisher: &mut finisher,
            control: &control,
        };
        let mut incumbents = Incumbents::new(&Hooks::NONE);
        incumbents.begin_mesh();
        let searched = improve(&mut bench, &mut incumbents, 300.0).expect("a plan");
        let drawn = incumbents.take_drawn().expect("drawn");
        let candidate = bench.with_sheets(drawn).expect("sheets");
        let sheets = SheetSettings { station_spacing: f64::NAN, ..SheetSettings::default() };
        let spoilt = PlanRequest { sheets, ..request.clone() };
        bench.request = &spoilt;
        let end = try_and_correct(&mut bench, &mut incumbents, candidate, 600.0).expect("a plan");
        assert_eq!(end, TrialsEnd::Fault);
        let reason = stop_reason(searched, end, false);
        let plan = incumbents.into_plan(reason, &request).expect("the plan that was tried");
        assert_eq!(plan.ending.stopped_by, StopReason::Fault);
        let TrialVerdict::Ran(trial) = &plan.trial else { panic!("{:?}", plan.trial) };
        assert!(
            matches!(trial.report.outcome, Outcome::Stuck { .. }),
            "{:?}",
            trial.report.outcome
        );
        // The limit says where the model is held, by height and side.
        let limit = plan.limits.iter().find(|limit| limit.name == "release trial").expect("tried");
        assert!(!limit.met && limit.text.contains("holds it back most "), "{}", limit.text);
        assert!(limit.text.contains(" the board, "), "{}", limit.text);
        let told = plan.warnings.last().expect("a warning");
        assert!(told.contains("station_spacing"), "{told}");
    }
}
