//! Cuts that pass their trial are only followed by shorter ones that pass, and what stops the work is told.

use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use crate::job::model;
use slitwright_solver::body::{MouldShape, Rubber};
use slitwright_solver::control::{Cancel, Control, Extra, Stage};
use slitwright_solver::plan::{
    Budget, Hooks, KnifeRules, NotTried, Plan, PlanRequest, PlanTrial, StopReason, TrialMode,
    TrialRequest, TrialVerdict, make_plan, make_plan_with,
};
use slitwright_solver::sheets::CostWeights;
use slitwright_solver::trial::Outcome;
use slitwright_tests::ball_on_rod;

/// Hands that open 8 mm at a time, and rubber that may be stretched to twice its length: by rings alone a
/// short cut lets the ball off its rod. The pull to open the hole without one is by the thick cylinder in
/// plane strain (see the trial's own tests) 120 N in rubber of 25 Shore A, and with the modulus 2.2 times as
/// much in one of 45 Shore A (Gent 1958). Cut open along the side up to the top of the ball, it is a strip
/// to be bent open, which takes less. A gap that is soon reached keeps the machine's speed out of it.
fn hopeful(mode: TrialMode) -> PlanRequest {
    PlanRequest {
        mould: MouldShape::Box { side_clearance: 9.0, top_clearance: 9.0 },
        rubber: Rubber { shore_a: 45.0, working_stretch: 1.0, ..Rubber::default() },
        knife: KnifeRules { opening_zone: Some(8.0), hand_force: 120.0, ..KnifeRules::default() },
        weights: CostWeights::NONE,
        trial: TrialRequest { mode, elements: Some(2000), ..TrialRequest::default() },
        budget: Budget { seconds: 300.0, target_gap: 0.9, seed: 1, rounds: None },
        ..PlanRequest::default()
    }
}

fn tried(plan: &Plan) -> &PlanTrial {
    match &plan.trial {
        TrialVerdict::Ran(trial) => trial,
        TrialVerdict::NotRun(why) => panic!("no trial: {why:?}"),
    }
}

/// The first plans are shown as they come, each stored to go on from before it is; one that passes is only followed by
/// shorter ones that pass, and the last one is what comes out. A step that fails never takes the place of one that
/// passed: that is what more time is for.
#[test]
fn a_cut_that_passes_is_only_followed_by_shorter_ones_that_pass() {
    let ball = || ball_on_rod(12.0, 4.0, 12.0, 2.0);
    let (shown, stored) = (Mutex::<Vec<Plan>>::default(), Mutex::new(0));
    let show = |plan: &Plan| {
        if plan.two_sides.is_some() {
            assert!(*stored.lock().expect("whole") > 0);
        }
        shown.lock().expect("whole").push(plan.clone());
    };
    let keep = |_: &[u8]| *stored.lock().expect("whole") += 1;
    let hooks = Hooks { better: Some(&show), checkpoint: Some(&keep), resume: None };
    let mut request = hopeful(TrialMode::Correct);
    request.budget.rounds = Some(4);
    let made = make_plan_with(&model(ball()), &request, &Control::silent(), &hooks);
    let made = made.expect("a plan");
    let last = tried(&made);
    assert_eq!((last.report.mesh.pieces, last.report.outcome), (1, Outcome::Released));
    assert!(last.report.greatest_pull() <= last.hand_force);
    let passed = |plan: &Plan| matches!(&plan.trial, TrialVerdict::Ran(t) if t.report.outcome == Outcome::Released);
    let shown = shown.into_inner().expect("whole");
    let first = shown.iter().position(passed).expect("one that passes is shown");
    for pair in shown[first..].windows(2) {
        assert!(
            passed(&pair[1]) && pair[1].cost < pair[0].cost,
            "{} {}",
            pair[0].cost,
            pair[1].cost
        );
    }
}

/// A plan whose trial begins at the moment when the budget is used, by a clock that stands still otherwise:
/// `at_trial` is called then.
fn tried_late(extra: &Extra, at_trial: impl Fn() + Sync + Send) -> Plan {
    let request = hopeful(TrialMode::Judge);
    let late = Duration::from_secs_f64(request.budget.seconds + 1.0);
    let begun = AtomicBool::new(false);
    let control = Control::new(Cancel::new(), |progress| {
        if progress.stage == Stage::Trial && !begun.swap(true, Ordering::Relaxed) {
            at_trial();
        }
    });
    let clock = || if begun.load(Ordering::Relaxed) { late } else { Duration::ZERO };
    let control = control.with_clock(clock).with_extra(extra.clone());
    make_plan(&model(ball_on_rod(12.0, 4.0, 12.0, 2.0)), &request, &control).expect("a plan")
}

