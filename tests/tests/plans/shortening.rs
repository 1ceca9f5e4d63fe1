//! Cuts between two sides of random limbs are shortened: once one comes off, nothing that does not is shown or kept.

use std::sync::Mutex;

use crate::job::model;
use slitwright_solver::body::Rubber;
use slitwright_solver::control::Control;
use slitwright_solver::plan::{
    Budget, Hooks, KnifeRules, Plan, PlanRequest, Standing, TrialMode, TrialRequest, TrialVerdict,
    make_plan_with,
};
use slitwright_solver::sheets::CostWeights;
use slitwright_solver::trial::{Outcome, TrialReport};
use slitwright_tests::calibration::Limb;

/// Limbs in blocks that want cuts.
const LIMBS: [u64; 2] = [2, 6];

/// Rubber so stiff, and hands so weak, that limbs want cuts. Rounds are counted, so that the clock decides nothing.
fn request(limb: &Limb) -> PlanRequest {
    PlanRequest {
        mould: limb.shape.clone(),
        rubber: Rubber { shore_a: 45.0, working_stretch: 1.0, ..Rubber::default() },
        knife: KnifeRules { hand_force: 80.0, least_cut: 2.0, ..KnifeRules::default() },
        weights: CostWeights::NONE,
        trial: TrialRequest { mode: TrialMode::Correct, elements: Some(800), friction: 0.1 },
        budget: Budget { seconds: 20_000.0, target_gap: 0.0, seed: 7, rounds: Some(1) },
        ..PlanRequest::default()
    }
}

fn report(plan: &Plan) -> Option<&TrialReport> {
    match &plan.trial {
        TrialVerdict::Ran(trial) => Some(&trial.report),
        TrialVerdict::NotRun(_) => None,
    }
}

fn comes_off(plan: &Plan) -> bool {
    report(plan).is_some_and(|r| r.outcome == Outcome::Released && r.mesh.pieces <= 1)
}

/// Property over the family of random limbs that the calibration uses. A plan that came off may only be lost to a trial of the
/// same cuts with finer elements.
#[test]
fn shortening_never_leaves_a_failing_plan() {
    let mut shortened = 0;
    for seed in LIMBS {
        let limb = Limb::new(seed);
        let shown: Mutex<Vec<Plan>> = Mutex::default();
        let show = |plan: &Plan| shown.lock().expect("whole").push(plan.clone());
        let hooks = Hooks { better: Some(&show), ..Hooks::NONE };
        let request = request(&limb);
        let last = make_plan_with(&model(limb.model), &request, &Control::silent(), &hooks)
            .unwrap_or_else(|error| panic!("limb {seed}: {error}"));
        let shown = shown.into_inner().expect("whole");
        let told = |plan: &Plan| {
            let trial = report(plan).map(|r| (r.outcome, r.mesh.elements));
            format!("{:.0} mm {trial:?}", plan.total_length)
        };
        let told: Vec<String> = shown.iter().chain([&last]).map(told).collect();
        println!("limb {seed}: {told:?}");
        let passing: Vec<&Plan> = shown.iter().skip_while(|plan| !comes_off(plan)).collect();
        assert!(passing.iter().all(|plan| comes_off(plan)), "limb {seed}: {told:?}");
        // Each better one is shorter, or meets a limit that the one before missed.
        for pair in passing.windows(2) {
            let [before, after] = [pair[0], pair[1]].map(Standing::of);
            let is_better = after.cost < before.cost || after.missed < before.missed;
            assert!(is_better || after.tried < before.tried, "limb {seed}: {told:?}");
        }
        let Some(first) = passing.first() else { continue };
        let finest = report(&last).map_or(0, |r| r.mesh.elements);
        let are_coarser =
            passing.iter().all(|p| report(p).is_some_and(|r| r.mesh.elements < finest));
        assert!(comes_off(&last) || are_coarser, "limb {seed}: {told:?}");
        shortened += usize::from(comes_off(&last) && last.total_length < first.total_length);
    }
    assert!(shortened > 0, "some limb shows what shortening does");
}
