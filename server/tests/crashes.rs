//! The binary is killed again and again, at any moment, and whatever it had accepted is there; stopped
//! in good order it goes on where it was.

mod support;

use std::path::Path;
use std::process::Command;
use std::time::Duration;

use rand::{Rng as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;
use slitwright_proto::v1;
use slitwright_proto::v1::JobState;
use slitwright_proto::v1::plan_event::Event;
use support::{Server, Told, rounds_up_to, submission, upload};

/// Kills at random times, and kills once a better plan was told.
const AT_RANDOM: usize = 47;
const AFTER_A_PLAN: usize = 3;

/// A server on a folder. However often it is killed, no plan is given up for that.
async fn start(store: &Path) -> Server {
    let store = store.to_str().expect("a path in UTF-8");
    Server::start(&["--store", store, "--lost-runs", "1000000"], &[]).await
}

#[tokio::test(flavor = "multi_thread")]
async fn fifty_kills_lose_nothing_that_was_accepted() {
    let mut random = ChaCha8Rng::seed_from_u64(50);
    let folder = tempfile::tempdir().expect("a folder");
    let store = folder.path().join("store");
    let mut told = Told::default();
    let mut next_id = 0;

    let mut server = start(&store).await;
    let model = upload(&mut server.client).await;
    // The long one runs, broken off and gone on with, through all of this.
    let long = server.client.submit_plan(submission(&model.name, usize::MAX, 580.0)).await;
    let long = long.expect("queued").into_inner().name;
    told.accepted.insert(usize::MAX, long.clone());

    let mut kills: Vec<bool> = vec![false; AT_RANDOM];
    for k in 0..AFTER_A_PLAN {
        kills.insert(k * AT_RANDOM / AFTER_A_PLAN, true);
    }
    for after_a_plan in kills {
        told.check(&mut server.client, &model).await;
        if after_a_plan {
            let request = v1::WatchPlanRequest { name: long.clone(), cuts: false };
            let mut events = server.client.watch_plan(request).await.expect("watched").into_inner();
            let mut seen = told.best.get(&long).map_or(0, |plan| plan.number);
            // The first time any plan, later the ones that are known already.
            seen = seen.max(1);
            loop {
                match events.message().await.expect("an event").and_then(|event| event.event) {
                    Some(Event::Better(plan)) => told.better(&long, plan),
                    Some(_) => {}
                    None => panic!("the stream closed"),
                }
                if told.best.get(&long).is_some_and(|plan| plan.number >= seen) {
                    break;
                }
            }
        }
        // Requests go on while the server is killed: some are accepted, some are cut off.
        let mut client = server.client.clone();
        let name = model.name.clone();
        let sender = tokio::spawn(async move {
            let mut accepted = Vec::new();
            for id in next_id.. {
                match client.submit_plan(submission(&name, id, 0.5)).await {
                    Ok(job) => accepted.push((id, job.into_inner().name)),
                    Err(_) => break,
                }
            }
            accepted
        });
        tokio::time::sleep(Duration::from_millis(random.random_range(0..60))).await;
        server.kill();
        let accepted = sender.await.expect("sent");
        next_id += accepted.len() + 1;
        told.accepted.extend(accepted);
        server = start(&store).await;
    }
    told.check(&mut server.client, &model).await;
    assert!(told.accepted.len() > 20, "{} were accepted", told.accepted.len());
    assert!(told.best.contains_key(&long));
    // A repeat of a request that was accepted is the same job, however often the server fell.
    for (id, name) in told.accepted.iter().filter(|(id, _)| **id != usize::MAX).take(5) {
        let again = server.client.submit_plan(submission(&model.name, *id, 0.5)).await;
        assert_eq!(again.expect("there").into_inner().name, *name);
    }
    println!("{} requests accepted, best {:?}", told.accepted.len(), told.best[&long]);
    server.kill();
}

#[tokio::test(flavor = "multi_thread")]
async fn a_plan_goes_on_where_it_was_when_the_server_was_told_to_stop() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut server = start(folder.path()).await;
    let model = upload(&mut server.client).await;
    let long = server.client.submit_plan(submission(&model.name, 1, 580.0)).await;
    let long = long.expect("queued").into_inner().name;
    let before = rounds_up_to(&mut server.client, &long, 4).await;
    // A quick one does not have to wait for it.
    let quick = server.client.submit_plan(submission(&model.name, 2, 3.0)).await;
    let request =
        v1::WatchPlanRequest { name: quick.expect("queued").into_inner().name, cuts: false };
    let mut events = server.client.watch_plan(request).await.expect("watched").into_inner();
    let ended = loop {
        match events.message().await.expect("an event").and_then(|event| event.event) {
            Some(Event::Ended(job)) => break job,
            Some(_) => {}
            None => panic!("the stream closed"),
        }
    };
    assert_eq!(ended.state(), JobState::Succeeded, "{:?}", ended.failure);

    let id = server.child.id().to_string();
    assert!(Command::new("kill").args(["-TERM", &id]).status().expect("sent").success());
    assert!(server.child.wait().expect("gone").success(), "in good order");
    let mut server = start(folder.path()).await;
    let after = rounds_up_to(&mut server.client, &long, before[before.len() - 1] + 1).await;
    assert!(after[0] >= before[before.len() - 1], "{after:?} after {before:?}");
    server.kill();
}
