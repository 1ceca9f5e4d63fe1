//! gRPC-Web as a browser speaks it, over HTTP/1.1.

use std::net::SocketAddr;

use prost::Message;
use slitwright_proto::v1;
use slitwright_proto::v1::upload_model_request::Part;
use slitwright_server::front::{Front, Origin};
use slitwright_server::{ServeConfig, SolverPlanner};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;

use super::service_support::*;
use super::{connect, send_plinth, tokens};

const PAGE: &str = "https://viewer.example";

/// Status line and headers in small letters, and the body with its chunks joined.
struct Answer {
    head: String,
    body: Vec<u8>,
}

/// Sends the bytes of a request and reads the answer to its end.
pub async fn exchange(address: SocketAddr, head: &str, body: &[u8]) -> (String, Vec<u8>) {
    let mut stream = TcpStream::connect(address).await.expect("connected");
    let head = format!("{head}\r\nhost: {address}\r\nconnection: close\r\n\r\n");
    stream.write_all(&[head.as_bytes(), body].concat()).await.expect("sent");
    let mut answer = Vec::new();
    stream.read_to_end(&mut answer).await.expect("an answer");
    let end = answer.windows(4).position(|four| four == b"\r\n\r\n").expect("the head's end");
    let body = answer.split_off(end + 4);
    (String::from_utf8(answer).expect("text").to_lowercase(), body)
}

/// The chunks of HTTP/1.1's chunked coding, joined.
fn joined(mut rest: &[u8]) -> Vec<u8> {
    let mut all = Vec::new();
    while let Some(end) = rest.windows(2).position(|two| two == b"\r\n") {
        let size = std::str::from_utf8(&rest[..end]).expect("a size");
        let size = usize::from_str_radix(size, 16).expect("a size");
        all.extend_from_slice(&rest[end + 2..end + 2 + size]);
        rest = &rest[end + 2 + size + 2..];
    }
    all
}

async fn post(address: SocketAddr, method: &str, more: &str, message: &[u8]) -> Answer {
    let mut frame = vec![0];
    frame.extend(u32::try_from(message.len()).expect("short").to_be_bytes());
    frame.extend(message);
    let head = format!(
        "POST /slitwright.v1.CutPlanner/{method} HTTP/1.1\r\ncontent-type: application/grpc-web+proto\r\n\
         x-grpc-web: 1\r\ncontent-length: {}{more}",
        frame.len()
    );
    let (head, body) = exchange(address, &head, &frame).await;
    let body = if head.contains("transfer-encoding: chunked") { joined(&body) } else { body };
    Answer { head, body }
}

/// The frames of a body: whether each holds trailers, and its bytes.
fn frames(mut body: &[u8]) -> Vec<(bool, Vec<u8>)> {
    let mut frames = Vec::new();
    while let [flag, a, b, c, d, rest @ ..] = body {
        let size = u32::from_be_bytes([*a, *b, *c, *d]) as usize;
        frames.push((flag & 0x80 != 0, rest[..size].to_vec()));
        body = &rest[size..];
    }
    frames
}

async fn start(planner: impl slitwright_server::Planner) -> (Running, tempfile::TempDir) {
    let (folder, book) = tokens(&[("a", "t", "write", "")]);
    let web_origins = vec![PAGE.parse::<Origin>().expect("an origin")];
    let front = Front { tokens: Some(book), web_origins, ..Front::default() };
    (Running::start(ServeConfig { front, ..ServeConfig::default() }, planner).await, folder)
}

fn by(origin: &str, token: &str) -> String {
    format!("\r\norigin: {origin}\r\nauthorization: Bearer {token}")
}

