//! What no caller may do to the service or to the others: send without end, say too much, or spoil what
//! everyone reads.

mod service_support;

use std::time::Duration;

use prost::Message as _;
use prost::bytes::{Buf as _, BufMut as _};
use service_support::*;
use slitwright_proto::v1;
use slitwright_proto::v1::upload_model_request::Part;
use slitwright_proto::v1::{JobState, StopReason};
use slitwright_server::{PlanFault, Planner, ServeConfig, SolverPlanner, UploadRules};
use slitwright_solver::control::{Cancel, Cancelled, Control};
use slitwright_solver::mesh::{
    LengthUnit, MeshFormat, Model, PrepareError, PrepareOptions, TriangleMesh,
};
use slitwright_solver::plan::{Hooks, Plan, PlanRequest};
use tonic::Code;
use tonic::codec::{Codec, DecodeBuf, Decoder, EncodeBuf, Encoder};
use tonic_types::StatusExt as _;

async fn scripted() -> (TestServer, std::sync::mpsc::Receiver<u64>) {
    let (planner, starts) = ScriptedPlanner::new();
    (TestServer::start(ServeConfig::default(), planner).await, starts)
}

async fn solving() -> TestServer {
    TestServer::start(ServeConfig::default(), SolverPlanner).await
}

fn obj() -> v1::UploadHeader {
    v1::UploadHeader { format: v1::MeshFormat::Obj.into(), ..header() }
}

/// What fits into the trailers of an answer: grpc-core takes 8 KiB of metadata unless told otherwise
/// (its GRPC_ARG_MAX_METADATA_SIZE).
fn assert_fits(status: &tonic::Status) {
    let details = status.details().len().div_ceil(3) * 4;
    assert!(status.message().len() + details < 7 << 10, "{} + {details}", status.message().len());
}

/// Bytes as they are, in place of a message.
struct RawBytes(Vec<u8>);

#[derive(Clone, Copy)]
struct RawCodec;

impl Codec for RawCodec {
    type Encode = RawBytes;
    type Decode = ();
    type Encoder = Self;
    type Decoder = Self;
    fn encoder(&mut self) -> Self {
        *self
    }
    fn decoder(&mut self) -> Self {
        *self
    }
}

impl Encoder for RawCodec {
    type Item = RawBytes;
    type Error = tonic::Status;
    fn encode(&mut self, item: RawBytes, into: &mut EncodeBuf<'_>) -> Result<(), tonic::Status> {
        into.put_slice(&item.0);
        Ok(())
    }
}

impl Decoder for RawCodec {
    type Item = ();
    type Error = tonic::Status;
    fn decode(&mut self, from: &mut DecodeBuf<'_>) -> Result<Option<()>, tonic::Status> {
        from.advance(from.remaining());
        Ok(Some(()))
    }
}

/// A mesh as a binary STL file.
fn stl(mesh: &TriangleMesh) -> Vec<u8> {
    let mut bytes = vec![0; 80];
    bytes.extend_from_slice(&(mesh.faces.len() as u32).to_le_bytes());
    for face in &mesh.faces {
        bytes.extend_from_slice(&[0; 12]);
        for x in face.iter().flat_map(|&v| mesh.positions[v as usize].coords.data.0[0]) {
            bytes.extend_from_slice(&(x as f32).to_le_bytes());
        }
        bytes.extend_from_slice(&[0; 2]);
    }
    bytes
}

#[tokio::test]
async fn a_face_of_very_many_corners_is_refused_at_once() {
    let mut server = solving().await;
    let corners = |count: usize| {
        let mut text = "v 0 0 0\nv 40 0 0\nv 40 30 0\nv 0 30 20\nf".to_owned();
        (0..count).for_each(|k| text += [" 1", " 2", " 3", " 4"][k % 4]);
        text.into_bytes()
    };
    for count in [9_000, 1_000_000] {
        let sent = upload(&mut server.client, obj(), &corners(count), 1 << 20).await;
        let status = sent.expect_err("no polygon");
        assert!([Code::InvalidArgument, Code::ResourceExhausted].contains(&status.code()));
        assert!(status.message().contains(&format!("{count} corners")), "{status:?}");
    }
    server.stop().await;
}

