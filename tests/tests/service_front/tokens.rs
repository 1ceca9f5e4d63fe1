//! Who may call, and how much.

use slitwright_proto::client::{ClientError, Refusal};
use slitwright_proto::v1;
use slitwright_server::{ServeConfig, SolverPlanner};
use tonic::Code;
use tonic::transport::Channel;
use tonic_health::pb::HealthCheckRequest;
use tonic_health::pb::health_client::HealthClient;
use tonic_reflection::pb::v1::ServerReflectionRequest;
use tonic_reflection::pb::v1::server_reflection_client::ServerReflectionClient;
use tonic_types::StatusExt;

use super::service_support::*;
use super::{connect, guarded, request, send_plinth, settings, tokens};

async fn list(server: &Running, authorization: Option<&str>) -> Result<(), tonic::Status> {
    let channel = channel(server).await;
    let mut asked = tonic::Request::new(v1::ListModelsRequest::default());
    if let Some(value) = authorization {
        asked.metadata_mut().insert("authorization", value.parse().expect("metadata"));
    }
    Client::new(channel).list_models(asked).await.map(|_| ())
}

async fn channel(server: &Running) -> Channel {
    Channel::from_shared(format!("http://{}", server.address))
        .expect("an address")
        .connect()
        .await
        .expect("connected")
}

