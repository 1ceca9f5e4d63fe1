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

use super::service_support::{Client, Running};

/// Longer than any answer takes, and shorter than silent connections are borne by default.
const PATIENCE: Duration = Duration::from_secs(20);

async fn connected(address: SocketAddr) -> Client {
    let channel = Channel::from_shared(format!("http://{address}")).expect("an address");
    let channel = channel.http2_keep_alive_interval(Duration::from_millis(500));
    CutPlannerClient::new(channel.keep_alive_while_idle(true).connect().await.expect("connected"))
}

async fn call(client: &mut Client) {
    client.list_models(v1::ListModelsRequest::default()).await.expect("answered");
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

#[tokio::test(flavor = "multi_thread")]
async fn a_connection_with_a_call_under_way_is_never_sent_away() {
    let server = narrow(Front { connections: 4, ..Front::default() }).await;
    // Uploads that wait for their next part.
    let mut busy = Vec::new();
    for _ in 0..3 {
        let mut client = connected(server.address).await;
        busy.push(tokio::spawn(async move {
            client.upload_model(tokio_stream::pending()).await.map(|_| ())
        }));
    }
    for _ in 0..20 {
        tokio::time::timeout(PATIENCE, called(server.address)).await.expect("let in");
    }
    assert!(busy.iter().all(|upload| !upload.is_finished()));
    busy.iter().for_each(tokio::task::JoinHandle::abort);
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
    let server = narrow(front).await;
    let mut busy = Vec::new();
    for _ in 0..3 {
        let mut client = connected(server.address).await;
        busy.push(tokio::spawn(async move {
            client.upload_model(tokio_stream::pending()).await.map(|_| ())
        }));
    }
    // All that this address may have are busy: the next one is turned away at once.
    let mut client = loop {
        let url = format!("http://{}", server.address);
        let channel = Channel::from_shared(url).expect("an address").connect_lazy();
        let mut client = CutPlannerClient::new(channel);
        let asked = client.list_models(v1::ListModelsRequest::default());
        match tokio::time::timeout(PATIENCE, asked).await.expect("an answer") {
            // Not all of the three are under way yet.
            Ok(_) => tokio::task::yield_now().await,
            Err(_) => break client,
        }
    };
    for upload in busy {
        upload.abort();
        assert!(upload.await.is_err_and(|ended| ended.is_cancelled()));
    }
    let admitted = async {
        while client.list_models(v1::ListModelsRequest::default()).await.is_err() {
            tokio::task::yield_now().await;
        }
    };
    tokio::time::timeout(PATIENCE, admitted).await.expect("let in again");
    server.stop().await;
}
