//! The solver itself behind the service.

mod service_support;

use service_support::*;
use slitwright_proto::v1;
use slitwright_proto::v1::JobState;
use slitwright_server::{ServeConfig, SolverPlanner};
use slitwright_tests::ball_on_rod;

/// A box with its widest section on the gate needs no cut at all: the girth never grows on the way
/// out, so no ring of rubber is ever shorter than what it has to let pass.
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
    // Nor does the rubber hold on to it: it is lifted off against friction alone.
    let trial = plan.trial.expect("told");
    assert_eq!(trial.outcome(), v1::TrialOutcome::Released, "{trial:?}");
    assert!(trial.greatest_pull_n < 20.0 && trial.greatest_strain < 0.05, "{trial:?}");
    server.stop().await;
}

/// A ball on a rod in a blanket: the sheet of its cut arrives with the plan. Away from the board the
/// rulings run square from the model to the outside, so they are as long as the blanket is thick.
#[tokio::test(flavor = "multi_thread")]
async fn sheets_arrive_with_the_plan() {
    let mut server = TestServer::start(ServeConfig::default(), SolverPlanner).await;
    let client = &mut server.client;
    let clapper = off(&ball_on_rod(30.0, 10.0, 60.0, 4.0));
    let model = upload(client, header(), &clapper, 1 << 16).await.expect("a sound model");
    let blanket = v1::BlanketMould { thickness_mm: Some(6.0) };
    let submission = v1::SubmitPlanRequest {
        model: model.name,
        request: Some(v1::PlanRequest {
            mould: Some(v1::Mould { shape: Some(v1::mould::Shape::Blanket(blanket)) }),
            budget: Some(v1::Budget {
                time_limit_seconds: Some(60.0),
                target_gap: Some(0.6),
                seed: Some(1),
                rounds: None,
            }),
            sheets: Some(v1::SheetRules { station_spacing_mm: Some(8.0), ..Default::default() }),
            trial: Some(v1::TrialRules { mode: v1::TrialMode::Off.into(), ..Default::default() }),
            ..Default::default()
        }),
        request_id: String::new(),
        ..Default::default()
    };
    let job = client.submit_plan(submission).await.expect("queued").into_inner();
    let (_, ended) = watch_to_end(client, &job.name).await;
    assert_eq!(ended.state(), JobState::Succeeded, "{:?}", ended.failure);
    let rules = ended.request.and_then(|request| request.sheets).expect("written out");
    assert_eq!((rules.station_spacing_mm, rules.blade_length_mm), (Some(8.0), Some(120.0)));
    let get = v1::GetPlanRequest { name: job.name, ..Default::default() };
    let plan = client.get_plan(get).await.expect("there").into_inner().plan.expect("a plan");
    let report = plan.sheet_report.expect("a report");
    let exterior = report.exterior.expect("figures");
    let cut_length: f64 = plan.cuts.iter().map(|cut| cut.length_mm).sum();
    assert!((exterior.length_mm - cut_length).abs() < 0.05 * cut_length, "{exterior:?}");
    assert_eq!(report.bridges.and_then(|figures| figures.least_wedge_degrees), None);
    assert_eq!(report.one_piece.expect("tested").pieces_cm3.len(), 1);
    assert!(report.crossings.is_empty());
    let mut area = 0.0;
    for cut in &plan.cuts {
        assert_eq!(cut.sheets.len(), cut.branches.len());
        for sheet in &cut.sheets {
            area += sheet.area_mm2;
            let mesh = sheet.mesh.as_ref().expect("a surface");
            let count = mesh.vertices.len() as u32;
            assert!(!mesh.triangles.is_empty());
            assert!(mesh.triangles.iter().all(|t| t.a.max(t.b).max(t.c) < count));
            let along: Vec<f64> = sheet.stations.iter().map(|s| s.along_mm).collect();
            assert!(
                along.windows(2).all(|w| w[1] > w[0] && w[1] - w[0] <= 8.0 + 1e-9),
                "{along:?}"
            );
            for station in sheet.stations.iter().filter(|s| s.angle_from_normal_degrees < 3.0) {
                assert!((5.5..6.5).contains(&station.depth_mm), "{station:?}");
            }
        }
    }
    assert!((area - report.area_mm2).abs() < 1e-6 * area, "{area} of {}", report.area_mm2);
    server.stop().await;
}

/// A plan that would go on for an hour is stopped as soon as it has told of its progress.
#[tokio::test(flavor = "multi_thread")]
async fn a_long_plan_can_be_stopped_at_its_first_report() {
    let mut server = TestServer::start(ServeConfig::default(), SolverPlanner).await;
    let client = &mut server.client;
    let clapper = off(&ball_on_rod(30.0, 10.0, 60.0, 4.0));
    let model = upload(client, header(), &clapper, 1 << 16).await.expect("a sound model");
    let budget = v1::Budget {
        time_limit_seconds: Some(3600.0),
        target_gap: Some(0.0),
        seed: Some(1),
        rounds: None,
    };
    let submission = v1::SubmitPlanRequest {
        model: model.name,
        request: Some(v1::PlanRequest { budget: Some(budget), ..Default::default() }),
        request_id: String::new(),
        ..Default::default()
    };
    let job = client.submit_plan(submission).await.expect("queued").into_inner();
    let mut events = client
        .watch_plan(v1::WatchPlanRequest { name: job.name.clone(), cuts: false })
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
        ..Default::default()
    };
    let job = client.submit_plan(submission).await.expect("queued").into_inner();
    let (_, ended) = watch_to_end(client, &job.name).await;
    assert_eq!(ended.state(), JobState::Failed);
    let failure = ended.failure.expect("why");
    assert_eq!(tonic::Code::from_i32(failure.code), tonic::Code::FailedPrecondition);
    assert!(failure.message.contains("gate"), "{}", failure.message);
    server.stop().await;
}