#[tokio::test(flavor = "multi_thread")]
async fn a_page_gets_a_model_and_watches_a_plan() {
    let (planner, _starts) = ScriptedPlanner::new();
    let (server, _folder) = start(planner).await;
    let client = connect(&server, "t").await;
    let model = send_plinth(&client).await.expect("kept");

    let asked = v1::GetModelRequest { name: model.name.clone() }.encode_to_vec();
    let answer = post(server.address, "GetModel", &by(PAGE, "t"), &asked).await;
    assert!(answer.head.starts_with("http/1.1 200"), "{}", answer.head);
    assert!(answer.head.contains("content-type: application/grpc-web+proto"), "{}", answer.head);
    assert!(
        answer.head.contains(&format!("access-control-allow-origin: {PAGE}")),
        "{}",
        answer.head
    );
    let frames_of_model = frames(&answer.body);
    let [(false, message), (true, trailers)] = frames_of_model.as_slice() else {
        panic!("a message and trailers, not {frames_of_model:?}");
    };
    assert_eq!(v1::Model::decode(message.as_slice()).expect("a model"), model);
    assert!(String::from_utf8_lossy(trailers).contains("grpc-status:0"), "{trailers:?}");

    let job = client.submit(&model.name, super::request(QUICK)).await.expect("queued");
    let asked = v1::WatchPlanRequest { name: job.name, cuts: false }.encode_to_vec();
    let answer = post(server.address, "WatchPlan", &by(PAGE, "t"), &asked).await;
    let mut events = frames(&answer.body);
    assert!(matches!(events.pop(), Some((true, _))), "trailers at the end");
    let last = events.pop().expect("an event").1;
    let last = v1::PlanEvent::decode(last.as_slice()).expect("an event").event;
    assert!(matches!(last, Some(v1::plan_event::Event::Ended(_))), "{last:?}");
    drop(client);
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_page_gets_a_picture() {
    let (planner, _starts) = ScriptedPlanner::new();
    let (server, _folder) = start(planner).await;
    let client = connect(&server, "t").await;
    let model = send_plinth(&client).await.expect("kept");
    let job = client.submit(&model.name, super::request(QUICK)).await.expect("queued");
    client.watch(&job.name, |_| {}).await.expect("ended");
    let name = format!("{}/files/front.png", job.name);
    let asked = v1::GetPlanFileRequest { name: name.clone(), ..Default::default() }.encode_to_vec();
    let answer = post(server.address, "GetPlanFile", &by(PAGE, "t"), &asked).await;
    let mut parts = frames(&answer.body);
    let Some((true, trailers)) = parts.pop() else { panic!("trailers at the end") };
    assert!(String::from_utf8_lossy(&trailers).contains("grpc-status:0"), "{trailers:?}");
    let mut came = Vec::new();
    for (_, part) in parts {
        match v1::PlanFilePart::decode(part.as_slice()).expect("a part").part {
            Some(v1::plan_file_part::Part::File(file)) => assert_eq!(file.name, name),
            Some(v1::plan_file_part::Part::Chunk(chunk)) => came.extend(chunk),
            None => panic!("an empty part"),
        }
    }
    let by_grpc = client.file(&name).await.expect("there");
    assert!(came == by_grpc.bytes && came.starts_with(b"\x89PNG\r\n\x1a\n"));
    drop(client);
    server.stop().await;
}

/// What a page's fetch sends in one body: gRPC-Web has no streams of a client's own, but a body may hold
/// as many messages as it likes.
#[tokio::test(flavor = "multi_thread")]
async fn a_page_sends_a_model_in_one_body() {
    let (server, _folder) = start(SolverPlanner).await;
    let mut body = Vec::new();
    let chunks = plinth();
    let parts = std::iter::once(Part::Header(header()))
        .chain(chunks.chunks(100).map(|chunk| Part::Chunk(chunk.to_vec())));
    for message in parts.map(|own| part(own).encode_to_vec()) {
        body.push(0);
        body.extend(u32::try_from(message.len()).expect("short").to_be_bytes());
        body.extend(message);
    }
    let head = format!(
        "POST /slitwright.v1.CutPlanner/UploadModel HTTP/1.1\r\n\
         content-type: application/grpc-web+proto\r\nx-grpc-web: 1\r\ncontent-length: {}{}",
        body.len(),
        by(PAGE, "t")
    );
    let (head, answer) = exchange(server.address, &head, &body).await;
    let answer = if head.contains("transfer-encoding: chunked") { joined(&answer) } else { answer };
    let answer = frames(&answer);
    let (false, message) = &answer[0] else { panic!("a model, not {answer:?}") };
    let model = v1::Model::decode(message.as_slice()).expect("a model");
    assert_eq!(model.size_bytes, chunks.len() as u64);
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn other_pages_and_wrong_tokens_are_kept_out() {
    let (server, _folder) = start(SolverPlanner).await;
    let evil = post(server.address, "ListModels", &by("https://evil.example", "t"), &[]).await;
    assert!(evil.head.starts_with("http/1.1 403"), "{}", evil.head);
    assert!(!evil.head.contains("access-control-allow-origin"), "{}", evil.head);
    let wrong = post(server.address, "ListModels", &by(PAGE, "wrong"), &[]).await;
    // 16 is UNAUTHENTICATED. The page may read why.
    let told = format!("{}{}", wrong.head, String::from_utf8_lossy(&wrong.body));
    assert!(told.contains("grpc-status: 16") || told.contains("grpc-status:16"), "{told}");
    assert!(wrong.head.contains("access-control-allow-origin"), "{}", wrong.head);

    let ask = |origin: &str| {
        format!(
            "OPTIONS /slitwright.v1.CutPlanner/ListModels HTTP/1.1\r\norigin: {origin}\r\n\
             access-control-request-method: POST\r\n\
             access-control-request-headers: authorization,content-type,x-grpc-web"
        )
    };
    let (may, _) = exchange(server.address, &ask(PAGE), b"").await;
    assert!(may.starts_with("http/1.1 200"), "{may}");
    for header in [
        "access-control-allow-origin: https://viewer.example",
        "access-control-allow-methods: post",
    ] {
        assert!(may.contains(header), "{may}");
    }
    assert!(may.contains("authorization"), "{may}");
    let (may_not, _) = exchange(server.address, &ask("https://evil.example"), b"").await;
    assert!(!may_not.contains("access-control-allow-origin"), "{may_not}");
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_deadline_ends_a_call_that_waits() {
    let (server, _folder) = start(SolverPlanner).await;
    // An upload whose second message never comes: only its header, in a body that is not over.
    let message = part(v1::upload_model_request::Part::Header(header())).encode_to_vec();
    let mut frame = vec![0];
    frame.extend(u32::try_from(message.len()).expect("short").to_be_bytes());
    frame.extend(message);
    let chunk = [format!("{:x}\r\n", frame.len()).as_bytes(), &frame, b"\r\n"].concat();
    let head = format!(
        "POST /slitwright.v1.CutPlanner/UploadModel HTTP/1.1\r\n\
         content-type: application/grpc-web+proto\r\ntransfer-encoding: chunked\r\n\
         grpc-timeout: 50m{}",
        by(PAGE, "t")
    );
    let (head, body) = exchange(server.address, &head, &chunk).await;
    let told = format!("{head}{}", String::from_utf8_lossy(&body));
    // 4 is DEADLINE_EXCEEDED.
    assert!(told.contains("grpc-status: 4") || told.contains("grpc-status:4"), "{told}");
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn without_an_origin_there_is_no_http_1() {
    let server = Running::start(ServeConfig::default(), SolverPlanner).await;
    let mut stream = TcpStream::connect(server.address).await.expect("connected");
    stream.write_all(b"GET / HTTP/1.1\r\nhost: a\r\n\r\n").await.expect("sent");
    let mut answer = Vec::new();
    let _ = stream.read_to_end(&mut answer).await;
    assert!(!answer.starts_with(b"HTTP/1.1 2"), "{answer:?}");
    server.stop().await;
}
