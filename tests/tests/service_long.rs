//! Plans that take long: followed, given more time, put before others, gone on with after a stop.

mod service_support;

use service_support::*;
use slitwright_proto::v1;
use slitwright_proto::v1::JobState;
use slitwright_proto::v1::plan_event::Event;
use slitwright_server::{ServeConfig, StoreLimits};
use tonic::Code;
use tonic_types::StatusExt;

fn in_folder(folder: &tempfile::TempDir) -> ServeConfig {
    ServeConfig { folder: Some(folder.path().to_owned()), ..ServeConfig::default() }
}

async fn scripted(config: ServeConfig) -> (TestServer, std::sync::mpsc::Receiver<u64>) {
    let (planner, starts) = ScriptedPlanner::new();
    (TestServer::start(config, planner).await, starts)
}

fn extension(name: &str, seconds: f64, request_id: &str) -> v1::ExtendPlanRequest {
    v1::ExtendPlanRequest { name: name.to_owned(), seconds, request_id: request_id.to_owned() }
}

/// Follows a job until so many better plans have come.
async fn better_plans(client: &mut Client, name: &str, many: usize) -> Vec<v1::BetterPlan> {
    let watched =
        client.watch_plan(v1::WatchPlanRequest { name: name.to_owned(), cuts: false }).await;
    let mut events = watched.expect("watched").into_inner();
    let mut found = Vec::new();
    while found.len() < many {
        match events.message().await.expect("an event").and_then(|event| event.event) {
            Some(Event::Better(plan)) => found.push(plan),
            Some(Event::Progress(_)) => {}
            other => panic!("{} of {many} better plans came before {other:?}", found.len()),
        }
    }
    found
}

