//! The solver itself behind the service.

mod service_support;

use service_support::*;
use slitwright_proto::v1;
use slitwright_proto::v1::JobState;
use slitwright_server::{ServeConfig, SolverPlanner};
use slitwright_tests::ball_on_rod;

/// A box with its widest section on the gate needs no cut at all: the girth never grows on the way
/// out (exact case of the girth model).
#[tokio::test(flavor = "multi_thread")]
async fn a_plinth_needs_no_cut() {
    let mut server = TestServer::start(ServeConfig::default(), SolverPlanner).await;
    let model = uploaded(&mut server.client).await;
    let job = submit(&mut server.client, &model.name, 1).await;
    let (_, ended) = watch_to_end(&mut server.client, &job.name).await;
    assert_eq!(ended.state(), JobState::Succeeded, "{:?}", ended.failure);
    let plan = ended.plan.expect("a plan");
    assert!(plan.cuts.is_empty(), "{:?}", plan.cuts);
    assert_eq!((plan.total_length_mm, plan.gap), (0.0, 0.0));
    server.stop().await;
}

/// A plan that would go on for an hour is stopped as soon as it has told of its progress.
#[tokio::test(flavor = "multi_thread")]
async fn a_long_plan_can_be_stopped_at_its_first_report() {
    let mut server = TestServer::start(ServeConfig::default(), SolverPlanner).await;
    let client = &mut server.client;
    let clapper = off(&ball_on_rod(30.0, 10.0, 60.0, 4.0));
    let model = upload(client, header(), &clapper, 1 << 16).await.expect("a sound model");
    let budget =
        v1::Budget { time_limit_seconds: Some(3600.0), target_gap: Some(0.0), seed: Some(1) };
    let submission = v1::SubmitPlanRequest {
        model: model.name,
        request: Some(v1::PlanRequest { budget: Some(budget), ..Default::default() }),
        request_id: String::new(),
    };
    let job = client.submit_plan(submission).await.expect("queued").into_inner();
    let mut events = client
        .watch_plan(v1::WatchPlanRequest { name: job.name.clone() })
        .await
        .expect("watched")
        .into_inner();
    let first = events.message().await.expect("an event").and_then(|event| event.event);
    assert!(matches!(first, Some(v1::plan_event::Event::Progress(_))), "{first:?}");
    client.cancel_plan(v1::CancelPlanRequest { name: job.name.clone() }).await.expect("asked");
    let (_, ended) = watch_to_end(client, &job.name).await;
    assert_eq!(ended.state(), JobState::Cancelled, "{:?}", ended.failure);
    server.stop().await;
}

/// A request that fits no model of its kind is the job's failure, with words.
#[tokio::test(flavor = "multi_thread")]
async fn a_gate_that_is_nowhere_fails_the_job_only() {
    let mut server = TestServer::start(ServeConfig::default(), SolverPlanner).await;
    let client = &mut server.client;
    let model = uploaded(client).await;
    let far =
        v1::PatchGate { centre: Some(v1::Point { x: 9000.0, y: 0.0, z: 0.0 }), radius_mm: 1.0 };
    let submission = v1::SubmitPlanRequest {
        model: model.name.clone(),
        request: Some(v1::PlanRequest {
            gate: Some(v1::Gate { place: Some(v1::gate::Place::Patch(far)) }),
            ..Default::default()
        }),
        request_id: String::new(),
    };
    let job = client.submit_plan(submission).await.expect("queued").into_inner();
    let (_, ended) = watch_to_end(client, &job.name).await;
    assert_eq!(ended.state(), JobState::Failed);
    let failure = ended.failure.expect("why");
    assert_eq!(tonic::Code::from_i32(failure.code), tonic::Code::FailedPrecondition);
    assert!(failure.message.contains("gate"), "{}", failure.message);
    server.stop().await;
}
