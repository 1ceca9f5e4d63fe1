//! Three processes on one database, and one of them is killed again and again at any moment: every plan
//! that was accepted comes to its end, once, and where work had got to is not lost.

mod support;

use std::time::Duration;

use rand::{Rng as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;
use slitwright_proto::v1;
use slitwright_proto::v1::JobState;
use slitwright_proto::v1::plan_event::Event;
use slitwright_tests::TestDatabase;
use support::{Server, Told, rounds_up_to, submission, upload};

/// Kills, and plans that are asked for before each.
const ROUNDS: usize = 4;
const PLANS: usize = 4;

async fn start(database: &TestDatabase) -> Server {
    // The killed ones were not to blame.
    let words = ["--lease", "1", "--workers", "1", "--lost-runs", "1000"];
    Server::start(&words, &[("SLITWRIGHT_DATABASE", &database.url())]).await
}

/// Follows a job to its end, noting the better plans.
async fn to_the_end(server: &mut Server, job: &str, told: &mut Told) -> v1::PlanJob {
    let request = v1::WatchPlanRequest { name: job.to_owned(), cuts: false };
    let mut events = server.client.watch_plan(request).await.expect("watched").into_inner();
    loop {
        match events.message().await.expect("an event").and_then(|event| event.event) {
            Some(Event::Better(plan)) => told.better(job, plan),
            Some(Event::Ended(job)) => break job,
            Some(Event::Progress(_)) => {}
            None => panic!("the stream closed"),
        }
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn what_a_killed_process_worked_on_is_ended_by_the_others() {
    let mut random = ChaCha8Rng::seed_from_u64(3);
    let database = TestDatabase::new();
    let (one, two, three) = tokio::join!(start(&database), start(&database), start(&database));
    let mut servers = vec![one, two, three];
    let model = upload(&mut servers[0].client).await;
    let mut told = Told::default();
    let mut killed = Vec::new();
    for round in 0..ROUNDS {
        for plan in 0..PLANS {
            let id = round * PLANS + plan;
            let at = random.random_range(0..servers.len());
            let asked = submission(&model.name, id, 0.7);
            let job = servers[at].client.submit_plan(asked).await.expect("queued").into_inner();
            told.accepted.insert(id, job.name);
        }
        tokio::time::sleep(Duration::from_millis(random.random_range(0..1200))).await;
        let victim = servers.remove(random.random_range(0..servers.len()));
        killed.push(victim.kill());
        servers.push(start(&database).await);
        told.check(&mut servers[0].client, &model).await;
    }
    let names: Vec<String> = told.accepted.values().cloned().collect();
    for (k, name) in names.iter().enumerate() {
        let at = k % servers.len();
        let ended = to_the_end(&mut servers[at], name, &mut told).await;
        assert_eq!(ended.state(), JobState::Succeeded, "{:?}", ended.failure);
        assert!(ended.plan.is_some());
    }
    told.check(&mut servers[0].client, &model).await;
    // A process may be killed after it has stored an end and before it says so.
    for name in &names {
        let logs = servers.iter().map(|server| server.log()).chain(killed.iter().cloned());
        let ends = logs.map(|log| log.said("the run is over", name)).sum::<usize>();
        assert!(ends <= 1, "{name} was worked on to {ends} ends");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_killed_plan_goes_on_elsewhere_from_where_it_was() {
    let database = TestDatabase::new();
    let (mut one, mut two) = tokio::join!(start(&database), start(&database));
    let model = upload(&mut one.client).await;
    let job = one.client.submit_plan(submission(&model.name, 1, 580.0)).await;
    let job = job.expect("queued").into_inner().name;
    // Both follow, so one of them from another process.
    tokio::join!(rounds_up_to(&mut one.client, &job, 3), rounds_up_to(&mut two.client, &job, 3));
    let runs_here = one.log().said("a run begins", &job) == 1;
    let (worker, mut other) = if runs_here { (one, two) } else { (two, one) };
    assert_eq!(other.log().said("a run begins", &job), 0, "it runs in one place");
    // There is only something to go on from once the solver has said where it is.
    while !database.finds("SELECT job FROM slitwright.checkpoints WHERE used_seconds > 0") {
        tokio::task::yield_now().await;
    }
    worker.kill();
    let since = std::time::Instant::now();
    let request = v1::GetPlanRequest { name: job.clone(), ..Default::default() };
    let stored = other.client.get_plan(request).await.expect("there").into_inner().progress;
    let stored = stored.map_or(0, |report| report.rounds);
    let after = rounds_up_to(&mut other.client, &job, stored + 1).await;
    println!("a round further {:?} after the kill", since.elapsed());
    let begun = other.log().last("a run begins", &job).expect("it runs here now");
    let (_, worked) = begun.split_once("worked=").expect("how long it was worked on");
    let worked: f64 = worked.split(' ').next().and_then(|s| s.parse().ok()).expect("seconds");
    assert!(worked > 0.0, "{begun}");
    assert!(after.iter().all(|&rounds| rounds > 1), "not from the first round: {after:?}");

    // Cancelled at a process that does not run it.
    let mut third = start(&database).await;
    let request = v1::CancelPlanRequest { name: job.clone() };
    third.client.cancel_plan(request).await.expect("asked");
    let mut told = Told::default();
    let ended = to_the_end(&mut third, &job, &mut told).await;
    assert_eq!(ended.state(), JobState::Cancelled);
}
