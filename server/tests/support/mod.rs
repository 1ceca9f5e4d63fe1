//! The binary as a server that may be killed, and a client that remembers what it was told.
#![allow(dead_code, reason = "each test file uses its own part")]

use std::collections::HashMap;
use std::io::{BufRead as _, BufReader};
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;

use slitwright_proto::v1;
use slitwright_proto::v1::JobState;
use slitwright_proto::v1::cut_planner_client::CutPlannerClient;
use slitwright_proto::v1::plan_event::Event;
use slitwright_proto::v1::upload_model_request::Part;
use slitwright_tests::{off, sphere_on_gate};
use tonic::transport::Channel;

pub type Client = CutPlannerClient<Channel>;

pub struct Server {
    pub child: Child,
    pub client: Client,
    log: Log,
    /// Ends once the server is gone and all that it said was read.
    reader: Option<JoinHandle<()>>,
}

/// What a server has logged so far.
#[derive(Clone, Default)]
pub struct Log(Arc<Mutex<Vec<String>>>);

impl Log {
    /// How often a line said these words of a job.
    pub fn said(&self, words: &str, job: &str) -> usize {
        self.lines(words, job).len()
    }

    /// The last line that said these words of a job.
    pub fn last(&self, words: &str, job: &str) -> Option<String> {
        self.lines(words, job).pop()
    }

    fn lines(&self, words: &str, job: &str) -> Vec<String> {
        let log = self.0.lock().expect("whole");
        log.iter().filter(|line| line.contains(words) && line.contains(job)).cloned().collect()
    }
}

impl Server {
    /// Starts `slitwright serve` with these words after it and these variables.
    pub async fn start(words: &[&str], variables: &[(&str, &str)]) -> Self {
        Self::start_by(&[], words, variables).await
    }

    /// The same by another command, which has these words `before` its own.
    pub async fn start_by(before: &[&str], words: &[&str], variables: &[(&str, &str)]) -> Self {
        let binary = env!("CARGO_BIN_EXE_slitwright");
        let all: Vec<&str> = before.iter().copied().chain([binary]).collect();
        let mut child = Command::new(all[0])
            .args(&all[1..])
            .args(["serve", "--listen", "127.0.0.1:0"])
            .args(words)
            .envs(variables.iter().copied())
            .env("RUST_LOG", "info,highs=error")
            .stderr(Stdio::piped())
            .spawn()
            .expect("the binary runs");
        let mut lines = BufReader::new(child.stderr.take().expect("piped")).lines();
        let mut before = Vec::new();
        let address = loop {
            let Some(line) = lines.next() else { panic!("it never listens: {before:#?}") };
            let line = line.expect("a line");
            before.push(line.clone());
            if let Some((_, rest)) = line.split_once("listening address=") {
                break rest.split(' ').next().unwrap_or_default().to_owned();
            }
        };
        let log = Log::default();
        let kept = Arc::clone(&log.0);
        // Read on, or the server would wait for us.
        let reader = std::thread::spawn(move || {
            lines.map_while(Result::ok).for_each(|line| kept.lock().expect("whole").push(line));
        });
        let client = CutPlannerClient::connect(format!("http://{address}")).await;
        Self { child, client: client.expect("connected"), log, reader: Some(reader) }
    }

    /// SIGKILL. What it had logged is left.
    pub fn kill(mut self) -> Log {
        self.end();
        if let Some(reader) = self.reader.take() {
            reader.join().expect("read");
        }
        self.log()
    }

    fn end(&mut self) {
        self.child.kill().expect("killed");
        self.child.wait().expect("gone");
    }

    /// What it has logged so far.
    pub fn log(&self) -> Log {
        self.log.clone()
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        // A test that fails leaves no server behind.
        self.end();
    }
}

/// A ball on a small gate.
pub fn ball() -> Vec<u8> {
    off(&sphere_on_gate(15.0, 6.0, 4.0))
}

pub async fn upload(client: &mut Client) -> v1::Model {
    let header = v1::UploadHeader {
        format: v1::MeshFormat::Off.into(),
        unit: v1::LengthUnit::Millimetre.into(),
        ..Default::default()
    };
    let parts = [Part::Header(header), Part::Chunk(ball())];
    let parts = parts.map(|part| v1::UploadModelRequest { part: Some(part) });
    client.upload_model(tokio_stream::iter(parts)).await.expect("a sound model").into_inner()
}

pub fn submission(model: &str, id: usize, seconds: f64) -> v1::SubmitPlanRequest {
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
pub struct Told {
    /// The plans that were accepted, by request id.
    pub accepted: HashMap<usize, String>,
    /// Best plan of each job.
    pub best: HashMap<String, v1::BetterPlan>,
}

impl Told {
    pub fn better(&mut self, job: &str, plan: v1::BetterPlan) {
        if self.best.get(job).is_none_or(|old| old.number < plan.number) {
            self.best.insert(job.to_owned(), plan);
        }
    }

    /// All of it is still there, and no worse.
    pub async fn check(&self, client: &mut Client, model: &v1::Model) {
        let got = client.get_model(v1::GetModelRequest { name: model.name.clone() }).await;
        assert_eq!(got.expect("the model").into_inner(), *model);
        let (mut jobs, mut page_token) = (HashMap::new(), String::new());
        loop {
            let request = v1::ListPlansRequest { page_size: 200, page_token, ..Default::default() };
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

/// Follows a job until a report says that so many rounds were made; the rounds told on the way.
pub async fn rounds_up_to(client: &mut Client, job: &str, rounds: u32) -> Vec<u32> {
    let request = v1::WatchPlanRequest { name: job.to_owned(), cuts: false };
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
