//! The client with patience.

use slitwright_proto::client::{
    Backoff, Client, ClientError, FieldFault, Heard, Refusal, Settings,
};
use slitwright_proto::v1;
use slitwright_proto::v1::JobState;
use slitwright_server::{ServeConfig, SolverPlanner};

use super::proxy::Proxy;
use super::service_support::*;
use super::{HASTY, request, send_plinth, settings};

#[tokio::test(flavor = "multi_thread")]
async fn a_watch_goes_on_over_cut_connections() {
    let (planner, starts) = ScriptedPlanner::new();
    let server = Running::start(ServeConfig::default(), planner).await;
    let proxy = Proxy::to(server.address).await;
    let far = Settings::new(format!("http://{}", proxy.address)).backoff(HASTY);
    let client = Client::connect(far).await.expect("connected");
    let model = send_plinth(&client).await.expect("kept");
    let job = client.submit(&model.name, request(STEPWISE)).await.expect("queued");
    tokio::task::block_in_place(|| starts.recv()).expect("it runs");

    // Each watch hears of the newest report at once; then its connection is cut. Better plans are sent
    // again to whoever comes back, and told once.
    let mut cuts = 0;
    let mut better = Vec::new();
    let near = Client::connect(settings(&server)).await.expect("connected");
    let (cut_enough, enough) = tokio::sync::oneshot::channel();
    let mut cut_enough = Some(cut_enough);
    let watching = client.watch(&job.name, |heard| {
        if let Heard::Better(plan) = heard {
            better.push(plan.number);
        }
        let connections = proxy.count();
        if connections > cuts && cuts < 3 {
            cuts = connections;
            proxy.cut();
        } else if connections > 3
            && better.last() >= Some(&3)
            && let Some(told) = cut_enough.take()
        {
            let _ = told.send(());
        }
    });
    let cancelling = async {
        enough.await.expect("reported after three cuts");
        near.cancel(&job.name).await.expect("asked")
    };
    let (ended, _) = tokio::join!(watching, cancelling);
    assert_eq!(ended.expect("the end was heard").state(), JobState::Cancelled);
    assert!(proxy.count() >= 4, "a connection after each cut");
    assert_eq!(better, (1..=better.len() as u32).collect::<Vec<_>>());
    drop((client, near, proxy));
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn faults_come_by_kind() {
    let server = Running::start(ServeConfig::default(), SolverPlanner).await;
    let client = Client::connect(settings(&server)).await.expect("connected");
    let model = send_plinth(&client).await.expect("kept");
    assert_eq!(model.size_bytes, plinth().len() as u64);

    let missing = client.watch("plans/none", |_| ()).await.expect_err("no such job");
    assert!(matches!(missing, ClientError::Refused(Refusal::NotFound(_))), "{missing:?}");
    let off = v1::PlanRequest {
        budget: Some(v1::Budget { time_limit_seconds: Some(-1.0), ..Default::default() }),
        ..Default::default()
    };
    let off = client.submit(&model.name, off).await.expect_err("off");
    let ClientError::Refused(Refusal::Fields(faults)) = off else { panic!("{off:?}") };
    let [FieldFault { field, .. }] = faults.as_slice() else { panic!("{faults:?}") };
    assert_eq!(field, "request.budget.time_limit_seconds");
    let lost = client.upload_file("/nowhere/at.all".as_ref(), header()).await;
    assert!(matches!(lost, Err(ClientError::File { .. })), "{lost:?}");

    let impatient = Backoff { tries: 2, ..HASTY };
    let alone = Client::connect(settings(&server).backoff(impatient)).await.expect("connected");
    drop(client);
    server.stop().await;
    let gone = alone.plan("plans/any").await.expect_err("nobody there");
    assert!(matches!(gone, ClientError::Lost { tries: 2, .. }), "{gone:?}");
}
