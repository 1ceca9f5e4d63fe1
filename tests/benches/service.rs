//! What the store costs the service: `cargo bench -p slitwright-tests --bench service`, or the same with
//! `-- database` under `tests/with-postgres.sh`.
//!
//! The server runs in a process of its own, with a planner that only waits, so that its memory and its
//! times are those of the service alone. Columns: what was done; how often; median, 99th percentile
//! and greatest time; resident memory of the server afterwards.

use std::error::Error;
use std::io::{BufRead as _, BufReader};
use std::process::{Child, Command, ExitCode, Stdio};
use std::sync::Arc;
use std::time::{Duration, Instant};

use slitwright_proto::v1;
use slitwright_proto::v1::cut_planner_client::CutPlannerClient;
use slitwright_proto::v1::upload_model_request::Part;
use slitwright_server::store::DatabaseConfig;
use slitwright_server::{PlanFault, Planner, ServeConfig, StoreLimits, serve};
use slitwright_solver::control::Control;
use slitwright_solver::mesh::Model;
use slitwright_solver::plan::{Hooks, Plan, PlanRequest};
use slitwright_tests::{TestDatabase, bench_words, off, sphere_on_gate};
use tokio::net::TcpListener;
use tonic::transport::Channel;

type Client = CutPlannerClient<Channel>;
type Outcome<T> = Result<T, Box<dyn Error>>;

/// Requests one after the other, and then the same number from several clients at a time.
const REQUESTS: usize = 1000;
const CLIENTS: usize = 10;

/// Waits until it is told to stop.
struct Idle;

impl Planner for Idle {
    fn plan(
        &self,
        _model: &Model,
        _request: &PlanRequest,
        control: &Control<'_>,
        _hooks: &Hooks<'_>,
    ) -> Result<Plan, PlanFault> {
        while !control.is_cancelled() {
            std::thread::sleep(Duration::from_millis(20));
        }
        Err(PlanFault::Cancelled)
    }
}

fn main() -> ExitCode {
    let words = bench_words();
    let runtime = match tokio::runtime::Builder::new_multi_thread().enable_all().build() {
        Ok(runtime) => runtime,
        Err(error) => {
            eprintln!("service: {error}");
            return ExitCode::FAILURE;
        }
    };
    let outcome = runtime.block_on(async {
        match words.as_slice() {
            [] => {
                let folder = tempfile::tempdir()?;
                measure(["folder", folder.path().to_str().ok_or("an odd path")?]).await
            }
            [word] if word == "database" => {
                let database = TestDatabase::new();
                measure(["database", &database.url()]).await
            }
            [word, kind, place] if word == "serve" => serve_in(kind, place).await,
            _ => Err("give `database` or no arguments".into()),
        }
    });
    match outcome {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("service: {error}");
            ExitCode::FAILURE
        }
    }
}

async fn serve_in(kind: &str, place: &str) -> Outcome<()> {
    let listener = TcpListener::bind("127.0.0.1:0").await?;
    println!("{}", listener.local_addr()?);
    let store = StoreLimits { waiting_jobs: 10_000, ..StoreLimits::default() };
    let (folder, database) = match kind {
        "database" => (None, Some(DatabaseConfig::new(place, None)?)),
        _ => (Some(place.into()), None),
    };
    let config = ServeConfig { folder, database, store, ..ServeConfig::default() };
    Ok(serve(config, listener, Arc::new(Idle), std::future::pending()).await?)
}

struct Server {
    child: Child,
    client: Client,
}

impl Server {
    async fn start(place: [&str; 2]) -> Outcome<Self> {
        let mut child = Command::new(std::env::current_exe()?)
            .arg("serve")
            .args(place)
            .stdout(Stdio::piped())
            .spawn()?;
        let mut address = String::new();
        let stdout = child.stdout.take().ok_or("no stdout")?;
        BufReader::new(stdout).read_line(&mut address)?;
        let client = CutPlannerClient::connect(format!("http://{}", address.trim())).await?;
        Ok(Self { child, client })
    }

    fn kill(&mut self) -> Outcome<()> {
        self.child.kill()?;
        self.child.wait()?;
        Ok(())
    }

    /// Resident memory, MiB: VmRSS of Linux's proc(5).
    fn memory(&self) -> Outcome<f64> {
        let status = std::fs::read_to_string(format!("/proc/{}/status", self.child.id()))?;
        let line = status.lines().find_map(|line| line.strip_prefix("VmRSS:"));
        let kib = line.and_then(|line| line.split_whitespace().next()).ok_or("no VmRSS")?;
        Ok(kib.parse::<f64>()? / 1024.0)
    }

