//! The release trial corrects plans of a girth model that hopes for too much, and what stops it is told.

mod job;

use std::sync::Mutex;
use std::time::Duration;

use job::{model, plan};
use slitwright_solver::body::{MouldShape, Rubber};
use slitwright_solver::control::{Cancel, Control, Extra, Progress, Stage};
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
        trial: TrialRequest { mode, elements: Some(4000), ..TrialRequest::default() },
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

#[test]
fn a_plan_that_fails_its_trial_is_made_again_until_it_passes() {
    let ball = || ball_on_rod(12.0, 4.0, 12.0, 2.0);
    let judged = plan("hopeful", ball(), &hopeful(TrialMode::Judge));
    let first = tried(&judged);
    assert!(matches!(first.report.outcome, Outcome::Stuck { .. }), "{:?}", first.report.outcome);

    // Plans on the way are shown with their trials, each stored to go on from before it is.
    let (shown, stored) = (Mutex::<Vec<Plan>>::default(), Mutex::new(0));
    let show = |plan: &Plan| {
        assert!(*stored.lock().expect("whole") > 0);
        shown.lock().expect("whole").push(plan.clone());
    };
    let keep = |_: &[u8]| *stored.lock().expect("whole") += 1;
    let hooks = Hooks { better: Some(&show), checkpoint: Some(&keep), resume: None };
    let request = hopeful(TrialMode::Correct);
    let corrected = make_plan_with(&model(ball()), &request, &Control::silent(), &hooks);
    let corrected = corrected.expect("a plan");
    assert_eq!(corrected.ending.stopped_by, StopReason::Corrected);
    let shown = shown.into_inner().expect("whole");
    let of_trials = shown.iter().filter(|plan| matches!(&plan.trial, TrialVerdict::Ran(_)));
    assert!(of_trials.count() >= 2, "the first plan, and the one that passes");
    let newest = shown.last().expect("some");
    assert_eq!((newest.cost, tried(newest)), (corrected.cost, tried(&corrected)));
    assert_eq!(newest.ending.stopped_by, StopReason::NotYet);
    let last = tried(&corrected);
    assert_eq!(last.report.mesh.pieces, 1);
    assert_eq!(last.report.outcome, Outcome::Released);
    assert!(last.report.greatest_pull() <= last.hand_force);
    assert!(corrected.total_length > judged.total_length);
    // Each names a ring, and asks for cut across the rubber that was stretched there.
    assert!(!last.demands.is_empty());
    for demand in &last.demands {
        assert!(demand.ring_length > 0.0 && demand.girth > 0.0, "{demand:?}");
        assert!(demand.cut > 0.0 && demand.asked == demand.girth, "{demand:?}");
    }
}

/// A job of which so many seconds are left, with a plan that is searched for as long as it takes and then
/// tried; `at_trial` is called when the trial begins.
fn tried_late(left: f64, extra: &Extra, at_trial: impl Fn(&Progress) + Sync + Send) -> Plan {
    let request = hopeful(TrialMode::Judge);
    let used = Duration::from_secs_f64(request.budget.seconds - left);
    let begun = Mutex::new(false);
    let control = Control::new(Cancel::new(), |progress| {
        let is_first = progress.stage == Stage::Trial
            && !std::mem::replace(&mut *begun.lock().expect("whole"), true);
        if is_first {
            at_trial(&progress);
        }
    });
    let control = control.after(used).with_extra(extra.clone());
    make_plan(&model(ball_on_rod(12.0, 4.0, 12.0, 2.0)), &request, &control).expect("a plan")
}

/// Wait until the job's budget is used.
fn wait_for_the_end(progress: &Progress) {
    let left = hopeful(TrialMode::Judge).budget.seconds - progress.elapsed_seconds;
    std::thread::sleep(Duration::from_secs_f64(left.max(0.0) + 0.2));
}

/// The search had reached its gap; the trial had not ended.
#[test]
fn time_that_runs_out_in_a_trial_is_told() {
    let plan = tried_late(30.0, &Extra::new(), wait_for_the_end);
    let outcome = tried(&plan).report.outcome;
    assert_eq!((outcome, plan.ending.stopped_by), (Outcome::OutOfTime, StopReason::TimeBudget));
    assert!(plan.ending.gap <= 0.9);
}

#[test]
fn time_that_is_given_during_a_trial_is_used() {
    let extra = Extra::new();
    let plan = tried_late(30.0, &extra, |progress| {
        extra.add(3000.0);
        wait_for_the_end(progress);
    });
    let outcome = tried(&plan).report.outcome;
    assert!(matches!(outcome, Outcome::Stuck { .. }), "{outcome:?}");
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
    let request = hopeful(TrialMode::Correct);
    let ball = model(ball_on_rod(12.0, 4.0, 12.0, 2.0));
    let plan = make_plan(&ball, &request, &control).expect("a plan");
    assert_eq!(plan.trial, TrialVerdict::NotRun(NotTried::Stopped));
    assert_eq!(plan.ending.stopped_by, StopReason::Cancelled);
}
