//! Drawn cuts and comparisons by a real client, with the solver itself behind the service.

mod service_support;

use service_support::*;
use slitwright_proto::v1;
use slitwright_proto::v1::{JobState, MissKind, TrialOutcome};
use slitwright_server::{ServeConfig, SolverPlanner};
use slitwright_tests::{ball_on_rod, box_mesh};
use tonic::Code;

const ROD: f64 = 8.0;
const ROD_LENGTH: f64 = 12.0;

/// A request for a thin blanket, without a trial, easily content.
fn blanket() -> v1::PlanRequest {
    let blanket = v1::BlanketMould { thickness_mm: Some(3.0) };
    v1::PlanRequest {
        mould: Some(v1::Mould { shape: Some(v1::mould::Shape::Blanket(blanket)) }),
        budget: Some(v1::Budget {
            time_limit_seconds: Some(120.0),
            target_gap: Some(0.7),
            seed: Some(1),
            ..Default::default()
        }),
        resolution: Some(v1::Resolution { planning_edge_mm: Some(4.0), ..Default::default() }),
        trial: Some(v1::TrialRules { mode: v1::TrialMode::Off.into(), ..Default::default() }),
        ..Default::default()
    }
}

fn submission(model: &str, request: v1::PlanRequest) -> v1::SubmitPlanRequest {
    v1::SubmitPlanRequest { model: model.to_owned(), request: Some(request), ..Default::default() }
}

/// Up the rod's side and no further.
fn up_the_rod() -> v1::Scheme {
    let point = |k: u32| v1::Point { x: ROD, y: 0.0, z: 0.8 * ROD_LENGTH * f64::from(k) / 8.0 };
    let line = v1::Polyline { points: (0..=8).map(point).collect() };
    let cut =
        v1::DrawnCut { name: "short".to_owned(), place: Some(v1::drawn_cut::Place::Line(line)) };
    v1::Scheme { cuts: vec![cut], ..Default::default() }
}

#[tokio::test(flavor = "multi_thread")]
async fn drawn_cuts_are_judged_and_compared_with_a_plan() {
    let mut server = TestServer::start(ServeConfig::default(), SolverPlanner).await;
    let client = &mut server.client;
    let ball = off(&ball_on_rod(20.0, ROD, ROD_LENGTH, 3.0));
    let model = upload(client, header(), &ball, 1 << 16).await.expect("a sound model").name;

    // A cut that ends below the ball: the ball's girth does not pass.
    let request = v1::PlanRequest { scheme: Some(up_the_rod()), ..blanket() };
    let short = client.submit_plan(submission(&model, request)).await.expect("queued").into_inner();
    let (_, ended) = watch_to_end(client, &short.name).await;
    assert_eq!(ended.state(), JobState::Succeeded, "{:?}", ended.failure);
    let plan = ended.plan.expect("judged");
    assert_eq!(plan.stopped_by(), v1::StopReason::Judged);
    let ring = plan.misses.iter().find(|m| m.kind() == MissKind::TightRing).expect("too tight");
    assert!(ring.fatal && ring.place.is_some(), "{ring:?}");
    assert!(ring.asked.expect("a girth") > ring.found.expect("a ring") + 1.0, "{ring:?}");
    assert_eq!(plan.trial.expect("told").outcome(), TrialOutcome::NotAsked);

    // The program's own plan, then its cuts once more as a scheme, with a trial.
    let own = client.submit_plan(submission(&model, blanket())).await.expect("queued").into_inner();
    let (_, ended) = watch_to_end(client, &own.name).await;
    assert_eq!(ended.state(), JobState::Succeeded, "{:?}", ended.failure);
    let thick = v1::BlanketMould { thickness_mm: Some(8.0) };
    let request = v1::PlanRequest {
        scheme: Some(v1::Scheme { of_plan: own.name.clone(), ..Default::default() }),
        mould: Some(v1::Mould { shape: Some(v1::mould::Shape::Blanket(thick)) }),
        trial: Some(v1::TrialRules {
            mode: v1::TrialMode::Judge.into(),
            elements: Some(5_000),
            ..Default::default()
        }),
        // Hands that can pull next to nothing: nobody gets a ball out of rubber with 1 N, whatever is cut.
        knife: Some(v1::KnifeRules { hand_force_n: Some(1.0), ..Default::default() }),
        ..blanket()
    };
    let again = client.submit_plan(submission(&model, request)).await.expect("queued").into_inner();
    let named = again.request.expect("repeated").scheme.expect("repeated");
    assert!(named.of_plan.is_empty() && !named.cuts.is_empty(), "the cuts are written out");
    let (_, ended) = watch_to_end(client, &again.name).await;
    assert_eq!(ended.state(), JobState::Succeeded, "{:?}", ended.failure);
    let trial = ended.plan.expect("judged").trial.expect("told");
    let outcome = trial.outcome();
    assert_eq!(outcome, TrialOutcome::Stuck, "{trial:?}");
    assert!(trial.greatest_pull_n > 1.0, "{trial:?}");
    assert!(trial.elements > 500 && !trial.pull.is_empty(), "{trial:?}");

    // Side by side.
    let names = vec![short.name.clone(), own.name.clone(), again.name];
    let compare = v1::ComparePlansRequest { names: names.clone() };
    let side_by_side = client.compare_plans(compare).await.expect("compared").into_inner();
    let rows = &side_by_side.plans;
    assert_eq!(rows.iter().map(|row| row.name.clone()).collect::<Vec<_>>(), names);
    assert!(!rows[0].works && rows[0].missed.iter().any(|name| name == "release"));
    assert!(rows[1].works && rows[0].total_length_mm < rows[1].total_length_mm);
    assert_eq!(rows[2].trial(), outcome);
    assert!(!side_by_side.front.is_empty() && !side_by_side.front.contains(&short.name));
    assert!(side_by_side.table.contains("release trial"), "{}", side_by_side.table);

    // What cannot be compared or judged is refused with the field and the reason.
    let code = |answer: Result<_, tonic::Status>| answer.expect_err("refused").code();
    let none = v1::ComparePlansRequest { names: Vec::new() };
    assert_eq!(code(client.compare_plans(none).await.map(|_| ())), Code::InvalidArgument);
    let gone = "plans/00000000-0000-4000-8000-000000000000".to_owned();
    let gone = v1::ComparePlansRequest { names: vec![gone] };
    assert_eq!(code(client.compare_plans(gone).await.map(|_| ())), Code::NotFound);
    let plinth = off(&box_mesh([40.0, 30.0, 20.0], [4, 3, 2]));
    let other = upload(client, header(), &plinth, 1 << 16).await.expect("sound").name;
    let foreign = v1::PlanRequest {
        scheme: Some(v1::Scheme { of_plan: own.name, ..Default::default() }),
        ..blanket()
    };
    let refused = client.submit_plan(submission(&other, foreign)).await;
    assert_eq!(code(refused.map(|_| ())), Code::InvalidArgument);
    // A line off the model is refused with the cut and the point.
    let mut off_model = up_the_rod();
    if let Some(v1::drawn_cut::Place::Line(line)) = &mut off_model.cuts[0].place {
        line.points[3].x += 30.0;
    }
    let request = v1::PlanRequest { scheme: Some(off_model), ..blanket() };
    let refused = client.submit_plan(submission(&model, request)).await;
    assert_invalid(refused, &["request.scheme.cuts[0].line.points[3]"]);
    server.stop().await;
}
