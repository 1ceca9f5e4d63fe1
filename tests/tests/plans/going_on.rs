//! A long plan that is followed, stopped, and gone on with. What stops it are rounds, not seconds, so
//! that nothing here depends on the machine.

use std::sync::Mutex;

use crate::job::thin_blanket;
use slitwright_solver::control::{Cancel, Control, Extra, Progress};
use slitwright_solver::mesh::{Model, PrepareOptions, prepare_mesh};
use slitwright_solver::plan::{
    Budget, Hooks, Plan, PlanError, PlanRequest, StopReason, make_plan_with,
};
use slitwright_tests::{ball_on_rod, sphere_on_gate};

fn ball() -> Model {
    let mesh = ball_on_rod(20.0, 6.0, 30.0, 4.0);
    prepare_mesh(mesh, &PrepareOptions::default()).expect("sound")
}

/// A request whose gap cannot be reached.
fn request(seconds: f64) -> PlanRequest {
    PlanRequest {
        budget: Budget { seconds, target_gap: 0.0, seed: 1, rounds: None },
        ..thin_blanket(Some(5.0))
    }
}

/// Time enough for any machine, too little for a second pass.
const AMPLE: f64 = 590.0;

/// Stops the search after a round, once there is a plan.
fn until<'a>(round: u32, look: impl Fn(&Progress) + Sync + Send + 'a) -> Control<'a> {
    let cancel = Cancel::new();
    Control::new(cancel.clone(), move |progress| {
        look(&progress);
        if progress.rounds >= round && progress.best_cost.is_some() {
            cancel.cancel();
        }
    })
}

/// Stopped early on and gone on with, a search has its rounds, its bound and its cuts.
#[test]
fn a_search_goes_on_from_its_checkpoint() {
    let model = ball();
    let kept: Mutex<Vec<Vec<u8>>> = Mutex::default();
    let keep = |bytes: &[u8]| kept.lock().expect("whole").push(bytes.to_vec());
    let hooks = Hooks { checkpoint: Some(&keep), ..Hooks::NONE };
    let asked = request(AMPLE);
    let first = make_plan_with(&model, &asked, &until(6, |_| {}), &hooks).expect("a plan");
    let checkpoint = kept.lock().expect("whole").pop().expect("one at the end at least");

    let rounds = Mutex::new(Vec::new());
    let control = until(first.figures.rounds + 4, |p| {
        if p.rounds > 0 {
            rounds.lock().expect("whole").push((p.rounds, p.lower_bound, p.rows));
        }
    });
    let hooks = Hooks { resume: Some(&checkpoint), ..Hooks::NONE };
    let second = make_plan_with(&model, &asked, &control, &hooks).expect("a plan");
    let (round, bound, rows) = rounds.lock().expect("whole")[0];
    assert_eq!(round, first.figures.rounds + 1, "the first round after those before");
    assert!(bound.expect("a bound") >= first.ending.lower_bound - 1e-9);
    assert!(rows >= first.figures.rows, "{rows} {}", first.figures.rows);
    assert!(second.ending.lower_bound >= first.ending.lower_bound.min(second.cost) - 1e-9);
}

#[test]
fn a_checkpoint_of_something_else_is_refused() {
    let kept: Mutex<Vec<u8>> = Mutex::default();
    let keep = |bytes: &[u8]| *kept.lock().expect("whole") = bytes.to_vec();
    let hooks = Hooks { checkpoint: Some(&keep), ..Hooks::NONE };
    let asked = request(AMPLE);
    make_plan_with(&ball(), &asked, &until(2, |_| {}), &hooks).expect("a plan");
    let mut checkpoint = kept.into_inner().expect("whole");
    let mesh = sphere_on_gate(20.0, 5.0, 4.0);
    let other = prepare_mesh(mesh, &PrepareOptions::default()).expect("sound");
    let go_on = |model: &Model, bytes: &[u8]| {
        let hooks = Hooks { resume: Some(bytes), ..Hooks::NONE };
        make_plan_with(model, &asked, &until(3, |_| {}), &hooks)
    };
    let refused = go_on(&other, &checkpoint).expect_err("another model");
    assert!(matches!(refused, PlanError::Checkpoint { .. }), "{refused}");
    let refused = go_on(&ball(), &checkpoint[..checkpoint.len() / 2]).expect_err("cut short");
    assert!(matches!(refused, PlanError::Checkpoint { .. }), "{refused}");
    // Bytes turned over may still make sense as numbers; they never make a panic.
    let middle = checkpoint.len() / 2;
    checkpoint[middle..middle + 8].fill(0xff);
    match go_on(&ball(), &checkpoint) {
        Ok(plan) => assert!(plan.cost.is_finite()),
        Err(error) => assert!(matches!(error, PlanError::Checkpoint { .. }), "{error}"),
    }
}

/// Plans that are shown get better and better, each whole.
#[test]
fn better_plans_are_shown_as_they_come() {
    let shown: Mutex<Vec<Plan>> = Mutex::default();
    let show = |plan: &Plan| shown.lock().expect("whole").push(plan.clone());
    let hooks = Hooks { better: Some(&show), ..Hooks::NONE };
    // Some rounds more once one was shown.
    let (cancel, since) = (Cancel::new(), Mutex::new(None));
    let control = Control::new(cancel.clone(), |progress| {
        if !shown.lock().expect("whole").is_empty() {
            let first = *since.lock().expect("whole").get_or_insert(progress.rounds);
            if progress.rounds >= first + 6 {
                cancel.cancel();
            }
        }
    });
    let last = make_plan_with(&ball(), &request(AMPLE), &control, &hooks).expect("a plan");
    drop(control);
    let shown = shown.into_inner().expect("whole");
    assert!(!shown.is_empty());
    for plan in &shown {
        assert!(plan.sheets.is_some() && !plan.cuts.is_empty());
        assert!(plan.limits.iter().any(|l| l.name == "release" && l.met));
    }
    let costs: Vec<f64> = shown.iter().map(|p| p.cost).collect();
    assert!(costs.is_sorted_by(|a, b| a >= b), "{costs:?}");
    assert!(last.cost <= costs[0] + 1e-9);
}

/// Time given on top of the budget while a search runs is used: without it this one would be over
/// in its first round.
#[test]
fn a_budget_can_grow() {
    let extra = Extra::new();
    let more = extra.clone();
    let control = until(6, move |p| {
        if p.rounds == 1 {
            more.add(AMPLE);
        }
    })
    .with_extra(extra);
    let plan = make_plan_with(&ball(), &request(0.5), &control, &Hooks::NONE).expect("a plan");
    assert_eq!(plan.ending.stopped_by, StopReason::Cancelled);
    assert!(plan.figures.rounds >= 6);
}