#[tokio::test]
async fn an_upload_of_empty_chunks_is_dropped_as_a_silent_one_is() {
    let rules = UploadRules { idle: Duration::from_millis(300), ..UploadRules::default() };
    let config = ServeConfig { uploads: rules, ..ServeConfig::default() };
    let server = TestServer::start(config, SolverPlanner).await;
    let (messages, received) = tokio::sync::mpsc::channel(4);
    messages.send(part(Part::Header(header()))).await.expect("room");
    tokio::spawn(async move {
        // Ends when nobody takes them any more.
        while messages.send(part(Part::Chunk(Vec::new()))).await.is_ok() {
            tokio::time::sleep(Duration::from_millis(5)).await;
        }
    });
    let mut client = server.client.clone();
    let sent = client.upload_model(tokio_stream::wrappers::ReceiverStream::new(received));
    let dropped = tokio::time::timeout(Duration::from_secs(20), sent).await;
    let status = dropped.expect("not for ever").expect_err("dropped");
    assert_eq!(status.code(), Code::DeadlineExceeded, "{status:?}");
    server.stop().await;
}

/// Checks a model until nobody waits for it any more.
struct Slow(std::sync::mpsc::Sender<bool>);

impl Planner for Slow {
    fn prepare(
        &self,
        _: &[u8],
        _: MeshFormat,
        _: Option<LengthUnit>,
        _: &PrepareOptions,
        cancel: &Cancel,
    ) -> Result<Model, PrepareError> {
        for told in [false, true] {
            // A test that has ended does not care.
            let _ = self.0.send(told);
            while !told && !cancel.is_cancelled() {
                std::thread::yield_now();
            }
        }
        Err(PrepareError::Cancelled(Cancelled))
    }

