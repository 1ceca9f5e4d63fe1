//! Files of plans by a call: pictures, sections, scenes, words.

mod service_support;

use std::sync::{Arc, Mutex};
use std::time::Duration;

use service_support::*;
use slitwright_proto::client::{self, Backoff, Settings};
use slitwright_proto::v1;
use slitwright_proto::v1::plan_file_part::Part;
use slitwright_proto::v1::{JobState, PlanFileKind};
use slitwright_server::files::{Bench, FileFault, Source, draw_all, file_types};
use slitwright_server::{PlanFault, Planner, ServeConfig, SolverPlanner};
use slitwright_solver::control::{Cancel, Control};
use slitwright_solver::mesh::{LengthUnit, MeshFormat, Model, PrepareOptions, prepare_with};
use slitwright_solver::plan::{Hooks, Plan, PlanRequest};
use tonic::{Code, Status};
use tonic_types::StatusExt as _;

/// The solver, and the last plan that it made.
#[derive(Clone, Default)]
struct Seen(Arc<Mutex<Option<Plan>>>);

impl Planner for Seen {
    fn plan(
        &self,
        model: &Model,
        request: &PlanRequest,
        control: &Control<'_>,
        hooks: &Hooks<'_>,
    ) -> Result<Plan, PlanFault> {
        let plan = SolverPlanner.plan(model, request, control, hooks)?;
        *self.0.lock().expect("whole") = Some(plan.clone());
        Ok(plan)
    }
}

fn settings(address: std::net::SocketAddr) -> Settings {
    let backoff =
        Backoff { first: Duration::from_millis(1), longest: Duration::from_millis(5), tries: 500 };
    Settings::new(format!("http://{address}")).backoff(backoff)
}

fn file_of(plan: &str, file: &str) -> v1::GetPlanFileRequest {
    v1::GetPlanFileRequest { name: format!("{plan}/files/{file}"), ..Default::default() }
}

/// Code and reason with which a file is refused.
async fn refused(client: &mut Client, name: &str) -> (Code, String) {
    let asked = v1::GetPlanFileRequest { name: name.to_owned(), ..Default::default() };
    code_and_reason(&client.get_plan_file(asked).await.expect_err(name))
}

fn code_and_reason(status: &Status) -> (Code, String) {
    let info = status.get_details_error_info().unwrap_or_else(|| panic!("{status:?}"));
    assert_eq!(info.domain, "slitwright");
    (status.code(), info.reason)
}

async fn files_of(client: &mut Client, plan: &str) -> v1::ListPlanFilesResponse {
    let asked = v1::ListPlanFilesRequest { parent: plan.to_owned(), ..Default::default() };
    client.list_plan_files(asked).await.expect("listed").into_inner()
}

fn media_type(name: &str) -> &'static str {
    // IANA's register of media types (iana.org/assignments/media-types, from memory).
    match name.rsplit_once('.').map(|(_, ending)| ending) {
        Some("png") => "image/png",
        Some("glb") => "model/gltf-binary",
        Some("json") => "application/json",
        Some("txt") => "text/plain; charset=utf-8",
        Some("html") => "text/html; charset=utf-8",
        Some("pdf") => "application/pdf",
        Some("svg") => "image/svg+xml",
        other => panic!("{other:?}"),
    }
}

/// A cut up the plinth's side to be judged, with a small trial: all that a plan can have.
fn submission_of_cut(model: &str) -> v1::SubmitPlanRequest {
    let blanket = v1::BlanketMould { thickness_mm: Some(6.0) };
    let trial = v1::TrialRules {
        mode: v1::TrialMode::Judge.into(),
        elements: Some(800),
        ..Default::default()
    };
    let points = [0.0, 5.0, 10.0].map(|z| v1::Point { x: 0.0, y: 15.0, z }).to_vec();
    let place = Some(v1::drawn_cut::Place::Line(v1::Polyline { points }));
    let cuts = vec![v1::DrawnCut { name: "up the side".to_owned(), place }];
    let request = v1::PlanRequest {
        mould: Some(v1::Mould { shape: Some(v1::mould::Shape::Blanket(blanket)) }),
        scheme: Some(v1::Scheme { cuts, ..Default::default() }),
        trial: Some(trial),
        ..Default::default()
    };
    v1::SubmitPlanRequest { model: model.to_owned(), request: Some(request), ..Default::default() }
}

