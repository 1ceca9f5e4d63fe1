//! Several servers on one PostgreSQL database: what one does the others see, and none of them falls
//! with the database.

mod service_support;

use std::sync::Arc;
use std::time::{Duration, Instant};

use service_support::*;
use slitwright_proto::v1;
use slitwright_proto::v1::JobState;
use slitwright_proto::v1::plan_event::Event;
use slitwright_server::store::{
    CancelRunning, DatabaseConfig, Group as _, Ledger, Listing, ModelEntry, ModelFiles, NewJob,
    Owner, PostgresLedger, Step, StoreError, digest,
};
use slitwright_server::{ServeConfig, StoreLimits};
use slitwright_tests::TestDatabase;
use tonic::Code;

/// Short, so that nobody waits long for what a fallen process had.
const LEASE: Duration = Duration::from_millis(600);

fn config(database: &TestDatabase) -> DatabaseConfig {
    DatabaseConfig::new(&database.url(), None).expect("an address").with_lease(LEASE)
}

fn ledger(database: &TestDatabase) -> Result<PostgresLedger, StoreError> {
    PostgresLedger::open(config(database), StoreLimits::default())
}

/// A server, and what its planner begins.
async fn server(
    database: &TestDatabase,
    workers: usize,
) -> (TestServer, std::sync::mpsc::Receiver<u64>) {
    let (planner, starts) = ScriptedPlanner::new();
    let config = ServeConfig { workers, database: Some(config(database)), ..Default::default() };
    (TestServer::start(config, planner).await, starts)
}

async fn watch(client: &mut Client, name: &str) -> tonic::Streaming<v1::PlanEvent> {
    let request = v1::WatchPlanRequest { name: name.to_owned(), cuts: false };
    client.watch_plan(request).await.expect("watched").into_inner()
}

async fn event(events: &mut tonic::Streaming<v1::PlanEvent>) -> Event {
    let event = events.message().await.expect("an event");
    event.and_then(|event| event.event).expect("the stream is open")
}

/// The job as it ended.
async fn end_of(events: &mut tonic::Streaming<v1::PlanEvent>) -> v1::PlanJob {
    loop {
        if let Event::Ended(job) = event(events).await {
            return job;
        }
    }
}

#[test]
fn processes_that_start_at_once_make_the_tables_once() {
    let database = TestDatabase::new();
    std::thread::scope(|scope| {
        let opening: Vec<_> = (0..6).map(|_| scope.spawn(|| ledger(&database))).collect();
        for opened in opening {
            let counts = opened.join().expect("no panic").expect("opened").counts();
            assert_eq!(counts.expect("counted").models, 0);
        }
    });
    database.run("UPDATE slitwright.format SET format = 99");
    let refused = ledger(&database).map(|_| ()).expect_err("newer");
    assert!(matches!(refused, StoreError::Newer { found: 99, .. }), "{refused}");

    let foreign = TestDatabase::new();
    foreign.run("CREATE SCHEMA slitwright; CREATE TABLE slitwright.jobs (whose text)");
    let refused = ledger(&foreign).map(|_| ()).expect_err("foreign");
    assert!(matches!(refused, StoreError::Foreign(_)), "{refused}");
}