    fn plan(
        &self,
        _: &Model,
        _: &PlanRequest,
        _: &Control<'_>,
        _: &Hooks<'_>,
    ) -> Result<Plan, PlanFault> {
        Err(PlanFault::Cancelled)
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_check_ends_when_its_caller_goes() {
    let (told, tells) = std::sync::mpsc::channel();
    let rules = UploadRules { at_once: 1, ..UploadRules::default() };
    let config = ServeConfig { uploads: rules, ..ServeConfig::default() };
    let server = TestServer::start(config, Slow(told)).await;
    let next = || tokio::task::block_in_place(|| tells.recv_timeout(Duration::from_secs(20)));
    for _ in 0..2 {
        let mut client = server.client.clone();
        let sent = tokio::spawn(async move {
            // The place of the one before may be given back a moment after its check has ended.
            loop {
                let sent = upload(&mut client, header(), &plinth(), 1 << 16).await;
                if !sent.is_err_and(|status| status.code() == Code::ResourceExhausted) {
                    break;
                }
            }
        });
        assert_eq!(next(), Ok(false), "the check has begun");
        sent.abort();
        assert_eq!(next(), Ok(true), "the check has ended");
    }
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn an_area_of_very_many_corners_is_refused() {
    let (mut server, _starts) = scripted().await;
    let client = &mut server.client;
    let model = uploaded(client).await;
    let with_area = |count: u32| {
        let corner = |k: u32| {
            let turn = std::f64::consts::TAU * f64::from(k) / f64::from(count);
            v1::Point { x: 20.0 + turn.cos(), y: 15.0 + turn.sin(), z: 20.0 }
        };
        let polygon = v1::PolygonArea { corners: (0..count).map(corner).collect() };
        let area = v1::Area { shape: Some(v1::area::Shape::Polygon(polygon)) };
        let mut asked = submission(&model.name, QUICK);
        let areas = v1::SeamAreas { keep_off: vec![area], ..Default::default() };
        asked.request.get_or_insert_default().areas = Some(areas);
        asked
    };
    client.submit_plan(with_area(1000)).await.expect("queued");
    let many = client.submit_plan(with_area(10_000)).await;
    assert_invalid(many, &["request.areas.keep_off[0].polygon.corners"]);
    // More than a mebibyte.
    assert_invalid(client.submit_plan(with_area(100_000)).await, &["request"]);
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_failure_with_very_many_words_is_cut_short_for_everyone() {
    let (mut server, _starts) = scripted().await;
    let client = &mut server.client;
    let model = uploaded(client).await;
    let wordy = submit(client, &model.name, WORDY).await;
    let (_, ended) = watch_to_end(client, &wordy.name).await;
    let failure = ended.failure.expect("why");
    assert!(failure.message.starts_with("words words"), "{}", &failure.message[..40]);
    assert!(failure.message.len() < 5000, "{}", failure.message.len());
    assert_eq!(list(client).await.len(), 1);
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn lists_leave_requests_out_unless_asked_for() {
    let (mut server, _starts) = scripted().await;
    let client = &mut server.client;
    let model = uploaded(client).await;
    let job = submit(client, &model.name, QUICK).await;
    watch_to_end(client, &job.name).await;
    let [listed] = &list(client).await[..] else { panic!("one job") };
    assert_eq!((&listed.request, &listed.plan), (&None, &None));
    assert_eq!((&listed.name, listed.state()), (&job.name, JobState::Succeeded));
    let read_mask = Some(prost_types::FieldMask { paths: vec!["request".to_owned()] });
    let asked = v1::ListPlansRequest { read_mask, ..Default::default() };
    let page = client.list_plans(asked).await.expect("a page").into_inner();
    assert_eq!(page.plans[0].request, job.request);
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_request_of_a_mebibyte_and_more_is_refused() {
    let (mut server, _starts) = scripted().await;
    let client = &mut server.client;
    let model = uploaded(client).await;
    let point = |k: u32| v1::Point { x: 0.0, y: 15.0, z: 20.0 * f64::from(k) / 150_000.0 };
    let line = v1::Polyline { points: (0..150_000).map(point).collect() };
    let place = Some(v1::drawn_cut::Place::Line(line));
    let cuts = vec![v1::DrawnCut { name: "long".to_owned(), place }];
    let mut asked = submission(&model.name, QUICK);
    asked.request.get_or_insert_default().scheme = Some(v1::Scheme { cuts, ..Default::default() });
    assert!(asked.encoded_len() < 4 << 20, "it passes the transport");
    assert_invalid(client.submit_plan(asked).await, &["request"]);
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn what_ran_out_of_time_is_given_more() {
    let (mut server, starts) = scripted().await;
    let client = &mut server.client;
    let model = uploaded(client).await;
    let job = submit(client, &model.name, FINDS_NOTHING_IN_TIME).await;
    let (_, failed) = watch_to_end(client, &job.name).await;
    assert_eq!(failed.state(), JobState::Failed);
    assert_eq!(next_start(&starts), FINDS_NOTHING_IN_TIME);
    let failure = failed.failure.expect("why");
    assert_eq!(Code::from_i32(failure.code), Code::DeadlineExceeded);
    let more =
        v1::ExtendPlanRequest { name: job.name.clone(), seconds: 60.0, ..Default::default() };
    let again = client.extend_plan(more).await.expect("given").into_inner();
    assert_eq!((again.failure, again.end_time), (None, None));
    let (_, ended) = watch_to_end(client, &job.name).await;
    assert_eq!(ended.state(), JobState::Succeeded, "{:?}", ended.failure);
    assert_eq!(ended.failure, None);

    let unfit = submit(client, &model.name, UNFIT).await;
    watch_to_end(client, &unfit.name).await;
    let more = v1::ExtendPlanRequest { name: unfit.name, seconds: 60.0, ..Default::default() };
    let refused = client.extend_plan(more).await.expect_err("no time helps");
    assert_eq!(refused.code(), Code::FailedPrecondition);
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_plan_tells_why_its_own_job_stopped() {
    let (mut server, starts) = scripted().await;
    let client = &mut server.client;
    let model = uploaded(client).await;
    let job = submit(client, &model.name, STEPWISE).await;
    assert_eq!(next_start(&starts), STEPWISE);
    let running = loop {
        let job = get(client, &job.name).await;
        if job.plan.is_some() {
            break job;
        }
        tokio::task::yield_now().await;
    };
    assert_eq!(running.state(), JobState::Running);
    assert_eq!(running.plan.map(|plan| plan.stopped_by()), Some(StopReason::NotYet));
    cancel(client, &job.name).await;
    let (_, ended) = watch_to_end(client, &job.name).await;
    assert_eq!(ended.state(), JobState::Cancelled);
    assert_eq!(ended.plan.map(|plan| plan.stopped_by()), Some(StopReason::Cancelled));
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn long_names_and_many_faults_fit_into_the_answer() {
    let (mut server, _starts) = scripted().await;
    let client = &mut server.client;
    let long = format!("plans/{}", "x".repeat(5000));
    let asked = client.get_plan(v1::GetPlanRequest { name: long.clone(), read_mask: None }).await;
    let status = asked.expect_err("no such name");
    assert_eq!(fields(&status), (Code::InvalidArgument, vec!["name".to_owned()]));
    assert_fits(&status);
    let model = uploaded(client).await;
    let far = v1::Point { x: f64::MAX, y: f64::MIN, z: f64::NAN };
    let areas = v1::SeamAreas {
        keep_off: vec![v1::Area { shape: None }; 50],
        preferred: vec![v1::PreferredArea { area: None, factor: Some(f64::MIN) }; 50],
    };
    let mut asked = submission(&model.name, QUICK);
    let request = asked.request.get_or_insert_default();
    request.areas = Some(areas);
    let plane = v1::PlaneGate { point: Some(far), normal: None };
    request.gate = Some(v1::Gate { place: Some(v1::gate::Place::Plane(plane)) });
    let status = client.submit_plan(asked).await.expect_err("off");
    assert_fits(&status);
    let (_, fields) = fields(&status);
    assert!(fields.len() > 5 && fields.contains(&"request.gate.plane.point.x".to_owned()));
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn time_asked_for_again_under_one_id_is_the_same_time() {
    let (mut server, starts) = scripted().await;
    let client = &mut server.client;
    let model = uploaded(client).await;
    let job = submit(client, &model.name, UNTIL_CANCELLED).await;
    assert_eq!(next_start(&starts), UNTIL_CANCELLED);
    let more = |seconds| v1::ExtendPlanRequest {
        name: job.name.clone(),
        seconds,
        request_id: "once".to_owned(),
    };
    for _ in 0..2 {
        let given = client.extend_plan(more(30.0)).await.expect("given").into_inner();
        assert_eq!(given.extra_seconds, 30.0);
    }
    let other = client.extend_plan(more(40.0)).await.expect_err("other seconds");
    assert_eq!(other.code(), Code::AlreadyExists, "{other:?}");
    cancel(client, &job.name).await;
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn comparing_says_why_a_plan_is_missing() {
    let (mut server, _starts) = scripted().await;
    let client = &mut server.client;
    let model = uploaded(client).await;
    let unfit = submit(client, &model.name, UNFIT).await;
    watch_to_end(client, &unfit.name).await;
    let asked = v1::ComparePlansRequest { names: vec![unfit.name.clone()] };
    let status = client.compare_plans(asked).await.expect_err("no plan");
    assert_eq!(status.code(), Code::FailedPrecondition);
    assert!(status.message().contains("has failed"), "{status:?}");
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_no_message_is_the_callers_fault() {
    let (server, _starts) = scripted().await;
    // A name whose bytes are no UTF-8: field 1, two bytes.
    let broken = RawBytes(vec![0x0a, 0x02, 0xff, 0xfe]);
    let mut raw = tonic::client::Grpc::new(server.channel.clone());
    raw.ready().await.expect("connected");
    let path =
        tonic::codegen::http::uri::PathAndQuery::from_static("/slitwright.v1.CutPlanner/GetPlan");
    let answer = raw.unary(tonic::Request::new(broken), path, RawCodec).await;
    let status = answer.map(|_| ()).expect_err("no message");
    assert_eq!(status.code(), Code::InvalidArgument, "{status:?}");
    drop(raw);
    server.stop().await;
}

#[tokio::test]
async fn bytes_after_the_end_of_an_stl_are_told() {
    let mut server = solving().await;
    let mut bytes = stl(&slitwright_tests::box_mesh([40.0, 30.0, 20.0], [4, 3, 2]));
    let header =
        || v1::UploadHeader { format: v1::MeshFormat::Stl.into(), ..service_support::header() };
    let model = upload(&mut server.client, header(), &bytes, 1 << 16).await.expect("sound");
    let report = model.report.expect("checked");
    assert!(report.warnings.is_empty(), "{:?}", report.warnings);
    bytes.extend_from_slice(&[7; 1234]);
    let model = upload(&mut server.client, header(), &bytes, 1 << 16).await.expect("sound");
    let report = model.report.expect("checked");
    assert!(report.warnings.iter().any(|w| w.contains("1234 bytes")), "{:?}", report.warnings);
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn names_for_people_hold_nothing_that_steers_a_terminal() {
    let (mut server, _starts) = scripted().await;
    let client = &mut server.client;
    for bad in ["a\u{1b}[2J", "two\nlines", "tab\t", "\u{202e}lts.suineg", "\u{2066}x", "\u{0}"] {
        let named = v1::UploadHeader { display_name: bad.to_owned(), ..header() };
        let sent = upload(client, named, &plinth(), 1 << 16).await;
        assert_invalid(sent, &["header.display_name"]);
    }
    let named = v1::UploadHeader { display_name: "Müller's büste 二".to_owned(), ..header() };
    let model = upload(client, named, &plinth(), 1 << 16).await.expect("a good name");
    let mut asked = submission(&model.name, QUICK);
    let cut =
        v1::DrawnCut { name: "a\u{7}".to_owned(), place: Some(v1::drawn_cut::Place::Bridge(0)) };
    let long = v1::DrawnCut { name: "x".repeat(121), ..cut.clone() };
    let cuts = vec![cut, long];
    asked.request.get_or_insert_default().scheme = Some(v1::Scheme { cuts, ..Default::default() });
    assert_invalid(
        client.submit_plan(asked).await,
        &["request.scheme.cuts[0].name", "request.scheme.cuts[1].name"],
    );
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn faults_of_the_disk_tell_callers_no_paths() {
    let folder = tempfile::tempdir().expect("a folder");
    let (planner, _starts) = ScriptedPlanner::new();
    let config = ServeConfig { folder: Some(folder.path().to_owned()), ..ServeConfig::default() };
    let mut server = TestServer::start(config, planner).await;
    // Whoever gets an answer talks to a store that is open.
    list(&mut server.client).await;
    std::fs::remove_dir(folder.path().join("models")).expect("an empty folder");
    let sent = upload(&mut server.client, header(), &plinth(), 1 << 16).await;
    let status = sent.expect_err("nowhere to keep it");
    assert_eq!(status.code(), Code::Unavailable, "{status:?}");
    let place = folder.path().to_string_lossy().into_owned();
    let details = String::from_utf8_lossy(status.details()).into_owned();
    assert!(!status.message().contains(&place) && !details.contains(&place), "{status:?}");
    assert!(status.get_details_retry_info().is_some(), "{status:?}");
    server.stop().await;
}