#[tokio::test(flavor = "multi_thread")]
async fn every_file_that_the_shell_writes_comes_by_a_call() {
    let folder = tempfile::tempdir().expect("a folder");
    let config = || ServeConfig { folder: Some(folder.path().to_owned()), ..Default::default() };
    let seen = Seen::default();
    let server = Running::start(config(), seen.clone()).await;
    let helper = client::Client::connect(settings(server.address)).await.expect("connected");
    let mut calls = helper_calls(&server).await;
    let piece = plinth();
    let model = uploaded(&mut calls).await;
    let asked = submission_of_cut(&model.name);
    let job = calls.submit_plan(asked).await.expect("queued").into_inner();
    let (_, ended) = watch_to_end(&mut calls, &job.name).await;
    assert_eq!(ended.state(), JobState::Succeeded, "{:?}", ended.failure);

    let plan = seen.0.lock().expect("whole").take().expect("planned");
    let mesh = prepare_with(
        &piece,
        MeshFormat::Off,
        Some(LengthUnit::Millimetre),
        &PrepareOptions::default(),
        &Cancel::new(),
    );
    let mesh = mesh.expect("a sound model").original;
    let source = Source {
        heading: "plinth",
        bench: Bench::default(),
        model: Some((&mesh).into()),
        plan: Ok(&plan),
        message: ended.plan.as_ref().expect("a plan"),
        request: ended.request.as_ref().expect("a request"),
    };
    let mut written: Vec<(&str, Vec<u8>)> = Vec::new();
    draw_all(&source, |file, bytes| -> Result<(), FileFault> {
        written.push((file.name, bytes.to_vec()));
        Ok(())
    })
    .expect("drawn");
    assert_eq!(written.len(), file_types().len(), "a plan that has all");

    let listed = helper.files(&job.name).await.expect("listed");
    let names: Vec<&str> = listed.iter().filter_map(|file| file.name.rsplit('/').next()).collect();
    assert_eq!(names, written.iter().map(|(name, _)| *name).collect::<Vec<_>>());
    for (file, (name, bytes)) in listed.iter().zip(&written) {
        let came = helper.file(&file.name).await.expect(name);
        assert!(came.bytes == *bytes, "{name} differs from what the shell writes");
        assert_eq!(came.file.size_bytes, Some(bytes.len() as u64));
        assert_eq!(v1::PlanFile { size_bytes: None, ..came.file }, *file);
        assert_eq!((file.media_type.as_str(), file.size_bytes), (media_type(name), None));
        assert_ne!(file.kind(), PlanFileKind::Unspecified);
        if file.media_type == "model/gltf-binary" {
            let scene = gltf::Gltf::from_slice(&came.bytes).expect("reads back");
            assert!(scene.nodes().count() > 1);
        }
    }
    // Pages are laid out for the paper that is asked for.
    let page = |paper| v1::GetPlanFileRequest { paper, ..file_of(&job.name, "plan.pdf") };
    let mut sizes = Vec::new();
    for paper in [v1::PaperSize::A4, v1::PaperSize::Letter] {
        let mut parts = calls.get_plan_file(page(paper.into())).await.expect("drawn").into_inner();
        let mut bytes = Vec::new();
        while let Some(part) = parts.message().await.expect("a part") {
            if let Some(Part::Chunk(chunk)) = part.part {
                bytes.extend(chunk);
            }
        }
        assert!(bytes.starts_with(b"%PDF-"));
        sizes.push(bytes);
    }
    let a4 = written.iter().find(|(name, _)| *name == "plan.pdf").expect("written");
    assert!(sizes[0] == a4.1 && sizes[1] != a4.1);
    assert_invalid(calls.get_plan_file(page(7)).await, &["paper"]);
    // The sheets are in the plan, and a mask leaves them by themselves.
    let read_mask = Some(prost_types::FieldMask { paths: vec!["plan.cuts.sheets".to_owned()] });
    let asked = v1::GetPlanRequest { name: job.name.clone(), read_mask };
    let masked = calls.get_plan(asked).await.expect("there").into_inner().plan.expect("a plan");
    let whole = &ended.plan.as_ref().expect("a plan").cuts;
    assert_eq!(masked.cuts.len(), whole.len());
    for (cut, all) in masked.cuts.iter().zip(whole) {
        assert!(!cut.sheets.is_empty() && cut.sheets == all.sheets && cut.branches.is_empty());
    }

    drop((helper, calls));
    server.stop().await;
    // Nothing of it is lost by a restart.
    let server = Running::start(config(), SolverPlanner).await;
    let helper = client::Client::connect(settings(server.address)).await.expect("connected");
    for (name, bytes) in written.iter().filter(|(name, _)| name.starts_with("way-out")) {
        let came = helper.file(&format!("{}/files/{name}", job.name)).await.expect(name);
        assert!(came.bytes == *bytes, "{name} differs after a restart");
    }
    drop(helper);
    server.stop().await;
}

