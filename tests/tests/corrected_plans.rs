//! The release trial corrects plans of a girth model that hopes for too much.

mod job;

use job::plan;
use slitwright_solver::body::{MouldShape, Rubber};
use slitwright_solver::plan::{
    Budget, KnifeRules, Plan, PlanRequest, PlanTrial, TrialMode, TrialRequest, TrialVerdict,
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
        budget: Budget { seconds: 300.0, target_gap: 0.9, seed: 1 },
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

    let corrected = plan("corrected", ball(), &hopeful(TrialMode::Correct));
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