/// The search had reached its gap; the trial had not ended.
#[test]
fn time_that_runs_out_in_a_trial_is_told() {
    let plan = tried_late(&Extra::new(), || {});
    let outcome = tried(&plan).report.outcome;
    assert_eq!((outcome, plan.ending.stopped_by), (Outcome::OutOfTime, StopReason::TimeBudget));
    assert!(plan.ending.gap <= 0.9);
}

#[test]
fn time_that_is_given_during_a_trial_is_used() {
    let extra = Extra::new();
    let plan = tried_late(&extra, || extra.add(3000.0));
    let outcome = tried(&plan).report.outcome;
    assert!(matches!(outcome, Outcome::Stuck { .. } | Outcome::Released), "{outcome:?}");
    assert_eq!(plan.ending.stopped_by, StopReason::GapReached);
}

#[test]
fn who_stops_a_trial_gets_a_plan_that_says_so() {
    let cancel = Cancel::new();
    let control = Control::new(cancel.clone(), |progress| {
        if progress.stage == Stage::Trial {
            cancel.cancel();
        }
    });
    let request = hopeful(TrialMode::Judge);
    let ball = model(ball_on_rod(12.0, 4.0, 12.0, 2.0));
    let plan = make_plan(&ball, &request, &control).expect("a plan");
    assert_eq!(plan.trial, TrialVerdict::NotRun(NotTried::Stopped));
    assert_eq!(plan.ending.stopped_by, StopReason::Cancelled);
}

/// The plan of a job that is stopped as soon as a cut that passed is about to be shortened, with what it left to go on from and the
/// plans that it showed. It goes on from `resume`.
fn stopped_once_it_passes(resume: Option<&[u8]>) -> (Plan, Vec<u8>, Vec<Plan>) {
    let cancel = Cancel::new();
    let (shown, kept) = (Mutex::<Vec<Plan>>::default(), Mutex::<Vec<u8>>::default());
    let plan = {
        let passed = |plan: &Plan| {
            plan.two_sides.is_some() && tried(plan).report.outcome == Outcome::Released
        };
        let show = |plan: &Plan| shown.lock().expect("whole").push(plan.clone());
        let keep = |bytes: &[u8]| *kept.lock().expect("whole") = bytes.to_vec();
        let control = Control::new(cancel.clone(), |progress| {
            if progress.stage == Stage::Trial && shown.lock().expect("whole").iter().any(passed) {
                cancel.cancel();
            }
        });
        let hooks = Hooks { better: Some(&show), checkpoint: Some(&keep), resume };
        let mut request = hopeful(TrialMode::Correct);
        request.budget.rounds = Some(4);
        let ball = model(ball_on_rod(12.0, 4.0, 12.0, 2.0));
        make_plan_with(&ball, &request, &control, &hooks).expect("the plan that passed")
    };
    assert!(cancel.is_cancelled(), "something passed, and was about to be shortened");
    (plan, kept.into_inner().expect("whole"), shown.into_inner().expect("whole"))
}

/// Whoever stops the work while a cut that passed is being shortened keeps that cut, and is told that the work was stopped. Whoever
/// takes the work up again begins with that cut: it is the first plan that is shown, with the trial that it had.
#[test]
fn who_stops_the_shortening_keeps_what_passed_and_goes_on_from_there() {
    let (plan, checkpoint, before) = stopped_once_it_passes(None);
    assert_eq!(tried(&plan).report.outcome, Outcome::Released);
    assert_eq!(plan.ending.stopped_by, StopReason::Cancelled);
    let (_, _, shown) = stopped_once_it_passes(Some(&checkpoint));
    let (last, first) = (before.last().expect("shown"), &shown[0]);
    assert_eq!((first.cost, &first.cuts), (last.cost, &last.cuts));
    let pull = |plan: &Plan| tried(plan).report.greatest_pull();
    assert_eq!((tried(first).report.outcome, pull(first)), (Outcome::Released, pull(last)));
}
