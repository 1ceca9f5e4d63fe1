//! The same request gives the same plan, trial and all, whatever the machine does at the same time.

use crate::job::model;
use slitwright_solver::body::{MouldShape, Rubber};
use slitwright_solver::control::Control;
use slitwright_solver::plan::{
    Budget, KnifeRules, Plan, PlanRequest, StopReason, TrialMode, TrialRequest, TrialVerdict,
    make_plan,
};
use slitwright_solver::sheets::CostWeights;
use slitwright_tests::ball_on_rod;

/// Rubber that the girth model lets off with too little cut: a cut between two sides passes and is shortened, trial by
/// trial. The clock decides nothing: rounds and elements are given, and time is ample.
fn tried_often() -> PlanRequest {
    PlanRequest {
        mould: MouldShape::Box { side_clearance: 9.0, top_clearance: 9.0 },
        rubber: Rubber { shore_a: 45.0, working_stretch: 1.0, ..Rubber::default() },
        knife: KnifeRules { opening_zone: Some(8.0), hand_force: 120.0, ..KnifeRules::default() },
        weights: CostWeights::NONE,
        trial: TrialRequest { mode: TrialMode::Correct, elements: Some(600), friction: 0.1 },
        budget: Budget { seconds: 20_000.0, target_gap: 0.0, seed: 7, rounds: Some(1) },
        ..PlanRequest::default()
    }
}

/// Seconds are the clock's, and so is nothing else.
fn without_seconds(mut plan: Plan) -> Plan {
    plan.figures.seconds.clear();
    plan
}

#[test]
fn one_thread_and_two_make_the_same_plan() {
    let ball = model(ball_on_rod(12.0, 4.0, 12.0, 2.0));
    let made = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("threads");
        let plan = pool.install(|| make_plan(&ball, &tried_often(), &Control::silent()));
        without_seconds(plan.expect("a plan"))
    };
    let alone = made(1);
    assert!(matches!(&alone.trial, TrialVerdict::Ran(_)), "{:?}", alone.trial);
    assert_ne!(alone.ending.stopped_by, StopReason::TimeBudget);
    assert!(!alone.cuts.is_empty());
    assert_eq!(alone, made(2));
}
