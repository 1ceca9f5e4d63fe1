//! More connections than there are places for: whoever has a call to make gets in.

use std::net::SocketAddr;
use std::time::Duration;

use slitwright_proto::v1;
use slitwright_proto::v1::cut_planner_client::CutPlannerClient;
use slitwright_server::front::Front;
use slitwright_server::{ServeConfig, SolverPlanner};
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::TcpStream;
use tonic::transport::Channel;

use super::service_support::{
    Client, Running, ScriptedPlanner, UNTIL_CANCELLED, cancel, submit, uploaded,
};

/// Longer than any answer takes, and shorter than silent connections are borne by default.
const PATIENCE: Duration = Duration::from_secs(20);

async fn connected(address: SocketAddr) -> Client {
    let channel = Channel::from_shared(format!("http://{address}")).expect("an address");
    let channel = channel.http2_keep_alive_interval(Duration::from_millis(500));
    CutPlannerClient::new(channel.keep_alive_while_idle(true).connect().await.expect("connected"))
}

/// Calls until it is answered: a client whose idle connection was closed hears of it only when it next
/// uses it.
async fn call(client: &mut Client) {
    while client.list_models(v1::ListModelsRequest::default()).await.is_err() {
        tokio::task::yield_now().await;
    }
}

async fn called(address: SocketAddr) -> Client {
    let mut client = connected(address).await;
    call(&mut client).await;
    client
}

async fn narrow(front: Front) -> Running {
    Running::start(ServeConfig { front, ..ServeConfig::default() }, SolverPlanner).await
}

#[tokio::test(flavor = "multi_thread")]
async fn connections_that_do_nothing_make_room_for_calls() {
    let server = narrow(Front { connections: 8, ..Front::default() }).await;
    let mut idle = Vec::new();
    for _ in 0..8 {
        idle.push(called(server.address).await);
    }
    let mut client = tokio::time::timeout(PATIENCE, called(server.address)).await.expect("let in");
    let mut silent = Vec::new();
    for _ in 0..12 {
        silent.push(TcpStream::connect(server.address).await.expect("connected"));
    }
    tokio::time::timeout(PATIENCE, call(&mut client)).await.expect("still let in");
    let another = tokio::time::timeout(PATIENCE, called(server.address)).await.expect("let in");
    drop((idle, silent, client, another));
    server.stop().await;
}

/// Connections with a call under way: watches of a job that goes on until it is cancelled.
async fn busy(server: &Running, count: usize) -> (String, Vec<tonic::Streaming<v1::PlanEvent>>) {
    let mut client = connected(server.address).await;
    let model = uploaded(&mut client).await;
    let job = submit(&mut client, &model.name, UNTIL_CANCELLED).await.name;
    drop(client);
    let mut watches = Vec::new();
    for _ in 0..count {
        let asked = v1::WatchPlanRequest { name: job.clone(), cuts: false };
        let watched = connected(server.address).await.watch_plan(asked).await;
        watches.push(watched.expect("watched").into_inner());
    }
    (job, watches)
}

async fn scripted(front: Front) -> Running {
    let (planner, _starts) = ScriptedPlanner::new();
    Running::start(ServeConfig { front, ..ServeConfig::default() }, planner).await
}

#[tokio::test(flavor = "multi_thread")]
async fn a_connection_with_a_call_under_way_is_never_sent_away() {
    let server = scripted(Front { connections: 4, ..Front::default() }).await;
    let (job, watches) = busy(&server, 3).await;
    for _ in 0..20 {
        tokio::time::timeout(PATIENCE, called(server.address)).await.expect("let in");
    }
    cancel(&mut called(server.address).await, &job).await;
    for mut events in watches {
        let mut last = None;
        while let Some(event) = events.message().await.expect("the connection is there") {
            last = event.event;
        }
        assert!(matches!(last, Some(v1::plan_event::Event::Ended(_))), "{last:?}");
    }
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn an_idle_connection_is_closed_after_a_while() {
    let idle = Duration::from_millis(200);
    let web_origins = vec!["https://viewer.example".parse().expect("an origin")];
    let server = narrow(Front { idle, web_origins, ..Front::default() }).await;
    // By hand, since a client would connect again: gRPC-Web over HTTP/1.1, which keeps its connection.
    let mut raw = TcpStream::connect(server.address).await.expect("connected");
    let request = "POST /grpc.health.v1.Health/Check HTTP/1.1\r\nhost: here\r\n\
                   content-type: application/grpc-web+proto\r\ncontent-length: 5\r\n\r\n\0\0\0\0\0";
    raw.write_all(request.as_bytes()).await.expect("sent");
    let mut answer = Vec::new();
    let closed = tokio::time::timeout(PATIENCE, raw.read_to_end(&mut answer)).await;
    closed.expect("closed").expect("in good order");
    assert!(answer.starts_with(b"HTTP/1.1 200"), "{}", String::from_utf8_lossy(&answer));
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn one_address_does_not_take_all_places() {
    let front = Front { connections: 8, per_address: 3, ..Front::default() };
    let server = scripted(front).await;
    let (_, watches) = busy(&server, 3).await;
    // All that this address may have are busy: the next one is turned away at once.
    let url = format!("http://{}", server.address);
    let channel = Channel::from_shared(url).expect("an address").connect_lazy();
    let mut client = CutPlannerClient::new(channel);
    let asked = client.list_models(v1::ListModelsRequest::default());
    let refused = tokio::time::timeout(PATIENCE, asked).await.expect("an answer");
    refused.map(|_| ()).expect_err("turned away");
    drop(watches);
    tokio::time::timeout(PATIENCE, call(&mut client)).await.expect("let in again");
    server.stop().await;
}