    fn row(&self, what: &str, mut times: Vec<Duration>) -> Outcome<()> {
        times.sort();
        let at = |share: f64| {
            let index = (share * (times.len() - 1) as f64).round() as usize;
            times.get(index).map_or(0.0, |time| 1e3 * time.as_secs_f64())
        };
        println!(
            "{what:<44} {:>6} {:>9.2} {:>9.2} {:>9.2} {:>9.1}",
            times.len(),
            at(0.5),
            at(0.99),
            at(1.0),
            self.memory()?
        );
        Ok(())
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        // Gone already, unless a measurement has failed.
        let _ = self.child.kill();
    }
}

async fn measure(place: [&str; 2]) -> Outcome<()> {
    println!(
        "{:<44} {:>6} {:>9} {:>9} {:>9} {:>9}",
        "what", "times", "50 % ms", "99 % ms", "most ms", "RSS MiB"
    );
    let since = Instant::now();
    let mut server = Server::start(place).await?;
    server.client.list_plans(v1::ListPlansRequest::default()).await?;
    server.row("start with nothing, to the first answer", vec![since.elapsed()])?;

    // A ball, about as finely meshed as a scan.
    let file = off(&sphere_on_gate(40.0, 12.0, 0.7));
    let since = Instant::now();
    let model = upload(&mut server.client, &file).await?;
    let triangles = model.report.as_ref().map_or(0, |report| report.triangles);
    server.row(&format!("upload of {triangles} triangles"), vec![since.elapsed()])?;

    let mut times = Vec::new();
    for _ in 0..REQUESTS {
        times.push(submit(&mut server.client, &model.name).await?);
    }
    server.row("submit to accepted, one client", times)?;
    let mut clients = tokio::task::JoinSet::new();
    for _ in 0..CLIENTS {
        let (mut client, name) = (server.client.clone(), model.name.clone());
        clients.spawn(async move {
            let mut times = Vec::new();
            for _ in 0..REQUESTS / CLIENTS {
                times.push(submit(&mut client, &name).await.map_err(|error| error.to_string())?);
            }
            Ok::<_, String>(times)
        });
    }
    let mut times = Vec::new();
    while let Some(client) = clients.join_next().await {
        times.extend(client??);
    }
    server.row(&format!("submit to accepted, {CLIENTS} clients at a time"), times)?;
    let mut times = Vec::new();
    for _ in 0..20 {
        let since = Instant::now();
        let page = v1::ListPlansRequest { page_size: 200, ..Default::default() };
        server.client.list_plans(page).await?;
        times.push(since.elapsed());
    }
    server.row("a page of 200 plans", times)?;

    server.kill()?;
    let since = Instant::now();
    let mut server = Server::start(place).await?;
    server.client.list_plans(v1::ListPlansRequest::default()).await?;
    let resumed = since.elapsed();
    server.row(&format!("killed, start with {} waiting", 2 * REQUESTS), vec![resumed])?;
    // In a database the killed process's plan counts as worked on until its lease is over.
    if place[0] == "folder" {
        while !running(&mut server.client).await? {
            tokio::time::sleep(Duration::from_millis(1)).await;
        }
        server.row("the same, until a plan is worked on again", vec![since.elapsed()])?;
    }
    server.kill()
}

async fn running(client: &mut Client) -> Outcome<bool> {
    let request = v1::ListPlansRequest { page_size: 1, ..Default::default() };
    let page = client.list_plans(request).await?.into_inner();
    Ok(page.plans.iter().any(|job| job.state() == v1::JobState::Running))
}

async fn submit(client: &mut Client, model: &str) -> Outcome<Duration> {
    let request = v1::SubmitPlanRequest { model: model.to_owned(), ..Default::default() };
    let since = Instant::now();
    client.submit_plan(request).await?;
    Ok(since.elapsed())
}

async fn upload(client: &mut Client, file: &[u8]) -> Outcome<v1::Model> {
    let header = v1::UploadHeader {
        format: v1::MeshFormat::Off.into(),
        unit: v1::LengthUnit::Millimetre.into(),
        ..Default::default()
    };
    let mut parts = vec![Part::Header(header)];
    parts.extend(file.chunks(1 << 20).map(|chunk| Part::Chunk(chunk.to_vec())));
    let parts = parts.into_iter().map(|part| v1::UploadModelRequest { part: Some(part) });
    Ok(client.upload_model(tokio_stream::iter(parts.collect::<Vec<_>>())).await?.into_inner())
}
