//! The store behind the service: what is kept, what happens when it is full, damaged or taken.

mod service_support;

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use service_support::*;
use slitwright_proto::v1;
use slitwright_proto::v1::JobState;
use slitwright_server::store::StoreError;
use slitwright_server::{ServeConfig, ServeError, StoreLimits, serve};
use tokio::net::TcpListener;
use tonic::Code;

fn in_folder(folder: &Path) -> ServeConfig {
    ServeConfig { folder: Some(folder.to_owned()), ..ServeConfig::default() }
}

async fn scripted(config: ServeConfig) -> (TestServer, std::sync::mpsc::Receiver<u64>) {
    let (planner, starts) = ScriptedPlanner::new();
    (TestServer::start(config, planner).await, starts)
}

/// Why a server does not start on a folder.
async fn refused(folder: &Path) -> StoreError {
    let listener = TcpListener::bind("127.0.0.1:0").await.expect("a free port");
    let (planner, _starts) = ScriptedPlanner::new();
    match serve(in_folder(folder), listener, Arc::new(planner), std::future::ready(())).await {
        Err(ServeError::Store(error)) => error,
        other => panic!("the store was opened: {other:?}"),
    }
}

fn files(folder: &Path) -> Vec<PathBuf> {
    let entries = fs::read_dir(folder.join("models")).expect("a folder of files");
    entries.map(|entry| entry.expect("an entry").path()).collect()
}

/// Turns over a byte in the middle of the place in a file where `words` stand.
fn damage(file: &Path, words: &str) {
    let mut bytes = fs::read(file).expect("a file");
    let places: Vec<_> = bytes
        .windows(words.len())
        .enumerate()
        .filter(|(_, window)| *window == words.as_bytes())
        .map(|(at, _)| at + words.len() / 2)
        .collect();
    assert!(!places.is_empty(), "{words:?} stands in {}", file.display());
    for place in places {
        bytes[place] ^= 0x40;
    }
    fs::write(file, bytes).expect("written");
}