#[tokio::test(flavor = "multi_thread")]
async fn callers_need_a_token_that_is_good() {
    let (_folder, book) =
        tokens(&[("a", "good", "write", ""), ("old", "stale", "write", "expires = 2020-01-01")]);
    let config = ServeConfig { front: guarded(book), ..ServeConfig::default() };
    let server = Running::start(config, SolverPlanner).await;
    list(&server, Some("Bearer good")).await.expect("let in");
    for (sent, words) in [
        (None, "authorization: Bearer"),
        (Some("Bearer bad"), "not known"),
        (Some("Bearer stale"), "expired"),
        (Some("Basic good"), "not of the form"),
        (Some("good"), "not of the form"),
    ] {
        let status = list(&server, sent).await.expect_err("kept out");
        assert_eq!(status.code(), Code::Unauthenticated, "{sent:?}");
        assert!(status.message().contains(words), "{sent:?}: {status:?}");
    }

    // Whoever watches over the process needs none; whoever asks for the protocol does.
    let channel = channel(&server).await;
    HealthClient::new(channel.clone())
        .check(HealthCheckRequest { service: String::new() })
        .await
        .expect("open to all");
    let ask = tokio_stream::iter([ServerReflectionRequest::default()]);
    let kept_out = ServerReflectionClient::new(channel.clone())
        .server_reflection_info(ask)
        .await
        .expect_err("kept out");
    assert_eq!(kept_out.code(), Code::Unauthenticated);
    drop(channel);
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn all_tokens_see_all_and_readers_change_nothing() {
    let (_folder, book) = tokens(&[
        ("maker", "w", "write", ""),
        ("viewer", "r", "read", ""),
        ("counter", "m", "metrics", ""),
    ]);
    let config = ServeConfig { front: guarded(book), ..ServeConfig::default() };
    let (planner, _starts) = ScriptedPlanner::new();
    let server = Running::start(config, planner).await;
    let maker = connect(&server, "w").await;
    let model = send_plinth(&maker).await.expect("kept");
    let job = maker.submit(&model.name, request(QUICK)).await.expect("queued");

    let viewer = connect(&server, "r").await;
    let ended = viewer.watch(&job.name, |_| ()).await.expect("watched");
    assert_eq!(viewer.plan(&job.name).await.expect("seen"), ended);
    for outcome in [
        send_plinth(&viewer).await.map(|_| ()),
        viewer.submit(&model.name, request(QUICK)).await.map(|_| ()),
        viewer.cancel(&job.name).await.map(|_| ()),
        connect(&server, "m").await.plan(&job.name).await.map(|_| ()),
    ] {
        assert!(
            matches!(outcome, Err(ClientError::Refused(Refusal::NotAllowed(_)))),
            "{outcome:?}"
        );
    }
    drop((maker, viewer));
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn calls_a_minute_are_limited_token_by_token() {
    let (_folder, book) =
        tokens(&[("a", "slow", "write", "requests-per-minute = 2"), ("b", "free", "write", "")]);
    let config = ServeConfig { front: guarded(book), ..ServeConfig::default() };
    let server = Running::start(config, SolverPlanner).await;
    for _ in 0..2 {
        list(&server, Some("Bearer slow")).await.expect("within the limit");
    }
    let status = list(&server, Some("Bearer slow")).await.expect_err("over the limit");
    assert_eq!(status.code(), Code::ResourceExhausted);
    let quota = status.get_details_quota_failure().expect("which limit");
    assert_eq!(quota.violations[0].subject, "token:a");
    let retry = status.get_details_retry_info().and_then(|info| info.retry_delay).expect("when");
    // Two a minute: the next one within half a minute.
    assert!(retry.as_secs_f64() > 20.0 && retry.as_secs_f64() <= 30.0, "{retry:?}");
    list(&server, Some("Bearer free")).await.expect("not held up by the other");
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn waiting_plans_are_limited_token_by_token() {
    let (_folder, book) =
        tokens(&[("a", "few", "write", "most-waiting-plans = 1"), ("b", "many", "write", "")]);
    let config = ServeConfig { front: guarded(book), ..ServeConfig::default() };
    let (planner, starts) = ScriptedPlanner::new();
    let server = Running::start(config, planner).await;
    let (few, many) = (connect(&server, "few").await, connect(&server, "many").await);
    let model = send_plinth(&few).await.expect("kept");
    let asked = v1::SubmitPlanRequest {
        request_id: "once".to_owned(),
        ..submission(&model.name, UNTIL_CANCELLED)
    };
    let first = few.calls().submit_plan(asked.clone()).await.expect("the first").into_inner();
    tokio::task::block_in_place(|| starts.recv()).expect("it runs");
    let status = few.calls().submit_plan(submission(&model.name, QUICK)).await.expect_err("full");
    assert_eq!(status.code(), Code::ResourceExhausted);
    assert!(status.get_details_retry_info().is_some(), "{status:?}");
    assert!(status.message().contains("cancel one"), "{status:?}");
    let again = few.calls().submit_plan(asked).await.expect("a repeat is no second plan");
    assert_eq!(again.into_inner().name, first.name);
    let other = many.submit(&model.name, request(QUICK)).await.expect("another token's place");

    few.cancel(&first.name).await.expect("asked");
    few.watch(&first.name, |_| ()).await.expect("ended");
    many.watch(&other.name, |_| ()).await.expect("ended");
    few.submit(&model.name, request(QUICK)).await.expect("the place is free again");
    drop((few, many));
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn bytes_of_models_are_limited_token_by_token() {
    let (_folder, book) = tokens(&[("a", "small", "write", "most-model-mib = 1")]);
    let config = ServeConfig { front: guarded(book), ..ServeConfig::default() };
    let server = Running::start(config, SolverPlanner).await;
    let client = connect(&server, "small").await;
    // Comments make a plinth of any size.
    let padded = |bytes: usize| {
        let mut file = plinth();
        let at = file.iter().position(|&byte| byte == b'\n').expect("a first line") + 1;
        let pad = [b"#".repeat(bytes - file.len() - 1), b"\n".to_vec()].concat();
        file.splice(at..at, pad);
        file
    };
    let folder = tempfile::tempdir().expect("a folder");
    let send = async |bytes: usize| {
        let file = folder.path().join("padded.off");
        std::fs::write(&file, padded(bytes)).expect("written");
        client.upload_file(&file, header()).await
    };
    let first = send(600 << 10).await.expect("fits");
    let over = send(600 << 10).await.expect_err("does not fit beside it");
    assert!(
        matches!(&over, ClientError::Refused(Refusal::Exhausted { message, retry: None })
            if message.contains("delete one")),
        "{over:?}"
    );
    // One that does not tell its size is counted as it comes.
    let chunks = padded(600 << 10);
    let mut messages = vec![part(v1::upload_model_request::Part::Header(header()))];
    messages.extend(
        chunks.chunks(1 << 18).map(|c| part(v1::upload_model_request::Part::Chunk(c.to_vec()))),
    );
    let over = client.calls().upload_model(tokio_stream::iter(messages)).await.expect_err("same");
    assert_eq!(over.code(), Code::ResourceExhausted, "{over:?}");
    client
        .calls()
        .delete_model(v1::DeleteModelRequest { name: first.name })
        .await
        .expect("deleted");
    send(600 << 10).await.expect("there is room again");
    drop(client);
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn without_tokens_anyone_on_the_machine_may_call() {
    let server = Running::start(ServeConfig::default(), SolverPlanner).await;
    list(&server, None).await.expect("open");
    let client = slitwright_proto::client::Client::connect(settings(&server)).await.expect("open");
    send_plinth(&client).await.expect("kept");
    drop(client);
    server.stop().await;
}