#[tokio::test(flavor = "multi_thread")]
async fn each_better_plan_is_told_and_can_be_had_while_the_work_goes_on() {
    let (mut server, _starts) = scripted(ServeConfig::default()).await;
    let client = &mut server.client;
    let model = uploaded(client).await;
    let job = submit(client, &model.name, STEPWISE).await;
    let found = better_plans(client, &job.name, 3).await;
    let told: Vec<_> = found.iter().map(|plan| (plan.number, plan.cost_mm)).collect();
    assert_eq!(told, [(1, 90.0), (2, 80.0), (3, 70.0)]);
    let plan = found[2];
    // (cost - bound) / cost.
    assert!((plan.gap - 60.0 / 70.0).abs() < 1e-12, "{}", plan.gap);
    assert!(plan.lower_bound_mm == 10.0 && plan.releases);
    assert_eq!(plan.risk, None, "no sheets were made");
    // Who comes late hears of all of them.
    assert_eq!(better_plans(client, &job.name, 3).await, found);

    let running = get(client, &job.name).await;
    assert_eq!(running.state(), JobState::Running);
    assert_eq!(running.best, Some(plan));
    assert_eq!(running.plan.expect("the best so far").cost_mm, 70.0);
    assert_eq!(list(client).await[0].best, Some(plan), "its figures are in lists too");
    cancel(client, &job.name).await;
    let (_, ended) = watch_to_end(client, &job.name).await;
    assert_eq!(ended.state(), JobState::Cancelled);
    assert_eq!(ended.plan.expect("kept").cost_mm, 70.0);
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_job_goes_on_after_a_stop_where_it_was() {
    let folder = tempfile::tempdir().expect("a folder");
    let (mut server, _starts) = scripted(in_folder(&folder)).await;
    let client = &mut server.client;
    let model = uploaded(client).await;
    let job = submit(client, &model.name, STEPWISE).await;
    let waiting = submit(client, &model.name, QUICK).await;
    let before = better_plans(client, &job.name, 3).await;
    let watched =
        client.watch_plan(v1::WatchPlanRequest { name: job.name.clone(), cuts: false }).await;
    let mut events = watched.expect("watched").into_inner();
    let last = async move {
        loop {
            match events.message().await {
                Ok(Some(_)) => {}
                Ok(None) => panic!("the stream closed without a word"),
                Err(status) => break status,
            }
        }
    };
    let (_, status) = tokio::join!(server.stop(), last);
    assert_eq!(status.code(), Code::Unavailable, "{status:?}");

    let (mut server, _starts) = scripted(in_folder(&folder)).await;
    let client = &mut server.client;
    let (progress, ended) = watch_to_end(client, &job.name).await;
    assert_eq!(ended.state(), JobState::Succeeded, "{:?}", ended.failure);
    assert!(progress.iter().all(|report| report.rounds >= 3), "from where it was: {progress:?}");
    assert_eq!(ended.progress.map(|report| report.rounds), Some(6));
    assert!(ended.used_seconds >= before[2].used_seconds, "time used before the stop counts");
    let best = ended.best.expect("figures");
    assert_eq!((best.number, best.cost_mm), (6, 40.0), "counted on over the stop");
    let plan = ended.plan.expect("a plan");
    assert_eq!((plan.cost_mm, plan.stopped_by()), (40.0, v1::StopReason::Optimal));
    let (_, ended) = watch_to_end(client, &waiting.name).await;
    assert_eq!(ended.state(), JobState::Succeeded, "so does one that had not begun");
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_job_is_given_more_time_whether_it_waits_runs_or_has_ended() {
    let (mut server, starts) = scripted(ServeConfig::default()).await;
    let client = &mut server.client;
    let model = uploaded(client).await;
    // One that has ended goes on from its checkpoint.
    let ended = submit(client, &model.name, OUT_OF_TIME).await;
    assert_eq!(next_start(&starts), OUT_OF_TIME);
    let (_, job) = watch_to_end(client, &ended.name).await;
    assert_eq!(job.plan.map(|plan| plan.total_length_mm), Some(60.0));
    for _ in 0..2 {
        // The second is a repeat, as after a connection that was lost.
        client.extend_plan(extension(&ended.name, 30.0, "a")).await.expect("more time");
        assert_eq!(watch_to_end(client, &ended.name).await.1.state(), JobState::Succeeded);
    }
    let job = get(client, &ended.name).await;
    assert_eq!((job.extra_seconds, job.plan.map(|plan| plan.total_length_mm)), (30.0, Some(90.0)));
    assert_eq!(next_start(&starts), OUT_OF_TIME);

    // One that runs hears of it, one that waits has it when it begins.
    let running = submit(client, &model.name, WAITS_FOR_TIME).await;
    assert_eq!(next_start(&starts), WAITS_FOR_TIME);
    let waiting = submit(client, &model.name, OUT_OF_TIME).await;
    let more = client.extend_plan(extension(&waiting.name, 5.0, "")).await.expect("more time");
    assert_eq!(more.into_inner().state(), JobState::Queued);
    client.extend_plan(extension(&running.name, 40.0, "")).await.expect("more time");
    let lengths = [(&running, 100.0), (&waiting, 65.0)];
    for (job, length) in lengths {
        let (_, job) = watch_to_end(client, &job.name).await;
        assert_eq!(job.plan.map(|plan| plan.total_length_mm), Some(length));
    }

    // One that was cancelled goes on too; one that has failed has nothing to go on from.
    let cancelled = submit(client, &model.name, STEPWISE).await;
    better_plans(client, &cancelled.name, 3).await;
    cancel(client, &cancelled.name).await;
    watch_to_end(client, &cancelled.name).await;
    client.extend_plan(extension(&cancelled.name, 5.0, "")).await.expect("more time");
    let (_, job) = watch_to_end(client, &cancelled.name).await;
    assert_eq!((job.state(), job.best.map(|best| best.cost_mm)), (JobState::Succeeded, Some(40.0)));
    let failed = submit(client, &model.name, UNFIT).await;
    watch_to_end(client, &failed.name).await;
    let refused = client.extend_plan(extension(&failed.name, 5.0, "")).await.expect_err("failed");
    assert_eq!(refused.code(), Code::FailedPrecondition);

    assert_invalid(client.extend_plan(extension(&ended.name, 86_390.0, "")).await, &["seconds"]);
    assert_invalid(client.extend_plan(extension(&ended.name, f64::NAN, "")).await, &["seconds"]);
    assert_invalid(client.extend_plan(extension("ended", 5.0, "")).await, &["name"]);
    let gone = client.extend_plan(extension("plans/x", 5.0, "")).await.expect_err("none");
    assert_eq!(gone.code(), Code::NotFound);
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn priorities_order_the_queue_and_can_be_changed() {
    let (mut server, starts) = scripted(ServeConfig::default()).await;
    let client = &mut server.client;
    let model = uploaded(client).await;
    let first = submit(client, &model.name, UNTIL_CANCELLED).await;
    assert_eq!(next_start(&starts), UNTIL_CANCELLED);
    let mut names = Vec::new();
    for (seed, priority) in [(101, 0), (102, 0), (103, 5), (104, -1)] {
        let asked = submission_with(&model.name, seed, priority, 60.0);
        names.push(client.submit_plan(asked).await.expect("queued").into_inner().name);
    }
    let update = |name: &str, priority, paths: &[&str]| v1::UpdatePlanRequest {
        plan: Some(v1::PlanJob { name: name.to_owned(), priority, ..Default::default() }),
        update_mask: Some(prost_types::FieldMask {
            paths: paths.iter().map(|path| (*path).to_owned()).collect(),
        }),
    };
    let moved = client.update_plan(update(&names[1], 10, &["priority"])).await.expect("moved");
    assert_eq!(moved.into_inner().priority, 10);
    assert_invalid(
        client.update_plan(update(&names[1], 11, &["priority"])).await,
        &["plan.priority"],
    );
    for paths in [&[][..], &["state"], &["priority", "request"]] {
        assert_invalid(client.update_plan(update(&names[1], 1, paths)).await, &["update_mask"]);
    }
    assert_invalid(
        client.submit_plan(submission_with(&model.name, 1, -11, 60.0)).await,
        &["priority"],
    );
    cancel(client, &first.name).await;
    let order: Vec<_> = (0..4).map(|_| next_start(&starts)).collect();
    assert_eq!(order, [102, 103, 101, 104]);
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_quick_plan_does_not_wait_for_a_long_one() {
    let (mut server, starts) = scripted(ServeConfig::default()).await;
    let client = &mut server.client;
    let model = uploaded(client).await;
    let long = submission_with(&model.name, UNTIL_CANCELLED, 0, 3600.0);
    let long = client.submit_plan(long).await.expect("queued").into_inner();
    assert_eq!(next_start(&starts), UNTIL_CANCELLED);
    // A second long one waits, and is not overtaken for ever: the quick one has a place of its own.
    let second = submission_with(&model.name, 102, 0, 3600.0);
    let second = client.submit_plan(second).await.expect("queued").into_inner();
    let quick = submission_with(&model.name, QUICK, 0, 10.0);
    let quick = client.submit_plan(quick).await.expect("queued").into_inner();
    assert_eq!(watch_to_end(client, &quick.name).await.1.state(), JobState::Succeeded);
    assert_eq!(next_start(&starts), QUICK);
    assert_eq!(get(client, &long.name).await.state(), JobState::Running);
    assert_eq!(get(client, &second.name).await.state(), JobState::Queued);
    cancel(client, &long.name).await;
    assert_eq!(next_start(&starts), 102);
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_thousand_requests_wait_and_none_is_lost() {
    let folder = tempfile::tempdir().expect("a folder");
    let store = StoreLimits { waiting_jobs: 1000, ..StoreLimits::default() };
    let config = || ServeConfig { store, ..in_folder(&folder) };
    let (mut server, starts) = scripted(config()).await;
    let client = &mut server.client;
    let model = uploaded(client).await;
    let first = submit(client, &model.name, UNTIL_CANCELLED).await;
    assert_eq!(next_start(&starts), UNTIL_CANCELLED);
    let mut senders = tokio::task::JoinSet::new();
    for sender in 0..20 {
        let (mut client, model) = (client.clone(), model.name.clone());
        senders.spawn(async move {
            let mut names = Vec::new();
            for number in 0..50 {
                let asked = submission(&model, 1000 + 50 * sender + number);
                names.push(client.submit_plan(asked).await.expect("queued").into_inner().name);
            }
            names
        });
    }
    let mut names: Vec<String> = senders.join_all().await.concat();
    let full = client.submit_plan(submission(&model.name, QUICK)).await.expect_err("full");
    assert_eq!(full.code(), Code::ResourceExhausted);
    let details = full.get_error_details();
    assert!(details.quota_failure().is_some(), "{full:?}");
    assert!(details.retry_info().is_some_and(|info| info.retry_delay.is_some()), "{full:?}");
    server.stop().await;

    let (mut server, _starts) = scripted(config()).await;
    let client = &mut server.client;
    let mut listed: Vec<_> = list(client).await.into_iter().map(|job| job.name).collect();
    assert_eq!(listed.remove(0), first.name, "oldest first");
    listed.sort();
    names.sort();
    assert_eq!(listed, names);
    server.stop().await;
}