#[test]
fn a_model_is_never_without_its_file_whoever_deletes_another() {
    let database = TestDatabase::new();
    let ledgers = [ledger(&database), ledger(&database)].map(|opened| opened.expect("opened"));
    let file = b"a plinth that two processes have";
    std::thread::scope(|scope| {
        for (k, ledger) in ledgers.iter().enumerate() {
            scope.spawn(move || {
                for round in 0..60 {
                    let message = v1::Model {
                        name: format!("models/{k}-{round}"),
                        size_bytes: file.len() as u64,
                        sha256: digest(file),
                        ..Default::default()
                    };
                    let name = message.name.clone();
                    let entry = ModelEntry { message, options: Default::default() };
                    ledger.add(&entry, None, file).expect("kept");
                    let read = ModelFiles::read(ledger, &digest(file));
                    assert_eq!(read.as_deref(), Ok(&file[..]), "round {round}");
                    ModelFiles::remove(ledger, &name).expect("removed");
                }
            });
        }
    });
    let counts = ledgers[0].counts().expect("counted");
    assert_eq!((counts.models, counts.model_bytes), (0, 0));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_job_is_followed_cancelled_and_given_more_time_from_elsewhere() {
    let database = TestDatabase::new();
    // One answers calls only, the other works.
    let (mut front, front_starts) = server(&database, 0).await;
    let (mut worker, starts) = server(&database, 1).await;
    let model = uploaded(&mut front.client).await;

    let job = submit(&mut front.client, &model.name, STEPWISE).await;
    let mut events = watch(&mut front.client, &job.name).await;
    let (mut better, mut rounds) = (Vec::new(), 0);
    while better.len() < 3 || rounds < 3 {
        match event(&mut events).await {
            Event::Better(plan) => better.push(plan.cost_mm),
            Event::Progress(report) => rounds = report.rounds.max(rounds),
            Event::Ended(job) => panic!("{job:?}"),
        }
    }
    assert_eq!(better, [1, 2, 3].map(cost_of_step));
    assert_eq!(next_start(&starts), STEPWISE);
    assert!(front_starts.try_recv().is_err(), "the front does not work");
    cancel(&mut front.client, &job.name).await;
    let ended = end_of(&mut events).await;
    assert_eq!(ended.state(), JobState::Cancelled);
    assert_eq!(ended.plan.map(|plan| plan.cost_mm), Some(cost_of_step(3)));

    let job = submit(&mut front.client, &model.name, WAITS_FOR_TIME).await;
    assert_eq!(next_start(&starts), WAITS_FOR_TIME);
    let more =
        v1::ExtendPlanRequest { name: job.name.clone(), seconds: 40.0, ..Default::default() };
    front.client.extend_plan(more).await.expect("more time");
    let (_, ended) = watch_to_end(&mut front.client, &job.name).await;
    assert_eq!(ended.plan.map(|plan| plan.total_length_mm), Some(100.0));

    // Without a plan to keep it ends as soon as its process hears of it.
    let job = submit(&mut front.client, &model.name, UNTIL_CANCELLED).await;
    assert_eq!(next_start(&starts), UNTIL_CANCELLED);
    cancel(&mut front.client, &job.name).await;
    let (_, ended) = watch_to_end(&mut worker.client, &job.name).await;
    assert_eq!(ended.state(), JobState::Cancelled);
    front.stop().await;
    worker.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_silent_solver_keeps_its_job_and_a_process_that_goes_hands_it_on() {
    let database = TestDatabase::new();
    let (mut one, starts) = server(&database, 1).await;
    let model = uploaded(&mut one.client).await;
    let job = submit(&mut one.client, &model.name, STEPWISE).await;
    assert_eq!(next_start(&starts), STEPWISE);
    let (mut two, elsewhere) = server(&database, 1).await;
    // It says nothing for longer than a lease, which is what this is about.
    tokio::time::sleep(2 * LEASE).await;
    assert!(elsewhere.try_recv().is_err(), "it was taken from a process that lives");
    let mut events = watch(&mut two.client, &job.name).await;
    one.stop().await;
    assert_eq!(next_start(&elsewhere), STEPWISE);
    let ended = end_of(&mut events).await;
    // Three steps more than the three of before: it went on from the checkpoint.
    assert_eq!(ended.state(), JobState::Succeeded);
    assert_eq!(ended.best.map(|best| best.cost_mm), Some(cost_of_step(6)));
    two.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_server_that_starts_before_its_database_waits_for_it() {
    let database = TestDatabase::new();
    database.stop();
    let begun = Instant::now();
    let (server, ()) = tokio::join!(server(&database, 1), async {
        tokio::time::sleep(Duration::from_secs(2)).await;
        tokio::task::block_in_place(|| database.start());
    });
    let (mut server, _starts) = server;
    assert!(begun.elapsed() >= Duration::from_secs(2));
    let plans = server.client.list_plans(v1::ListPlansRequest::default()).await.expect("answers");
    assert!(plans.into_inner().plans.is_empty());
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn servers_outlive_a_stop_of_the_database_and_go_on() {
    let database = TestDatabase::new();
    let (mut one, starts) = server(&database, 1).await;
    let (mut two, elsewhere) = server(&database, 1).await;
    let model = uploaded(&mut one.client).await;
    let job = submit(&mut one.client, &model.name, STEPWISE).await;
    let mut events = watch(&mut two.client, &job.name).await;
    while !matches!(event(&mut events).await, Event::Better(plan) if plan.number == 3) {}
    database.stop();
    let refused = one.client.list_plans(v1::ListPlansRequest::default()).await;
    assert_eq!(refused.expect_err("there is no database").code(), Code::Unavailable);
    // Longer than a lease: the run stops, for it may be someone else's by now.
    tokio::time::sleep(2 * LEASE).await;
    database.start();
    let ended = end_of(&mut events).await;
    assert_eq!(ended.state(), JobState::Succeeded, "{:?}", ended.failure);
    assert_eq!(ended.best.map(|best| best.cost_mm), Some(cost_of_step(6)));
    let begun = starts.try_iter().chain(elsewhere.try_iter()).count();
    assert_eq!(begun, 2, "once, and once more from the checkpoint");
    // Connections that were cut are no longer handed out.
    database.throw_all_out();
    let next = submit(&mut two.client, &model.name, QUICK).await;
    assert_eq!(watch_to_end(&mut one.client, &next.name).await.1.state(), JobState::Succeeded);
    one.stop().await;
    two.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_lost_lease_is_lost_for_good_and_a_job_that_fells_processes_fails() {
    let database = TestDatabase::new();
    let (mut watcher, _starts) = server(&database, 0).await;
    let model = uploaded(&mut watcher.client).await;
    let job = submit(&mut watcher.client, &model.name, UNTIL_CANCELLED).await;
    let mut events = watch(&mut watcher.client, &job.name).await;
    let fallen = {
        let config = config(&database);
        tokio::task::spawn_blocking(move || {
            let ledger = PostgresLedger::open(config, StoreLimits::default()).expect("opened");
            // It claims, is not heard of any more, and the other one puts the job back.
            (0..3).for_each(|_| {
                let run = loop {
                    if let Some(claimed) = ledger.claim(None).expect("claimed") {
                        break claimed.run;
                    }
                    std::thread::yield_now();
                };
                assert_eq!(ledger.renew(std::slice::from_ref(&run)).expect("renewed").len(), 1);
                let lost = loop {
                    match ledger.job(&run.job).expect("there").state() {
                        JobState::Running => std::thread::yield_now(),
                        _ => break ledger.keep(&run, &Step::default()),
                    }
                };
                assert_eq!(lost, Err(StoreError::RunLost(run.job.clone())));
                assert_eq!(ledger.renew(&[run]).expect("asked"), []);
            });
        })
    };
    let ended = end_of(&mut events).await;
    fallen.await.expect("no panic");
    assert_eq!(ended.state(), JobState::Failed);
    let failure = ended.failure.expect("why");
    assert!(failure.message.contains("fell 3 times"), "{failure:?}");
    watcher.stop().await;
}

#[test]
fn limits_of_an_owner_are_counted_by_all_processes_together() {
    let database = TestDatabase::new();
    let ledgers = [ledger(&database), ledger(&database)].map(|opened| opened.expect("opened"));
    let ledgers = Arc::new(ledgers);
    let message =
        v1::Model { name: "models/a".to_owned(), sha256: digest(b"a"), ..Default::default() };
    let entry = ModelEntry { message, options: Default::default() };
    ledgers[0].add(&entry, None, b"a").expect("kept");
    let owner = Owner { name: "studio".to_owned(), most_jobs: Some(5), most_model_bytes: None };
    let taken: usize = std::thread::scope(|scope| {
        let threads: Vec<_> = (0..8)
            .map(|k| {
                let (ledgers, owner) = (&ledgers, owner.clone());
                scope.spawn(move || {
                    let ask = |round: usize| NewJob {
                        name: format!("plans/{k}-{round}"),
                        model: "models/a".to_owned(),
                        request: v1::PlanRequest::default(),
                        request_id: None,
                        priority: 0,
                        seconds: 1.0,
                        owner: Some(owner.clone()),
                    };
                    let outcomes = (0..5).map(|round| ledgers[k % 2].submit(&ask(round)));
                    outcomes
                        .filter(|outcome| match outcome {
                            Ok(_) => true,
                            Err(StoreError::TooManyJobs { .. }) => false,
                            Err(other) => panic!("{other}"),
                        })
                        .count()
                })
            })
            .collect();
        threads.into_iter().map(|thread| thread.join().expect("no panic")).sum()
    });
    assert_eq!(taken, 5);
    let page = ledgers[1].jobs(&Listing { most: 9, ..Listing::default() }).expect("a page");
    ledgers[1].cancel(&page.items[0].name, CancelRunning::AtOnce).expect("cancelled");
}

#[tokio::test(flavor = "multi_thread")]
async fn health_tells_whether_the_store_can_be_written() {
    use tonic_health::pb::HealthCheckRequest;
    use tonic_health::pb::health_check_response::ServingStatus;
    let database = TestDatabase::new();
    let (server, _starts) = server(&database, 1).await;
    let mut health = tonic_health::pb::health_client::HealthClient::new(server.channel.clone());
    let mut heard = Vec::new();
    for service in ["", "slitwright.v1.CutPlanner"] {
        let asked = HealthCheckRequest { service: service.to_owned() };
        heard.push(health.watch(asked).await.expect("watched").into_inner());
    }
    let steps: [(&dyn Fn(), ServingStatus); 3] = [
        (&|| {}, ServingStatus::Serving),
        (&|| database.stop(), ServingStatus::NotServing),
        (&|| database.start(), ServingStatus::Serving),
    ];
    for (step, expected) in steps {
        tokio::task::block_in_place(step);
        for told in &mut heard {
            let next = tokio::time::timeout(Duration::from_secs(60), told.message()).await;
            let next = next.expect("within a minute").expect("an answer").expect("goes on");
            assert_eq!(next.status(), expected);
        }
    }
    drop((heard, health));
    server.stop().await;
}
