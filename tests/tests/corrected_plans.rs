//! The release trial corrects plans of a girth model that hopes for too much.

mod job;

use job::plan;
use slitwright_solver::body::{MouldShape, Rubber};
use slitwright_solver::plan::{
    Budget, KnifeRules, Plan, PlanRequest, TrialMode, TrialRequest, TrialVerdict,
};
use slitwright_solver::sheets::CostWeights;
use slitwright_solver::trial::Outcome;
use slitwright_tests::ball_on_rod;

/// Hands that open 2 mm at a time, and rubber that may be stretched to three and a half times its length:
/// by rings alone the ball comes off its rod uncut. The pull to open the hole is by the thick cylinder
/// in plane strain (see the trial's own tests) 120 N in rubber of 25 Shore A, and with the modulus 2.2 times
/// as much in one of 45 Shore A (Gent 1958).
fn hopeful(mode: TrialMode) -> PlanRequest {
    PlanRequest {
        mould: MouldShape::Box { side_clearance: 9.0, top_clearance: 9.0 },
        rubber: Rubber { shore_a: 45.0, working_stretch: 2.5, ..Rubber::default() },
        knife: KnifeRules { opening_zone: 2.0, ..KnifeRules::default() },
        weights: CostWeights::NONE,
        trial: TrialRequest { mode, elements: Some(4000), ..TrialRequest::default() },
        budget: Budget { seconds: 240.0, target_gap: 0.5, seed: 1 },
        ..PlanRequest::default()
    }
}

fn outcome(plan: &Plan) -> Outcome {
    match &plan.trial {
        TrialVerdict::Ran(trial) => trial.report.outcome,
        TrialVerdict::NotRun(why) => panic!("no trial: {why:?}"),
    }
}

#[test]
fn a_plan_that_fails_its_trial_is_made_again_until_it_passes() {
    let ball = || ball_on_rod(12.0, 4.0, 12.0, 2.0);
    let judged = plan("hopeful", ball(), &hopeful(TrialMode::Judge));
    assert_eq!(judged.total_length, 0.0, "rings alone ask for no cut");
    assert!(matches!(outcome(&judged), Outcome::Stuck { .. }), "{:?}", outcome(&judged));

    let corrected = plan("corrected", ball(), &hopeful(TrialMode::Correct));
    assert_eq!(outcome(&corrected), Outcome::Released);
    let TrialVerdict::Ran(trial) = &corrected.trial else { panic!("it was tried") };
    assert!(!trial.demands.is_empty(), "something was asked of the first plan");
    assert!(corrected.total_length > judged.total_length);
    // Each demand asks more of a ring than the girth model does, and more than it can stretch to.
    for demand in &trial.demands {
        assert!(demand.asked > demand.girth && demand.asked > demand.ring_length, "{demand:?}");
    }
}
