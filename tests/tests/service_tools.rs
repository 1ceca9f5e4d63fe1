//! What makers of tools need of the service: to ask before they act, to find their way, to get all back.

mod service_support;

use service_support::*;
use slitwright_proto::v1;
use slitwright_proto::v1::JobState;
use slitwright_proto::v1::plan_event::Event;
use slitwright_server::{ServeConfig, SolverPlanner, UploadRules};
use tonic::Code;
use tonic_reflection::pb::v1alpha::ServerReflectionRequest;
use tonic_reflection::pb::v1alpha::server_reflection_client::ServerReflectionClient;
use tonic_reflection::pb::v1alpha::server_reflection_request::MessageRequest;
use tonic_reflection::pb::v1alpha::server_reflection_response::MessageResponse;
use tonic_types::StatusExt as _;

async fn scripted() -> (TestServer, std::sync::mpsc::Receiver<u64>) {
    let (planner, starts) = ScriptedPlanner::new();
    (TestServer::start(ServeConfig::default(), planner).await, starts)
}

/// A cut from the plinth's foot to its upper face at x = 0, moved by `off` mm.
fn with_cut(model: &str, off: f64) -> v1::SubmitPlanRequest {
    let point = |z: f64| v1::Point { x: -off, y: 15.0, z };
    let line = v1::Polyline { points: vec![point(0.0), point(10.0), point(19.0)] };
    let place = Some(v1::drawn_cut::Place::Line(line));
    let cuts = vec![v1::DrawnCut { name: "up the side".to_owned(), place }];
    let mut asked = submission(model, QUICK);
    asked.request.get_or_insert_default().scheme = Some(v1::Scheme { cuts, ..Default::default() });
    asked
}

