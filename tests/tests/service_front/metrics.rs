//! What Prometheus is told.

use std::collections::HashMap;

use slitwright_server::ServeConfig;
use slitwright_server::front::{Front, MetricsAt};
use tokio::net::TcpListener;

use super::service_support::*;
use super::web::exchange;
use super::{connect, request, send_plinth, tokens};

/// Values by name with labels. Refuses what the text form does not allow (prometheus.io,
/// "Exposition formats": comments, then `name{labels} value`).
fn parsed(text: &str) -> HashMap<String, f64> {
    let mut types = HashMap::new();
    let mut values = HashMap::new();
    for line in text.lines() {
        if let Some(rest) = line.strip_prefix("# TYPE ") {
            let (name, kind) = rest.split_once(' ').expect("a name and a type");
            assert!(["counter", "gauge", "histogram"].contains(&kind), "{line}");
            types.insert(name.to_owned(), kind.to_owned());
        } else if !line.starts_with("# HELP ") {
            let (name, value) = line.rsplit_once(' ').expect("a name and a value");
            let family = name.split('{').next().expect("a name");
            let known = ["", "_bucket", "_sum", "_count"]
                .iter()
                .any(|end| family.strip_suffix(end).is_some_and(|name| types.contains_key(name)));
            assert!(known, "no type was told of {line}");
            assert!(name == family || name.ends_with('}'), "{line}");
            let value = value.parse().expect(line);
            assert_eq!(values.insert(name.to_owned(), value), None, "twice: {line}");
        }
    }
    values
}

#[tokio::test(flavor = "multi_thread")]
async fn calls_jobs_and_models_are_told() {
    let (_folder, book) = tokens(&[("a", "t", "write", ""), ("b", "m", "metrics", "")]);
    let listener = TcpListener::bind("127.0.0.1:0").await.expect("a free port");
    let at = listener.local_addr().expect("an address");
    let metrics = Some(MetricsAt { listener, with_token: true });
    let front = Front { tokens: Some(book), metrics, ..Front::default() };
    let (planner, starts) = ScriptedPlanner::new();
    let server = Running::start(ServeConfig { front, ..ServeConfig::default() }, planner).await;
    let client = connect(&server, "t").await;
    let model = send_plinth(&client).await.expect("kept");
    let quick = client.submit(&model.name, request(QUICK)).await.expect("queued");
    client.watch(&quick.name, |_| ()).await.expect("ended");
    tokio::task::block_in_place(|| starts.recv()).expect("it ran");
    client.submit(&model.name, request(UNTIL_CANCELLED)).await.expect("queued");
    tokio::task::block_in_place(|| starts.recv()).expect("it runs");
    client.submit(&model.name, request(QUICK)).await.expect("queued");
    client.plan("plans/none").await.expect_err("no such job");
    let stranger = connect(&server, "wrong").await;
    stranger.plan("plans/none").await.expect_err("kept out");

    let scrape = |token: &str| {
        let head = format!("GET /metrics HTTP/1.1\r\nauthorization: Bearer {token}");
        async move { exchange(at, &head, b"").await }
    };
    assert!(scrape("wrong").await.0.starts_with("http/1.1 401"));
    assert!(scrape("t").await.0.starts_with("http/1.1 403"), "not for that role");
    let (head, body) = scrape("m").await;
    assert!(head.starts_with("http/1.1 200") && head.contains("version=0.0.4"), "{head}");
    let text = String::from_utf8(body).expect("text");
    let values = parsed(&text);
    let calls = |method: &str, code: &str| {
        values.get(&format!(
            "slitwright_calls_total{{method=\"slitwright.v1.CutPlanner/{method}\",code=\"{code}\"}}"
        ))
    };
    assert_eq!(calls("SubmitPlan", "OK"), Some(&3.0), "{text}");
    assert_eq!(calls("UploadModel", "OK"), Some(&1.0), "{text}");
    assert_eq!(calls("GetPlan", "NOT_FOUND"), Some(&1.0), "{text}");
    assert_eq!(calls("GetPlan", "UNAUTHENTICATED"), Some(&1.0), "{text}");
    for (name, value) in [
        ("slitwright_jobs{state=\"succeeded\"}", 1.0),
        ("slitwright_jobs{state=\"running\"}", 1.0),
        ("slitwright_jobs{state=\"queued\"}", 1.0),
        ("slitwright_queue_length", 1.0),
        ("slitwright_models", 1.0),
        ("slitwright_plans_total{outcome=\"made\"}", 1.0),
        ("slitwright_plan_seconds_count", 1.0),
        ("slitwright_open_calls", 0.0),
        ("slitwright_connections", 2.0),
        ("slitwright_call_seconds_count{method=\"slitwright.v1.CutPlanner/SubmitPlan\"}", 3.0),
    ] {
        assert_eq!(values.get(name), Some(&value), "{name} in {text}");
    }
    #[expect(clippy::cast_precision_loss, reason = "a small file")]
    let bytes = plinth().len() as f64;
    assert_eq!(values.get("slitwright_model_bytes"), Some(&bytes));
    drop((client, stranger));
    server.stop().await;
}
