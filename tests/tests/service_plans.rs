//! Plans over gRPC: queued, watched, fetched, listed, cancelled, forgotten.

mod service_support;

use service_support::*;
use slitwright_proto::v1;
use slitwright_proto::v1::JobState;
use slitwright_server::{ServeConfig, StoreLimits};
use tonic::Code;
use tonic_types::StatusExt;

async fn scripted(config: ServeConfig) -> (TestServer, std::sync::mpsc::Receiver<u64>) {
    let (planner, starts) = ScriptedPlanner::new();
    (TestServer::start(config, planner).await, starts)
}

#[tokio::test(flavor = "multi_thread")]
async fn a_plan_is_queued_watched_and_fetched() {
    let (mut server, _starts) = scripted(ServeConfig::default()).await;
    let client = &mut server.client;
    let model = uploaded(client).await;
    let queued = submit(client, &model.name, QUICK).await;
    assert!(queued.name.starts_with("plans/"));
    assert_eq!(queued.model, model.name);
    let full = queued.request.expect("the request comes back");
    assert_eq!(
        full.knife.and_then(|knife| knife.hand_force_n),
        Some(200.0),
        "defaults are written out"
    );

    let (_, ended) = watch_to_end(client, &queued.name).await;
    assert_eq!(ended.state(), JobState::Succeeded);
    assert!(ended.start_time.is_some() && ended.end_time.is_some());
    let plan = ended.plan.clone().expect("a plan");
    assert_eq!(plan.rubber_volume_cm3, 412.0);
    assert_eq!(plan.stopped_by(), v1::StopReason::Optimal);
    assert!(plan.cautions.iter().any(|caution| caution.contains("Local codes")));

    let got = client
        .get_plan(v1::GetPlanRequest { name: queued.name.clone(), ..Default::default() })
        .await
        .expect("found")
        .into_inner();
    assert_eq!(got, ended);
    // Who comes late hears of the end as well.
    let (progress, late) = watch_to_end(client, &queued.name).await;
    assert_eq!((progress, late), (Vec::new(), ended));
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_watcher_gets_the_newest_report_and_the_end_whatever_it_missed() {
    let (mut server, _starts) = scripted(ServeConfig::default()).await;
    let client = &mut server.client;
    let model = uploaded(client).await;
    let job = submit(client, &model.name, CHATTY).await;
    let (progress, ended) = watch_to_end(client, &job.name).await;
    assert!(progress.windows(2).all(|pair| pair[0].fraction <= pair[1].fraction));
    assert_eq!(ended.state(), JobState::Succeeded);
    let last = ended.progress.expect("the newest report stays with the job");
    assert!((last.fraction - 0.9493).abs() < 1e-9, "report 1000 of 1000: {last:?}");
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_running_job_is_cancelled_and_says_so() {
    let (mut server, starts) = scripted(ServeConfig::default()).await;
    let client = &mut server.client;
    let model = uploaded(client).await;
    for (seed, with_plan) in [(UNTIL_CANCELLED, false), (KEEPS_BEST, true)] {
        let job = submit(client, &model.name, seed).await;
        let starts = &starts;
        tokio::task::block_in_place(|| starts.recv()).expect("the job runs");
        client.cancel_plan(v1::CancelPlanRequest { name: job.name.clone() }).await.expect("asked");
        let (_, ended) = watch_to_end(client, &job.name).await;
        assert_eq!(ended.state(), JobState::Cancelled);
        assert_eq!(ended.plan.is_some(), with_plan, "the best plan so far is kept");
        // Asking again changes nothing.
        let again = client
            .cancel_plan(v1::CancelPlanRequest { name: job.name.clone() })
            .await
            .expect("asked")
            .into_inner();
        assert_eq!(again, ended);
    }
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_full_queue_refuses_and_a_cancelled_place_is_free_again() {
    let store = StoreLimits { waiting_jobs: 1, ..StoreLimits::default() };
    let config = ServeConfig { workers: 1, store, ..ServeConfig::default() };
    let (mut server, starts) = scripted(config).await;
    let client = &mut server.client;
    let model = uploaded(client).await;
    let running = submit(client, &model.name, UNTIL_CANCELLED).await;
    tokio::task::block_in_place(|| starts.recv()).expect("the first runs");
    let waiting = submit(client, &model.name, QUICK).await;
    let full = client.submit_plan(submission(&model.name, QUICK)).await.expect_err("full");
    assert_eq!(full.code(), Code::ResourceExhausted);
    assert!(full.get_details_quota_failure().is_some(), "{full:?}");
    let again = full.get_details_retry_info().and_then(|info| info.retry_delay);
    assert!(again.is_some_and(|delay| delay.as_secs() <= 60), "{full:?}");

    client.cancel_plan(v1::CancelPlanRequest { name: waiting.name.clone() }).await.expect("asked");
    let (_, ended) = watch_to_end(client, &waiting.name).await;
    assert_eq!(ended.state(), JobState::Cancelled);
    assert_eq!(ended.start_time, None, "it never ran");
    let next = submit(client, &model.name, QUICK).await;
    client.cancel_plan(v1::CancelPlanRequest { name: running.name }).await.expect("asked");
    assert_eq!(watch_to_end(client, &next.name).await.1.state(), JobState::Succeeded);
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_panic_costs_its_own_job_only() {
    let (mut server, _starts) = scripted(ServeConfig::default()).await;
    let client = &mut server.client;
    let model = uploaded(client).await;
    let broken = submit(client, &model.name, PANICS).await;
    let (_, ended) = watch_to_end(client, &broken.name).await;
    assert_eq!(ended.state(), JobState::Failed);
    let failure = ended.failure.expect("why");
    assert_eq!(Code::from_i32(failure.code), Code::Internal);
    let unfit = submit(client, &model.name, UNFIT).await;
    let failure = watch_to_end(client, &unfit.name).await.1.failure.expect("why");
    assert_eq!(Code::from_i32(failure.code), Code::FailedPrecondition);
    assert!(failure.message.contains("gate"));
    let next = submit(client, &model.name, QUICK).await;
    assert_eq!(watch_to_end(client, &next.name).await.1.state(), JobState::Succeeded);
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn plans_are_listed_in_pages_and_without_their_bodies() {
    let (mut server, _starts) = scripted(ServeConfig::default()).await;
    let client = &mut server.client;
    let model = uploaded(client).await;
    let mut names = Vec::new();
    for _ in 0..5 {
        let job = submit(client, &model.name, QUICK).await;
        watch_to_end(client, &job.name).await;
        names.push(job.name);
    }
    let mut listed = Vec::new();
    let mut page_token = String::new();
    let mut sizes = Vec::new();
    loop {
        let page = client
            .list_plans(v1::ListPlansRequest { page_size: 2, page_token, ..Default::default() })
            .await
            .expect("a page")
            .into_inner();
        sizes.push(page.plans.len());
        assert!(page.plans.iter().all(|job| job.plan.is_none()));
        listed.extend(page.plans.into_iter().map(|job| job.name));
        page_token = page.next_page_token;
        if page_token.is_empty() {
            break;
        }
    }
    assert_eq!(sizes, [2, 2, 1]);
    assert_eq!(listed, names, "all of them, oldest first");
    let bad = |page_size, page_token: &str| v1::ListPlansRequest {
        page_size,
        page_token: page_token.to_owned(),
        ..Default::default()
    };
    assert_invalid(client.list_plans(bad(-1, "")).await, &["page_size"]);
    assert_invalid(client.list_plans(bad(1, "not a token")).await, &["page_token"]);
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_repeat_with_the_same_request_id_is_the_same_job() {
    let (mut server, _starts) = scripted(ServeConfig::default()).await;
    let client = &mut server.client;
    let model = uploaded(client).await;
    let with_id = |seed| v1::SubmitPlanRequest {
        request_id: "order 17".to_owned(),
        ..submission(&model.name, seed)
    };
    let first = client.submit_plan(with_id(QUICK)).await.expect("queued").into_inner();
    let again = client.submit_plan(with_id(QUICK)).await.expect("there already").into_inner();
    assert_eq!(first.name, again.name);
    let other = client.submit_plan(with_id(CHATTY)).await.expect_err("another request");
    assert_eq!(other.code(), Code::AlreadyExists);
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn things_in_use_are_not_forgotten_and_old_ones_are() {
    let store = StoreLimits { ended_jobs: 2, ..StoreLimits::default() };
    let (mut server, starts) = scripted(ServeConfig { store, ..ServeConfig::default() }).await;
    let client = &mut server.client;
    let model = uploaded(client).await;
    let job = submit(client, &model.name, UNTIL_CANCELLED).await;
    tokio::task::block_in_place(|| starts.recv()).expect("the job runs");
    let delete_model = v1::DeleteModelRequest { name: model.name.clone() };
    let delete_plan = v1::DeletePlanRequest { name: job.name.clone() };
    for refused in [
        client.delete_model(delete_model.clone()).await.expect_err("in use"),
        client.delete_plan(delete_plan.clone()).await.expect_err("running"),
    ] {
        assert_eq!(refused.code(), Code::FailedPrecondition);
        assert!(refused.get_details_precondition_failure().is_some());
    }
    client.cancel_plan(v1::CancelPlanRequest { name: job.name.clone() }).await.expect("asked");
    watch_to_end(client, &job.name).await;
    for _ in 0..3 {
        let next = submit(client, &model.name, QUICK).await;
        watch_to_end(client, &next.name).await;
    }
    let gone = client
        .get_plan(v1::GetPlanRequest { name: job.name.clone(), ..Default::default() })
        .await
        .expect_err("the oldest is forgotten");
    assert_eq!(gone.code(), Code::NotFound);
    client.delete_model(delete_model.clone()).await.expect("no longer in use");
    let gone = client.delete_model(delete_model).await.expect_err("gone");
    assert_eq!(gone.code(), Code::NotFound);
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn bad_requests_name_every_field() {
    let (mut server, _starts) = scripted(ServeConfig::default()).await;
    let client = &mut server.client;
    let model = uploaded(client).await;
    let name = |name: &str| v1::GetPlanRequest { name: name.to_owned(), ..Default::default() };
    assert_invalid(client.get_plan(name("")).await, &["name"]);
    assert_invalid(client.get_plan(name("models/x")).await, &["name"]);
    assert_eq!(client.get_plan(name("plans/x")).await.expect_err("none").code(), Code::NotFound);
    let watched =
        client.watch_plan(v1::WatchPlanRequest { name: "plans/x".to_owned(), cuts: false }).await;
    assert_eq!(watched.expect_err("none").code(), Code::NotFound);

    assert_invalid(client.submit_plan(submission("", QUICK)).await, &["model"]);
    let unknown = client.submit_plan(submission("models/x", QUICK)).await.expect_err("none");
    assert_eq!(unknown.code(), Code::NotFound);
    assert_eq!(
        unknown.get_details_resource_info().map(|info| info.resource_name).as_deref(),
        Some("models/x")
    );
    let long_id =
        v1::SubmitPlanRequest { request_id: "x".repeat(65), ..submission(&model.name, QUICK) };
    assert_invalid(client.submit_plan(long_id).await, &["request_id"]);

    let request = v1::PlanRequest {
        mould: Some(v1::Mould {
            shape: Some(v1::mould::Shape::Box(v1::BoxMould {
                side_clearance_mm: Some(-3.0),
                top_clearance_mm: Some(f64::INFINITY),
            })),
        }),
        rubber: Some(v1::Rubber {
            working_stretch: Some(4.0),
            elongation_at_break: Some(3.0),
            ..Default::default()
        }),
        gate: Some(v1::Gate { place: None }),
        knife: Some(v1::KnifeRules { hand_force_n: Some(f64::NAN), ..Default::default() }),
        budget: Some(v1::Budget { time_limit_seconds: Some(1e9), ..Default::default() }),
        resolution: None,
        sheets: Some(v1::SheetRules { acceptable_angle_degrees: Some(20.0), ..Default::default() }),
        areas: Some(v1::SeamAreas {
            keep_off: vec![v1::Area {
                shape: Some(v1::area::Shape::Ball(v1::BallArea { centre: None, radius_mm: 3.0 })),
            }],
            preferred: Vec::new(),
        }),
        weights: None,
        trial: None,
        scheme: None,
    };
    let submission = v1::SubmitPlanRequest {
        model: model.name,
        request: Some(request),
        request_id: String::new(),
        ..Default::default()
    };
    assert_invalid(
        client.submit_plan(submission).await,
        &[
            "request.mould.box.side_clearance_mm",
            "request.mould.box.top_clearance_mm",
            "request.rubber.working_stretch",
            "request.gate",
            "request.knife.hand_force_n",
            "request.sheets.acceptable_angle_degrees",
            "request.areas.keep_off[0].ball.centre",
            "request.budget.time_limit_seconds",
        ],
    );
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn answers_are_cut_down_to_what_was_asked_for() {
    let (mut server, _starts) = scripted(ServeConfig::default()).await;
    let client = &mut server.client;
    let model = uploaded(client).await;
    let job = submit(client, &model.name, QUICK).await;
    watch_to_end(client, &job.name).await;
    let mask = |paths: &[&str]| {
        let paths = paths.iter().map(|&path| path.to_owned()).collect();
        Some(prost_types::FieldMask { paths })
    };
    let expected = v1::PlanJob {
        name: job.name.clone(),
        plan: Some(v1::Plan { rubber_volume_cm3: 412.0, ..Default::default() }),
        ..Default::default()
    };
    let read_mask = mask(&["name", "plan.rubber_volume_cm3"]);
    let asked = v1::GetPlanRequest { name: job.name.clone(), read_mask: read_mask.clone() };
    assert_eq!(client.get_plan(asked).await.expect("found").into_inner(), expected);
    let asked = v1::ListPlansRequest { read_mask, ..Default::default() };
    let listed = client.list_plans(asked).await.expect("listed").into_inner();
    assert_eq!((listed.plans, listed.next_page_token.as_str()), (vec![expected], ""));
    let asked = v1::ListPlansRequest { read_mask: mask(&["plan.colour"]), ..Default::default() };
    assert_invalid(client.list_plans(asked).await, &["read_mask"]);
    server.stop().await;
}