async fn helper_calls(server: &Running) -> Client {
    let channel = tonic::transport::Channel::from_shared(format!("http://{}", server.address));
    Client::new(channel.expect("an address").connect().await.expect("connected"))
}

#[tokio::test(flavor = "multi_thread")]
async fn what_a_plan_has_not_is_told_with_its_reason() {
    let (planner, starts) = ScriptedPlanner::new();
    let mut server = TestServer::start(ServeConfig::default(), planner).await;
    let client = &mut server.client;
    let model = uploaded(client).await;
    let job = submit(client, &model.name, QUICK).await;
    watch_to_end(client, &job.name).await;
    let plan = &job.name;

    let all = files_of(client, plan).await;
    assert_eq!(all.next_page_token, "");
    assert_eq!(all.files.len() + all.missing.len(), file_types().len());
    let expected = [
        ("sections.png", "NO_SECTIONS"),
        ("shell.png", "NO_SHELL"),
        ("way-out.png", "NO_TRIAL"),
        ("way-out.glb", "NO_TRIAL"),
        ("template.svg", "NO_SHEETS"),
        ("template.pdf", "NO_SHEETS"),
    ];
    let missing: Vec<(String, &str)> = all
        .missing
        .iter()
        .map(|file| (file.name.replace(&format!("{plan}/files/"), ""), file.reason.as_str()))
        .collect();
    assert_eq!(missing, expected.map(|(name, why)| (name.to_owned(), why)));
    for (name, why) in expected {
        let told = refused(client, &format!("{plan}/files/{name}")).await;
        assert_eq!(told, (Code::FailedPrecondition, why.to_owned()));
    }

    // Page by page, and by kind.
    let mut views = Vec::new();
    let mut asked = v1::ListPlanFilesRequest {
        parent: plan.clone(),
        page_size: 3,
        filter: "kind = VIEW".to_owned(),
        ..Default::default()
    };
    loop {
        let page = client.list_plan_files(asked.clone()).await.expect("a page").into_inner();
        assert!(page.files.len() <= 3 && page.missing.is_empty());
        views.extend(page.files);
        if page.next_page_token.is_empty() {
            break;
        }
        asked.page_token = page.next_page_token;
    }
    assert_eq!(views.len(), 7);
    assert!(views.iter().all(|file| file.kind() == PlanFileKind::View && file.plan_number == 1));
    let other = v1::ListPlanFilesRequest { filter: String::new(), ..asked.clone() };
    assert_invalid(client.list_plan_files(other).await, &["page_token"]);
    let bad = v1::ListPlanFilesRequest { filter: "kind = BLUE".to_owned(), ..asked.clone() };
    assert_invalid(client.list_plan_files(bad).await, &["filter"]);
    let bad = v1::ListPlanFilesRequest { parent: "models/a".to_owned(), ..asked };
    assert_invalid(client.list_plan_files(bad).await, &["parent"]);

    let invalid = (Code::InvalidArgument, "INVALID_FIELDS".to_owned());
    for name in ["", "plans/a", "plans/a/files/../plan.txt", "models/a/files/plan.txt"] {
        assert_eq!(refused(client, name).await, invalid, "{name}");
    }
    let told = refused(client, &format!("{plan}/files/plan.doc")).await;
    assert_eq!(told, (Code::NotFound, "FILE_NOT_FOUND".to_owned()));
    let told = refused(client, "plans/none/files/plan.txt").await;
    assert_eq!(told, (Code::NotFound, "PLAN_NOT_FOUND".to_owned()));

    // A job that has no plan yet, and one that has failed.
    while starts.try_recv().is_ok() {}
    let waits = submit(client, &model.name, UNTIL_CANCELLED).await;
    assert_eq!(next_start(&starts), UNTIL_CANCELLED);
    let no_plan = (Code::FailedPrecondition, "NO_PLAN".to_owned());
    assert_eq!(refused(client, &format!("{}/files/plan.txt", waits.name)).await, no_plan);
    let asked = v1::ListPlanFilesRequest { parent: waits.name.clone(), ..Default::default() };
    let told = client.list_plan_files(asked).await.expect_err("no plan yet");
    assert_eq!(code_and_reason(&told), no_plan);
    cancel(client, &waits.name).await;
    watch_to_end(client, &waits.name).await;
    assert_eq!(refused(client, &format!("{}/files/plan.txt", waits.name)).await, no_plan);

    // A model that was deleted takes with it what shows it.
    client.delete_model(v1::DeleteModelRequest { name: model.name }).await.expect("deleted");
    let left = files_of(client, plan).await;
    let names: Vec<&str> = left.files.iter().filter_map(|f| f.name.rsplit('/').next()).collect();
    assert_eq!(names, ["plan.json", "request.json"]);
    let told = refused(client, &format!("{plan}/files/front.png")).await;
    assert_eq!(told, (Code::FailedPrecondition, "MODEL_GONE".to_owned()));
    client.get_plan_file(file_of(plan, "plan.json")).await.expect("still there");
    // And a plan that was deleted all of it.
    client.delete_plan(v1::DeletePlanRequest { name: plan.clone() }).await.expect("deleted");
    let told = refused(client, &format!("{plan}/files/plan.json")).await;
    assert_eq!(told, (Code::NotFound, "PLAN_NOT_FOUND".to_owned()));
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn while_the_work_goes_on_files_show_the_best_so_far() {
    let (planner, starts) = ScriptedPlanner::new();
    let mut server = TestServer::start(ServeConfig::default(), planner).await;
    let client = &mut server.client;
    let model = uploaded(client).await;
    let job = submit(client, &model.name, WITH_CUTS).await;
    assert_eq!(next_start(&starts), WITH_CUTS);
    let asked = v1::WatchPlanRequest { name: job.name.clone(), cuts: false };
    let mut events = client.watch_plan(asked).await.expect("watched").into_inner();
    loop {
        let event = events.message().await.expect("an event").expect("open").event;
        if let Some(v1::plan_event::Event::Better(_)) = event {
            break;
        }
    }
    drop(events);
    let mut parts = client.get_plan_file(file_of(&job.name, "plan.txt")).await.expect("there");
    let parts = parts.get_mut();
    let Some(Part::File(file)) = parts.message().await.expect("a part").and_then(|p| p.part) else {
        panic!("the file comes first");
    };
    assert_eq!(file.plan_number, 1);
    let mut text = Vec::new();
    while let Some(part) = parts.message().await.expect("a part") {
        let Some(Part::Chunk(chunk)) = part.part else { panic!("then its bytes") };
        text.extend(chunk);
    }
    let text = String::from_utf8(text).expect("words");
    assert!(text.contains("7.0 mm, opens the way to bridge A"), "{text}");
    cancel(client, &job.name).await;
    server.stop().await;
}

/// Callers who leave in the middle free their places, and as many as there are places hold up nobody for
/// good.
#[tokio::test(flavor = "multi_thread")]
async fn callers_who_leave_in_the_middle_free_their_places() {
    let (planner, _starts) = ScriptedPlanner::new();
    let server = Running::start(ServeConfig::default(), planner).await;
    let mut client = helper_calls(&server).await;
    // Its scene has more bytes than lie between a server and a client that does not read: 2 MiB of a stream
    // (hyper's window, from memory) and a part.
    let fine = slitwright_tests::box_mesh([40.0, 30.0, 20.0], [160, 120, 80]);
    let model = upload(&mut client, header(), &off(&fine), 1 << 18).await.expect("sound");
    let job = submit(&mut client, &model.name, QUICK).await;
    watch_to_end(&mut client, &job.name).await;
    let info = client.get_server_info(v1::GetServerInfoRequest {}).await.expect("told");
    let places = info.into_inner().limits.expect("told").files;
    let asked = || file_of(&job.name, "plan.glb");
    let mut open = Vec::new();
    for _ in 0..places {
        // On connections of their own: streams that are not read fill the window of one.
        let mut other = helper_calls(&server).await;
        let mut parts = other.get_plan_file(asked()).await.expect("a place").into_inner();
        let first = parts.message().await.expect("a part").and_then(|part| part.part);
        let Some(Part::File(file)) = first else { panic!("the file comes first") };
        assert!(file.size_bytes.is_some_and(|size| size > 5 << 19), "{file:?}");
        open.push((parts, other));
    }
    let busy = client.get_plan_file(asked()).await.expect_err("all places are taken");
    assert_eq!(code_and_reason(&busy), (Code::ResourceExhausted, "TOO_MANY_FILES".to_owned()));
    assert!(busy.get_details_retry_info().is_some_and(|info| info.retry_delay.is_some()));
    drop(open);
    loop {
        match client.get_plan_file(asked()).await {
            Ok(_) => break,
            Err(status) => assert_eq!(status.code(), Code::ResourceExhausted, "{status:?}"),
        }
    }
    drop(client);
    server.stop().await;
}
