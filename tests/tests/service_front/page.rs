//! The page in the browser, as a browser asks for it.

use prost::Message;
use slitwright_proto::client::Client;
use slitwright_proto::v1;
use slitwright_server::front::{Front, Origin};
use slitwright_server::{ServeConfig, SolverPlanner};

use super::service_support::*;
use super::web::exchange;
use super::{guarded, send_plinth, settings, tokens};

async fn start(front: Front, page: bool) -> Running {
    Running::start(ServeConfig { front, page, ..ServeConfig::default() }, SolverPlanner).await
}

/// Head and body of what a path answers.
async fn get(server: &Running, path: &str, more: &str) -> (String, Vec<u8>) {
    exchange(server.address, &format!("GET {path} HTTP/1.1{more}"), b"").await
}

/// A call as the page makes it; the head of the answer and what its trailers say.
async fn list_models(server: &Running, origin: &str, token: &str) -> String {
    let message = v1::ListModelsRequest::default().encode_to_vec();
    let mut frame = vec![0];
    frame.extend(u32::try_from(message.len()).expect("short").to_be_bytes());
    frame.extend(message);
    let head = format!(
        "POST /slitwright.v1.CutPlanner/ListModels HTTP/1.1\r\norigin: {origin}\r\n\
         content-type: application/grpc-web+proto\r\nx-grpc-web: 1\r\ncontent-length: {}{token}",
        frame.len()
    );
    let (head, body) = exchange(server.address, &head, &frame).await;
    format!("{head}{}", String::from_utf8_lossy(&body).replace(": ", ":")).replace(": ", ":")
}

#[tokio::test(flavor = "multi_thread")]
async fn the_page_goes_out_with_its_headers_beside_the_service() {
    let server = start(Front::default(), true).await;
    let (head, body) = get(&server, "/", "").await;
    assert!(head.starts_with("http/1.1 200"), "{head}");
    for header in [
        "content-type: text/html; charset=utf-8",
        "content-security-policy: default-src 'none'; script-src 'self'; style-src 'self';",
        "frame-ancestors 'none'",
        "x-content-type-options: nosniff",
        "referrer-policy: no-referrer",
    ] {
        assert!(head.contains(header), "{header} in {head}");
    }
    assert!(String::from_utf8(body).expect("text").contains("/page/main.js"));
    for (path, kind) in [
        ("/page/main.js", "text/javascript"),
        ("/page/schema.js", "text/javascript"),
        ("/page/vendor/three.core.min.js", "text/javascript"),
        ("/page/page.css", "text/css"),
        ("/page/icon.svg", "image/svg+xml"),
    ] {
        let (head, body) = get(&server, path, "").await;
        assert!(head.starts_with("http/1.1 200") && head.contains(kind), "{path}: {head}");
        assert!(head.contains("content-security-policy") && !body.is_empty(), "{path}");
        let tag = head.lines().find_map(|line| line.strip_prefix("etag: ")).expect("a tag");
        let (again, body) = get(&server, path, &format!("\r\nif-none-match: {tag}")).await;
        assert!(again.starts_with("http/1.1 304") && body.is_empty(), "{path}: {again}");
    }
    let (head, body) = exchange(server.address, "HEAD / HTTP/1.1", b"").await;
    assert!(head.starts_with("http/1.1 200") && body.is_empty(), "{head}");
    for path in ["/page/none.js", "/page/", "/page/../main.js", "/index.html", "/favicon.ico"] {
        let (head, _) = get(&server, path, "").await;
        assert!(head.starts_with("http/1.1 404"), "{path}: {head}");
    }
    // By gRPC as ever.
    let client = Client::connect(settings(&server)).await.expect("connected");
    send_plinth(&client).await.expect("kept");
    drop(client);
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_own_page_may_call_and_others_may_not() {
    let server = start(Front::default(), true).await;
    let own = format!("http://{}", server.address);
    let told = list_models(&server, &own, "").await;
    assert!(told.starts_with("http/1.1 200") && told.contains("grpc-status:0"), "{told}");
    let near = format!("http://localhost:{}", server.address.port());
    // The call names 127.0.0.1, so a page of another name is another page.
    for other in ["http://evil.example", "null", near.as_str()] {
        let told = list_models(&server, other, "").await;
        assert!(told.starts_with("http/1.1 403"), "{other}: {told}");
    }
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn files_are_for_anyone_and_calls_for_those_with_a_token() {
    let (_folder, book) = tokens(&[("a", "t", "read", "")]);
    let server = start(guarded(book), true).await;
    let (head, _) = get(&server, "/", "").await;
    assert!(head.starts_with("http/1.1 200"), "{head}");
    let own = format!("http://{}", server.address);
    let told = list_models(&server, &own, "").await;
    // 16 is UNAUTHENTICATED.
    assert!(told.contains("grpc-status:16"), "{told}");
    let told = list_models(&server, &own, "\r\nauthorization: Bearer t").await;
    assert!(told.contains("grpc-status:0"), "{told}");
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn without_the_option_there_is_no_page() {
    let origin = "https://viewer.example".parse::<Origin>().expect("an origin");
    let server = start(Front { web_origins: vec![origin], ..Front::default() }, false).await;
    for path in ["/", "/page/main.js", "/page/schema.js"] {
        let (head, body) = get(&server, path, "").await;
        assert!(head.starts_with("http/1.1 400") && body.is_empty(), "{path}: {head}");
    }
    let told = list_models(&server, &format!("http://{}", server.address), "").await;
    assert!(told.starts_with("http/1.1 403"), "{told}");
    server.stop().await;
}