#[tokio::test(flavor = "multi_thread")]
async fn models_and_plans_are_there_after_a_restart() {
    let folder = tempfile::tempdir().expect("a folder");
    let (mut server, _starts) = scripted(in_folder(folder.path())).await;
    let client = &mut server.client;
    let model = uploaded(client).await;
    let with_id = |seed| v1::SubmitPlanRequest {
        request_id: "order 17".to_owned(),
        ..submission(&model.name, seed)
    };
    let job = client.submit_plan(with_id(QUICK)).await.expect("queued").into_inner();
    let (_, ended) = watch_to_end(client, &job.name).await;
    let broken = submit(client, &model.name, PANICS).await;
    let (_, failed) = watch_to_end(client, &broken.name).await;
    server.stop().await;

    let (mut server, _starts) = scripted(in_folder(folder.path())).await;
    let client = &mut server.client;
    let models = client.list_models(v1::ListModelsRequest::default()).await.expect("a page");
    assert_eq!(models.into_inner().models, std::slice::from_ref(&model));
    assert_eq!(get(client, &job.name).await, ended);
    assert_eq!(get(client, &broken.name).await, failed);
    let again = client.submit_plan(with_id(QUICK)).await.expect("there").into_inner();
    assert_eq!(again.name, job.name, "a repeat is still one");
    // The model is read back when it is needed.
    let next = submit(client, &model.name, QUICK).await;
    assert_eq!(watch_to_end(client, &next.name).await.1.state(), JobState::Succeeded);
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn models_of_the_same_file_share_it() {
    let folder = tempfile::tempdir().expect("a folder");
    let (mut server, _starts) = scripted(in_folder(folder.path())).await;
    let client = &mut server.client;
    let (one, other) = (uploaded(client).await, uploaded(client).await);
    let inch = v1::UploadHeader { unit: v1::LengthUnit::Inch.into(), ..header() };
    let third = upload(client, inch, &plinth(), 100).await.expect("a plinth");
    assert_eq!(files(folder.path()), [folder.path().join("models").join(&one.sha256)]);
    for (model, left) in [(one, 1), (other, 1), (third, 0)] {
        client.delete_model(v1::DeleteModelRequest { name: model.name }).await.expect("gone");
        assert_eq!(files(folder.path()).len(), left);
    }
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn files_that_a_killed_upload_left_are_removed() {
    let folder = tempfile::tempdir().expect("a folder");
    let (server, _starts) = scripted(in_folder(folder.path())).await;
    server.stop().await;
    let left = folder.path().join("models").join("0".repeat(64));
    fs::write(&left, "half a file").expect("written");
    let (mut server, _starts) = scripted(in_folder(folder.path())).await;
    // Whoever gets an answer talks to a store that is open.
    list(&mut server.client).await;
    assert!(!left.exists());
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn model_files_without_the_ledger_that_knows_them_are_left_alone() {
    let folder = tempfile::tempdir().expect("a folder");
    let (mut server, _starts) = scripted(in_folder(folder.path())).await;
    let model = uploaded(&mut server.client).await;
    server.stop().await;
    let (ledger, away) = (folder.path().join("store.db"), folder.path().join("away.db"));
    fs::rename(&ledger, &away).expect("moved");
    for there in [None, Some("")] {
        if let Some(text) = there {
            fs::write(&ledger, text).expect("written");
        }
        let error = refused(folder.path()).await;
        assert!(error.to_string().contains("store.db"), "{error}");
        assert_eq!(files(folder.path()).len(), 1, "{error}");
        assert_eq!(ledger.exists(), there.is_some(), "nothing was made");
    }
    fs::rename(&away, &ledger).expect("moved back");
    let (mut server, _starts) = scripted(in_folder(folder.path())).await;
    let job = submit(&mut server.client, &model.name, QUICK).await;
    assert_eq!(watch_to_end(&mut server.client, &job.name).await.1.state(), JobState::Succeeded);
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_full_store_refuses_what_is_new_and_keeps_what_it_has() {
    let folder = tempfile::tempdir().expect("a folder");
    // Empty tables take a little more than 100 KiB.
    let store = StoreLimits { database_bytes: 184 << 10, ..StoreLimits::default() };
    let config = ServeConfig { store, ..in_folder(folder.path()) };
    let (mut server, starts) = scripted(config).await;
    let client = &mut server.client;
    let model = uploaded(client).await;
    let running = submit(client, &model.name, UNTIL_CANCELLED).await;
    assert_eq!(next_start(&starts), UNTIL_CANCELLED);
    let mut accepted = Vec::new();
    let full = loop {
        match client.submit_plan(submission(&model.name, QUICK)).await {
            Ok(job) => accepted.push(job.into_inner().name),
            Err(status) => break status,
        }
        assert!(accepted.len() < 1000, "the limit does not hold");
    };
    assert_eq!(full.code(), Code::ResourceExhausted, "{full:?}");
    assert!(full.message().contains("nothing that was accepted is lost"), "{full:?}");
    assert!(accepted.len() > 30, "{}", accepted.len());
    // It is still up: what is there can be read and is worked on, and room can be made.
    assert_eq!(list(client).await.len(), accepted.len() + 1);
    for name in accepted.iter().rev().take(20) {
        cancel(client, name).await;
        client.delete_plan(v1::DeletePlanRequest { name: name.clone() }).await.expect("gone");
    }
    submit(client, &model.name, QUICK).await;
    cancel(client, &running.name).await;
    for name in &accepted[..5] {
        assert_eq!(watch_to_end(client, name).await.1.state(), JobState::Succeeded);
    }
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_damaged_plan_is_not_handed_out_and_the_others_are() {
    let folder = tempfile::tempdir().expect("a folder");
    let (mut server, _starts) = scripted(in_folder(folder.path())).await;
    let client = &mut server.client;
    let model = uploaded(client).await;
    let good = submit(client, &model.name, QUICK).await;
    watch_to_end(client, &good.name).await;
    let bad = submit(client, &model.name, STEPWISE).await;
    let watched =
        client.watch_plan(v1::WatchPlanRequest { name: bad.name.clone(), cuts: false }).await;
    let mut events = watched.expect("watched").into_inner();
    let third = |event: &v1::PlanEvent| matches!(&event.event, Some(v1::plan_event::Event::Better(plan)) if plan.number == 3);
    while !events.message().await.expect("an event").is_some_and(|event| third(&event)) {}
    cancel(client, &bad.name).await;
    watch_to_end(client, &bad.name).await;
    server.stop().await;
    damage(&folder.path().join("store.db"), "the plan of step 3");

    let (mut server, _starts) = scripted(in_folder(folder.path())).await;
    let client = &mut server.client;
    let refused =
        client.get_plan(v1::GetPlanRequest { name: bad.name.clone(), ..Default::default() }).await;
    let refused = refused.expect_err("damaged");
    assert_eq!(refused.code(), Code::DataLoss, "{refused:?}");
    assert!(refused.message().contains(&bad.name), "{refused:?}");
    assert!(get(client, &good.name).await.plan.is_some());
    assert_eq!(list(client).await.len(), 2);
    let next = submit(client, &model.name, QUICK).await;
    assert_eq!(watch_to_end(client, &next.name).await.1.state(), JobState::Succeeded);
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_damaged_model_file_fails_the_job_and_heals_when_sent_again() {
    let folder = tempfile::tempdir().expect("a folder");
    let (mut server, _starts) = scripted(in_folder(folder.path())).await;
    let model = uploaded(&mut server.client).await;
    server.stop().await;
    damage(&folder.path().join("models").join(&model.sha256), "OFF");

    let (mut server, _starts) = scripted(in_folder(folder.path())).await;
    let client = &mut server.client;
    let job = submit(client, &model.name, QUICK).await;
    let failure = watch_to_end(client, &job.name).await.1.failure.expect("why");
    assert_eq!(Code::from_i32(failure.code), Code::DataLoss, "{failure:?}");
    uploaded(client).await;
    let job = submit(client, &model.name, QUICK).await;
    assert_eq!(watch_to_end(client, &job.name).await.1.state(), JobState::Succeeded);
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_store_that_cannot_be_trusted_is_left_as_it_is() {
    let folder = tempfile::tempdir().expect("a folder");
    let (mut server, _starts) = scripted(in_folder(folder.path())).await;
    uploaded(&mut server.client).await;
    // Who comes second is told so, and the first goes on.
    let locked = refused(folder.path()).await;
    assert!(matches!(locked, StoreError::Locked(_)), "{locked}");
    uploaded(&mut server.client).await;
    server.stop().await;

    let database = folder.path().join("store.db");
    let whole = fs::read(&database).expect("a database");
    // The database file format (sqlite.org, "Database File Format", 1.3): the user version is a
    // big-endian number at byte 60, the application id one at byte 68.
    let mut newer = whole.clone();
    newer[60..64].copy_from_slice(&99_u32.to_be_bytes());
    let mut foreign = whole.clone();
    foreign[68..72].copy_from_slice(&7_u32.to_be_bytes());
    let mut flipped = whole.clone();
    flipped[..100].iter_mut().for_each(|byte| *byte ^= 0xff);
    let cut = whole[..whole.len() / 2].to_vec();
    for (bytes, code) in [
        (newer, Code::FailedPrecondition),
        (foreign, Code::FailedPrecondition),
        (flipped, Code::DataLoss),
        (cut, Code::DataLoss),
    ] {
        fs::write(&database, &bytes).expect("written");
        let error = refused(folder.path()).await;
        assert_eq!(tonic::Status::from(error.clone()).code(), code, "{error}");
        assert_eq!(fs::read(&database).expect("read"), bytes, "nothing was changed: {error}");
    }
    fs::write(&database, &whole).expect("written");
    let (mut server, _starts) = scripted(in_folder(folder.path())).await;
    let models = server.client.list_models(v1::ListModelsRequest::default()).await;
    assert_eq!(models.expect("a page").into_inner().models.len(), 2);
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn plans_are_forgotten_when_they_are_old() {
    let folder = tempfile::tempdir().expect("a folder");
    let (mut server, _starts) = scripted(in_folder(folder.path())).await;
    let client = &mut server.client;
    let model = uploaded(client).await;
    let job = submit(client, &model.name, QUICK).await;
    watch_to_end(client, &job.name).await;
    server.stop().await;
    // Anything that ended before this moment is too old.
    let store = StoreLimits { ended_age: std::time::Duration::ZERO, ..StoreLimits::default() };
    let config = ServeConfig { store, ..in_folder(folder.path()) };
    let (mut server, _starts) = scripted(config).await;
    assert!(list(&mut server.client).await.is_empty());
    server.stop().await;
}
