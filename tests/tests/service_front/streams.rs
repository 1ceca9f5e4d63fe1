//! Deadlines, many readers, slow readers, cut connections.

use std::time::Duration;

use slitwright_proto::client::{Client, ClientError, Refusal, Settings};
use slitwright_proto::v1;
use slitwright_proto::v1::JobState;
use slitwright_proto::v1::upload_model_request::Part;
use slitwright_server::front::Front;
use slitwright_server::{ServeConfig, SolverPlanner, UploadRules};
use tokio::io::AsyncReadExt;
use tonic::{Code, Request};

use super::proxy::Proxy;
use super::service_support::{
    CHATTY, KEEPS_BEST, QUICK, Running, ScriptedPlanner, TestServer, UNTIL_CANCELLED, header, part,
    submit, uploaded, watch_to_end,
};
use super::{HASTY, send_plinth};

fn watch(name: &str) -> v1::WatchPlanRequest {
    v1::WatchPlanRequest { name: name.to_owned(), cuts: false }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_deadline_ends_the_watch_and_not_the_job() {
    let (planner, starts) = ScriptedPlanner::new();
    let mut server = TestServer::start(ServeConfig::default(), planner).await;
    let client = &mut server.client;
    let model = uploaded(client).await;
    let job = submit(client, &model.name, UNTIL_CANCELLED).await;
    tokio::task::block_in_place(|| starts.recv()).expect("it runs");
    let mut asked = Request::new(watch(&job.name));
    asked.set_timeout(Duration::from_millis(100));
    let mut events = client.watch_plan(asked).await.expect("watched").into_inner();
    let end = loop {
        match events.message().await {
            Ok(Some(_)) => {}
            end => break end,
        }
    };
    assert_eq!(end.expect_err("cut off").code(), Code::DeadlineExceeded);
    let name = job.name.clone();
    let now = client.get_plan(v1::GetPlanRequest { name, ..Default::default() }).await;
    assert_eq!(now.expect("found").into_inner().state(), JobState::Running);
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn two_hundred_watchers_see_the_same_end() {
    let (planner, starts) = ScriptedPlanner::new();
    let mut server = TestServer::start(ServeConfig::default(), planner).await;
    let client = &mut server.client;
    let model = uploaded(client).await;
    let job = submit(client, &model.name, KEEPS_BEST).await;
    tokio::task::block_in_place(|| starts.recv()).expect("it runs");
    let mut watchers = Vec::new();
    for _ in 0..200 {
        let events = client.watch_plan(watch(&job.name)).await.expect("watched").into_inner();
        watchers.push(events);
    }
    client.cancel_plan(v1::CancelPlanRequest { name: job.name.clone() }).await.expect("asked");
    let (_, ended) = watch_to_end(client, &job.name).await;
    for mut events in watchers {
        let mut last = None;
        while let Some(event) = events.message().await.expect("an event") {
            last = event.event;
        }
        assert_eq!(last, Some(v1::plan_event::Event::Ended(ended.clone())));
    }
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_reader_that_never_reads_holds_up_nobody() {
    let (planner, _starts) = ScriptedPlanner::new();
    let mut server = TestServer::start(ServeConfig::default(), planner).await;
    let client = &mut server.client;
    let model = uploaded(client).await;
    let job = submit(client, &model.name, CHATTY).await;
    let never_read = client.watch_plan(watch(&job.name)).await.expect("watched").into_inner();
    let (_, ended) = watch_to_end(client, &job.name).await;
    assert_eq!(ended.state(), JobState::Succeeded);
    let next = submit(client, &model.name, QUICK).await;
    assert_eq!(watch_to_end(client, &next.name).await.1.state(), JobState::Succeeded);
    drop(never_read);
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn an_upload_cut_in_the_middle_leaves_nothing_behind() {
    let config = ServeConfig {
        uploads: UploadRules { at_once: 1, ..UploadRules::default() },
        ..ServeConfig::default()
    };
    let server = Running::start(config, SolverPlanner).await;
    let proxy = Proxy::to(server.address).await;
    let settings = Settings::new(format!("http://{}", proxy.address));
    let client = Client::connect(settings.backoff(HASTY)).await.expect("connected");

    let (parts, sent) = tokio::sync::mpsc::channel(1);
    let mut calls = client.calls();
    let upload = tokio::spawn(async move {
        calls.upload_model(tokio_stream::wrappers::ReceiverStream::new(sent)).await
    });
    parts.send(part(Part::Header(header()))).await.expect("sent");
    // More than fits between the two ends: the server has read some of it when the last is sent.
    for _ in 0..8 {
        parts.send(part(Part::Chunk(vec![b'#'; 1 << 20]))).await.expect("sent");
    }
    let busy = send_plinth(&client).await.expect_err("the only place is taken");
    assert!(busy.to_string().contains("uploads are under way"), "{busy}");
    proxy.cut();
    assert!(upload.await.expect("no panic").is_err(), "the connection was cut");

    let model = loop {
        // Until the server has noticed, the place is taken.
        match send_plinth(&client).await {
            Ok(model) => break model,
            Err(_) => tokio::task::yield_now().await,
        }
    };
    let listed =
        client.calls().list_models(v1::ListModelsRequest::default()).await.expect("listed");
    let names: Vec<_> = listed.into_inner().models.into_iter().map(|model| model.name).collect();
    assert_eq!(names, [model.name], "half a model is none");
    drop((client, proxy));
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn connections_are_limited_and_the_next_one_waits() {
    let front = Front { connections: 1, ..Front::default() };
    let config = ServeConfig { front, ..ServeConfig::default() };
    let server = Running::start(config, SolverPlanner).await;
    let first = Client::connect(super::settings(&server)).await.expect("connected");
    send_plinth(&first).await.expect("kept");
    // A call under way: without one the connection would make room for the next.
    let (parts, sent) = tokio::sync::mpsc::channel(1);
    let mut calls = first.calls();
    let upload = tokio::spawn(async move {
        calls.upload_model(tokio_stream::wrappers::ReceiverStream::new(sent)).await
    });
    parts.send(part(Part::Header(header()))).await.expect("sent");
    // The only place of the queue is free again once the call takes the header, and a later call over the same
    // connection is answered after the server has the call.
    parts.reserve().await.expect("taken");
    send_plinth(&first).await.expect("kept");
    let settings = super::settings(&server);
    let second = tokio::spawn(async move {
        let second = Client::connect(settings).await.expect("connected at last");
        send_plinth(&second).await.expect("kept")
    });
    for _ in 0..20 {
        send_plinth(&first).await.expect("kept");
    }
    assert!(!second.is_finished(), "the only place is taken");
    drop(parts);
    assert!(upload.await.expect("no panic").is_err(), "a header alone is no model");
    drop(first);
    second.await.expect("its turn came");
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_connection_that_says_nothing_is_dropped_and_one_in_use_is_not() {
    let front = Front { first_call: Duration::from_millis(50), ..Front::default() };
    let config = ServeConfig { front, ..ServeConfig::default() };
    let server = Running::start(config, SolverPlanner).await;
    let proxy = Proxy::to(server.address).await;
    let far = Settings::new(format!("http://{}", proxy.address));
    let used = Client::connect(far.backoff(HASTY)).await.expect("connected");
    // On a busy machine the first call may come too late; it is made again then.
    let call = || async {
        let none = used.plan("plans/none").await;
        assert!(matches!(none, Err(ClientError::Refused(Refusal::NotFound(_)))), "{none:?}");
    };
    call().await;
    let connections = proxy.count();
    let mut silent = tokio::net::TcpStream::connect(server.address).await.expect("connected");
    let mut nothing = Vec::new();
    // Dropped, with or without a word.
    let _ = silent.read_to_end(&mut nothing).await;
    call().await;
    assert_eq!(proxy.count(), connections, "over the same connection");
    drop((used, proxy));
    server.stop().await;
}
