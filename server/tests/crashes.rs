//! The binary is killed again and again, at any moment, and whatever it had accepted is there; stopped
//! in good order it goes on where it was.

use std::collections::HashMap;
use std::fmt::Write as _;
use std::io::{BufRead as _, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use rand::{Rng as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;
use slitwright_proto::v1;
use slitwright_proto::v1::JobState;
use slitwright_proto::v1::cut_planner_client::CutPlannerClient;
use slitwright_proto::v1::plan_event::Event;
use slitwright_proto::v1::upload_model_request::Part;
use slitwright_tests::sphere_on_gate;
use tonic::transport::Channel;

type Client = CutPlannerClient<Channel>;

/// Kills at random times, and kills once a better plan was told.
const AT_RANDOM: usize = 47;
const AFTER_A_PLAN: usize = 3;

struct Server {
    child: Child,
    client: Client,
}

impl Server {
    async fn start(store: &Path) -> Self {
        let mut child = Command::new(env!("CARGO_BIN_EXE_slitwright"))
            .args(["serve", "--listen", "127.0.0.1:0", "--store"])
            .arg(store)
            .env("RUST_LOG", "info,highs=error")
            .stderr(Stdio::piped())
            .spawn()
            .expect("the binary runs");
        let mut lines = BufReader::new(child.stderr.take().expect("piped")).lines();
        let address = loop {
            let line = lines.next().expect("it says where it listens").expect("a line");
            if let Some((_, rest)) = line.split_once("listening address=") {
                break rest.split(' ').next().unwrap_or_default().to_owned();
            }
        };
        // Read on, or the server would wait for us.
        std::thread::spawn(move || lines.for_each(drop));
        let client = CutPlannerClient::connect(format!("http://{address}")).await;
        Self { child, client: client.expect("connected") }
    }

    /// SIGKILL.
    fn kill(mut self) {
        self.child.kill().expect("killed");
        self.child.wait().expect("gone");
    }
}

/// A ball on a small gate.
fn ball() -> Vec<u8> {
    let mesh = sphere_on_gate(15.0, 6.0, 4.0);
    let mut text = format!("OFF\n{} {} 0\n", mesh.positions.len(), mesh.faces.len());
    for p in &mesh.positions {
        writeln!(text, "{} {} {}", p.x, p.y, p.z).expect("written");
    }
    for [a, b, c] in &mesh.faces {
        writeln!(text, "3 {a} {b} {c}").expect("written");
    }
    text.into_bytes()
}

async fn upload(client: &mut Client) -> v1::Model {
    let header = v1::UploadHeader {
        format: v1::MeshFormat::Off.into(),
        unit: v1::LengthUnit::Millimetre.into(),
        ..Default::default()
    };
    let parts = [Part::Header(header), Part::Chunk(ball())];
    let parts = parts.map(|part| v1::UploadModelRequest { part: Some(part) });
    client.upload_model(tokio_stream::iter(parts)).await.expect("a sound model").into_inner()
}

fn submission(model: &str, id: usize, seconds: f64) -> v1::SubmitPlanRequest {
    let request = v1::PlanRequest {
        budget: Some(v1::Budget {
            time_limit_seconds: Some(seconds),
            target_gap: Some(0.0),
            ..Default::default()
        }),
        resolution: Some(v1::Resolution { planning_edge_mm: Some(4.0), deviation_mm: None }),
        trial: Some(v1::TrialRules { mode: v1::TrialMode::Off.into(), ..Default::default() }),
        ..Default::default()
    };
    v1::SubmitPlanRequest {
        model: model.to_owned(),
        request: Some(request),
        request_id: id.to_string(),
        ..Default::default()
    }
}

/// What a client has been told.
#[derive(Default)]
struct Told {
    /// The plans that were accepted, by request id.
    accepted: HashMap<usize, String>,
    /// Best plan of each job.
    best: HashMap<String, v1::BetterPlan>,
}

impl Told {
    fn better(&mut self, job: &str, plan: v1::BetterPlan) {
        if self.best.get(job).is_none_or(|old| old.number < plan.number) {
            self.best.insert(job.to_owned(), plan);
        }
    }

    /// All of it is still there, and no worse.
    async fn check(&self, client: &mut Client, model: &v1::Model) {
        let got = client.get_model(v1::GetModelRequest { name: model.name.clone() }).await;
        assert_eq!(got.expect("the model").into_inner(), *model);
        let (mut jobs, mut page_token) = (HashMap::new(), String::new());
        loop {
            let request = v1::ListPlansRequest { page_size: 200, page_token, read_mask: None };
            let page = client.list_plans(request).await.expect("a page").into_inner();
            jobs.extend(page.plans.into_iter().map(|job| (job.name.clone(), job)));
            page_token = page.next_page_token;
            if page_token.is_empty() {
                break;
            }
        }
        for (id, name) in &self.accepted {
            let job = jobs.get(name).unwrap_or_else(|| panic!("request {id} is lost: {name}"));
            assert_ne!(job.state(), JobState::Failed, "{:?}", job.failure);
        }
        for (name, old) in &self.best {
            let new = jobs[name].best.expect("a better plan is lost");
            assert!(new.number >= old.number, "{new:?} after {old:?}");
            let rank = |plan: &v1::BetterPlan| (!plan.releases, plan.missed_limits);
            assert!(rank(&new) <= rank(old), "{new:?} after {old:?}");
            assert!(rank(&new) < rank(old) || new.cost_mm <= old.cost_mm, "{new:?} after {old:?}");
            let got = client
                .get_plan(v1::GetPlanRequest { name: name.clone(), ..Default::default() })
                .await;
            let plan = got.expect("a job").into_inner().plan.expect("its plan");
            assert_eq!(plan.cost_mm, new.cost_mm);
        }
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn fifty_kills_lose_nothing_that_was_accepted() {
    let mut random = ChaCha8Rng::seed_from_u64(50);
    let folder = tempfile::tempdir().expect("a folder");
    let store = folder.path().join("store");
    let mut told = Told::default();
    let mut next_id = 0;

    let mut server = Server::start(&store).await;
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
            let request = v1::WatchPlanRequest { name: long.clone() };
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
        server = Server::start(&store).await;
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

/// Follows a job until a report says that so many rounds were made; the rounds told on the way.
async fn rounds_up_to(client: &mut Client, job: &str, rounds: u32) -> Vec<u32> {
    let request = v1::WatchPlanRequest { name: job.to_owned() };
    let mut events = client.watch_plan(request).await.expect("watched").into_inner();
    let mut told = Vec::new();
    while told.last().is_none_or(|&last| last < rounds) {
        match events.message().await.expect("an event").and_then(|event| event.event) {
            Some(Event::Progress(report)) if report.rounds > 0 => told.push(report.rounds),
            Some(Event::Progress(_) | Event::Better(_)) => {}
            other => panic!("it ended early: {other:?}"),
        }
    }
    told
}

#[tokio::test(flavor = "multi_thread")]
async fn a_plan_goes_on_where_it_was_when_the_server_was_told_to_stop() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut server = Server::start(folder.path()).await;
    let model = upload(&mut server.client).await;
    let long = server.client.submit_plan(submission(&model.name, 1, 580.0)).await;
    let long = long.expect("queued").into_inner().name;
    let before = rounds_up_to(&mut server.client, &long, 4).await;
    // A quick one does not have to wait for it.
    let quick = server.client.submit_plan(submission(&model.name, 2, 3.0)).await;
    let request = v1::WatchPlanRequest { name: quick.expect("queued").into_inner().name };
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
    let mut server = Server::start(folder.path()).await;
    let after = rounds_up_to(&mut server.client, &long, before[before.len() - 1] + 1).await;
    assert!(after[0] >= before[before.len() - 1], "{after:?} after {before:?}");
    server.kill();
}