#[tokio::test(flavor = "multi_thread")]
async fn a_request_is_checked_without_being_queued() {
    let (mut server, _starts) = scripted().await;
    let client = &mut server.client;
    let model = uploaded(client).await;
    let asked = |request| v1::SubmitPlanRequest { validate_only: true, ..request };
    let checked = client.submit_plan(asked(submission(&model.name, QUICK))).await.expect("good");
    let checked = checked.into_inner();
    assert_eq!((checked.name.as_str(), checked.state()), ("", JobState::Unspecified));
    let knife = checked.request.and_then(|request| request.knife).expect("written out");
    assert_eq!(knife.hand_force_n, Some(200.0));
    let nowhere = client.submit_plan(asked(submission("models/none", QUICK))).await;
    assert_eq!(nowhere.expect_err("no such model").code(), Code::NotFound);
    let off = client.submit_plan(asked(with_cut(&model.name, 5.0))).await;
    assert_eq!(off.expect_err("off the model").code(), Code::InvalidArgument);
    assert!(list(client).await.is_empty());
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn cuts_off_the_model_are_refused_before_they_are_queued() {
    let (mut server, _starts) = scripted().await;
    let client = &mut server.client;
    let model = uploaded(client).await;
    client.submit_plan(with_cut(&model.name, 0.9)).await.expect("within the 1 mm that is borne");
    let off = client.submit_plan(with_cut(&model.name, 1.1)).await;
    let fields = [0, 1, 2].map(|point| format!("request.scheme.cuts[0].line.points[{point}]"));
    assert_invalid(off, &fields.each_ref().map(String::as_str));
    server.stop().await;
}

#[tokio::test]
async fn a_server_tells_what_it_is_and_how_much_it_takes() {
    let uploads = UploadRules { most_triangles: 1234, ..UploadRules::default() };
    let config = ServeConfig { uploads, ..ServeConfig::default() };
    let mut server = TestServer::start(config, SolverPlanner).await;
    let info = server.client.get_server_info(v1::GetServerInfoRequest {}).await.expect("told");
    let info = info.into_inner();
    assert_eq!(info.version, env!("CARGO_PKG_VERSION"));
    let limits = info.limits.expect("told");
    assert_eq!((limits.model_triangles, limits.chunk_bytes), (1234, 1 << 20));
    let budget = info.defaults.and_then(|request| request.budget).expect("told");
    assert_eq!(budget.time_limit_seconds, Some(60.0));
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_model_comes_back_as_the_server_has_it() {
    let mut server = TestServer::start(ServeConfig::default(), SolverPlanner).await;
    let client = &mut server.client;
    // More vertices and triangles than go into one part.
    let fine = slitwright_tests::box_mesh([40.0, 30.0, 20.0], [120, 90, 60]);
    let model = upload(client, header(), &off(&fine), 1 << 18).await.expect("sound");
    let surfaces = [v1::ModelSurface::Original, v1::ModelSurface::Working];
    let mut counts = Vec::new();
    for surface in surfaces {
        let asked = v1::GetModelMeshRequest { name: model.name.clone(), surface: surface.into() };
        let mut parts = client.get_model_mesh(asked).await.expect("there").into_inner();
        let (mut vertices, mut triangles) = (Vec::new(), Vec::new());
        while let Some(part) = parts.message().await.expect("a part") {
            vertices.extend(part.vertices);
            assert!(
                part.triangles.iter().all(|t| (t.a.max(t.b).max(t.c) as usize) < vertices.len())
            );
            triangles.extend(part.triangles);
        }
        // By the divergence theorem: 40 x 30 x 20 mm.
        let at = |k: u32| {
            let p = vertices[k as usize];
            slitwright_solver::mesh::Vector::new(p.x, p.y, p.z)
        };
        let six: f64 = triangles.iter().map(|t| at(t.a).dot(&at(t.b).cross(&at(t.c)))).sum();
        assert!((six / 6.0 - 24_000.0).abs() < 240.0, "{surface:?}: {six}");
        counts.push(triangles.len() as u64);
    }
    let report = model.report.expect("checked");
    assert_eq!(counts, [report.triangles, report.working_triangles]);
    assert!(counts[0] > 40_000, "{counts:?}");
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn better_plans_come_with_their_cuts_if_asked() {
    let (mut server, starts) = scripted().await;
    let client = &mut server.client;
    let model = uploaded(client).await;
    let job = submit(client, &model.name, WITH_CUTS).await;
    assert_eq!(next_start(&starts), WITH_CUTS);
    for cuts in [true, false] {
        let asked = v1::WatchPlanRequest { name: job.name.clone(), cuts };
        let mut events = client.watch_plan(asked).await.expect("watched").into_inner();
        let told = loop {
            let event = events.message().await.expect("an event").expect("open");
            if let Some(Event::Better(_)) = event.event {
                break event.cuts;
            }
        };
        if cuts {
            assert_eq!(told[0].branches[0].points[1], v1::Point { x: 0.0, y: 15.0, z: 7.0 });
        } else {
            assert!(told.is_empty());
        }
    }
    cancel(client, &job.name).await;
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn lists_are_filtered_and_ordered() {
    let (mut server, _starts) = scripted().await;
    let client = &mut server.client;
    let (one, other) = (uploaded(client).await, uploaded(client).await);
    let mut names = Vec::new();
    for (model, seed) in [(&one, QUICK), (&one, UNFIT), (&other, UNFIT), (&other, QUICK)] {
        let job = submit(client, &model.name, seed).await;
        watch_to_end(client, &job.name).await;
        names.push(job.name);
    }
    let all = |filter: String, order_by: &'static str| {
        let mut client = client.clone();
        async move {
            let (mut found, mut page_token) = (Vec::new(), String::new());
            loop {
                let asked = v1::ListPlansRequest {
                    page_size: 1,
                    page_token,
                    filter: filter.clone(),
                    order_by: order_by.to_owned(),
                    ..Default::default()
                };
                let page = client.list_plans(asked).await.expect("a page").into_inner();
                found.extend(page.plans.into_iter().map(|job| job.name));
                page_token = page.next_page_token;
                if page_token.is_empty() {
                    return found;
                }
            }
        }
    };
    let picked = |which: &[usize]| which.iter().map(|&k| names[k].clone()).collect::<Vec<_>>();
    let of_one = format!("model = \"{}\"", one.name);
    assert_eq!(all(String::new(), "submit_time desc").await, picked(&[3, 2, 1, 0]));
    assert_eq!(all("state = FAILED".to_owned(), "").await, picked(&[1, 2]));
    assert_eq!(all(of_one.clone(), "submit_time desc").await, picked(&[1, 0]));
    assert_eq!(all(format!("{of_one} AND state = SUCCEEDED"), "").await, picked(&[0]));

    let bad = v1::ListPlansRequest { filter: "colour = red".to_owned(), ..Default::default() };
    assert_invalid(client.list_plans(bad).await, &["filter"]);
    let bad = v1::ListPlansRequest { order_by: "name".to_owned(), ..Default::default() };
    assert_invalid(client.list_plans(bad).await, &["order_by"]);
    let first = v1::ListPlansRequest { page_size: 1, ..Default::default() };
    let token = client.list_plans(first).await.expect("a page").into_inner().next_page_token;
    let mixed = v1::ListPlansRequest {
        page_token: token,
        filter: "state = FAILED".to_owned(),
        ..Default::default()
    };
    assert_invalid(client.list_plans(mixed).await, &["page_token"]);
    server.stop().await;
}

#[tokio::test]
async fn older_tools_find_the_service_by_reflection() {
    let server = TestServer::start(ServeConfig::default(), SolverPlanner).await;
    let mut client = ServerReflectionClient::new(server.channel.clone());
    let asked = ServerReflectionRequest {
        host: String::new(),
        message_request: Some(MessageRequest::ListServices(String::new())),
    };
    let answers = client.server_reflection_info(tokio_stream::iter([asked])).await;
    let mut answers = answers.expect("answers").into_inner();
    let listed = answers.message().await.expect("an answer").and_then(|a| a.message_response);
    let Some(MessageResponse::ListServicesResponse(list)) = listed else { panic!("{listed:?}") };
    assert!(list.service.iter().any(|service| service.name == "slitwright.v1.CutPlanner"));
    drop((answers, client));
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn every_error_has_a_reason_to_go_by() {
    let (mut server, _starts) = scripted().await;
    let client = &mut server.client;
    let reason = |status: tonic::Status| {
        let info = status.get_details_error_info().unwrap_or_else(|| panic!("{status:?}"));
        assert_eq!(info.domain, "slitwright");
        info.reason
    };
    let model = |name: &str| v1::GetModelRequest { name: name.to_owned() };
    let missing = client.get_model(model("models/none")).await.expect_err("none");
    assert_eq!(reason(missing), "MODEL_NOT_FOUND");
    let misnamed = client.get_model(model("none")).await.expect_err("no name");
    assert_eq!(reason(misnamed), "INVALID_FIELDS");
    let there = uploaded(client).await;
    let unfit = submit(client, &there.name, UNFIT).await;
    watch_to_end(client, &unfit.name).await;
    let asked = v1::ComparePlansRequest { names: vec![unfit.name.clone()] };
    assert_eq!(reason(client.compare_plans(asked).await.expect_err("no plan")), "NO_PLAN");
    let more = v1::ExtendPlanRequest { name: unfit.name, seconds: 5.0, ..Default::default() };
    assert_eq!(reason(client.extend_plan(more).await.expect_err("failed")), "PLAN_FAILED");
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_star_is_all_that_can_be() {
    let (mut server, _starts) = scripted().await;
    let client = &mut server.client;
    let model = uploaded(client).await;
    let job = submit(client, &model.name, QUICK).await;
    let (_, ended) = watch_to_end(client, &job.name).await;
    let star = || Some(prost_types::FieldMask { paths: vec!["*".to_owned()] });
    let asked = v1::ListPlansRequest { read_mask: star(), ..Default::default() };
    let page = client.list_plans(asked).await.expect("a page").into_inner();
    assert_eq!(page.plans, std::slice::from_ref(&ended));
    let plan = Some(v1::PlanJob { priority: 3, ..ended });
    let asked = v1::UpdatePlanRequest { plan, update_mask: star() };
    let updated = client.update_plan(asked).await.expect("updated").into_inner();
    assert_eq!(updated.priority, 3);
    server.stop().await;
}
