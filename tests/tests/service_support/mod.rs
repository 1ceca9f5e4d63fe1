//! A real server on a free port of the loopback, and a client of it.
#![allow(dead_code, reason = "each test file uses its own part")]

use std::net::SocketAddr;
use std::sync::Arc;
use std::sync::mpsc;

use slitwright_proto::v1;
use slitwright_proto::v1::cut_planner_client::CutPlannerClient;
use slitwright_proto::v1::upload_model_request::Part;
use slitwright_server::{PlanFault, Planner, ServeConfig, serve};
use slitwright_solver::control::{Control, Progress, Stage};
use slitwright_solver::mesh::{Model, Point, Vector};
use slitwright_solver::plan::{
    BoundFor, Cut, CutKind, Ending, Figures, Hooks, NotTried, Plan, PlanRequest, Reason,
    StopReason, TrialVerdict,
};
pub use slitwright_tests::off;
use tokio::net::TcpListener;
use tokio::sync::oneshot;
use tokio::task::JoinHandle;
use tonic::transport::Channel;
use tonic::{Code, Status};
use tonic_types::StatusExt;

pub type Client = CutPlannerClient<Channel>;

/// A server that runs until it is stopped or dropped.
pub struct Running {
    pub address: SocketAddr,
    stop: Option<oneshot::Sender<()>>,
    served: JoinHandle<()>,
}

impl Running {
    pub async fn start(config: ServeConfig, planner: impl Planner) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").await.expect("a free port");
        let address = listener.local_addr().expect("an address");
        let (stop, stopped) = oneshot::channel::<()>();
        let served = tokio::spawn(async move {
            let shutdown = async {
                // Dropping the sender stops the server too.
                let _ = stopped.await;
            };
            serve(config, listener, Arc::new(planner), shutdown).await.expect("served");
        });
        Self { address, stop: Some(stop), served }
    }

    /// Tells the server to go down and waits until it has.
    pub async fn stop(mut self) {
        drop(self.stop.take());
        self.served.await.expect("the server ended without a panic");
    }
}

/// A server and a client of it.
pub struct TestServer {
    pub client: Client,
    pub channel: Channel,
    running: Running,
}

impl TestServer {
    pub async fn start(config: ServeConfig, planner: impl Planner) -> Self {
        let running = Running::start(config, planner).await;
        let channel = Channel::from_shared(format!("http://{}", running.address))
            .expect("an address")
            .connect()
            .await
            .expect("connected");
        Self { client: CutPlannerClient::new(channel.clone()), channel, running }
    }

    /// Tells the server to go down and waits until it has.
    pub async fn stop(self) {
        drop((self.client, self.channel));
        self.running.stop().await;
    }
}

/// Plans whose course a test decides.
///
/// What the job does depends on the seed of its request, so that one server can show all of it.
pub struct ScriptedPlanner {
    /// Told when a plan begins.
    started: mpsc::Sender<u64>,
}

/// Ends at once with an empty plan.
pub const QUICK: u64 = 1;
/// Runs until it is cancelled, then ends without a plan.
pub const UNTIL_CANCELLED: u64 = 2;
/// Runs until it is cancelled, then ends with the best plan so far.
pub const KEEPS_BEST: u64 = 3;
/// Panics.
pub const PANICS: u64 = 4;
/// Refuses the request.
pub const UNFIT: u64 = 5;
/// Sends a thousand reports without a pause, then ends.
pub const CHATTY: u64 = 6;
/// Finds three better plans, with a report and a checkpoint each, and waits until it is cancelled. Gone
/// on with from the third it finds three more and ends.
pub const STEPWISE: u64 = 7;
/// Leaves a checkpoint and is out of time. The plan's knife length is the seconds that it was given,
/// its cost the seconds less a thousand.
pub const OUT_OF_TIME: u64 = 8;
/// Runs until it is given more time, then does as `OUT_OF_TIME`.
pub const WAITS_FOR_TIME: u64 = 9;
/// Fails with 15 MB of words.
pub const WORDY: u64 = 10;
/// Finds a plan with one cut, and waits until it is cancelled.
pub const WITH_CUTS: u64 = 12;
/// Is out of time without a plan; given more, it ends with one.
pub const FINDS_NOTHING_IN_TIME: u64 = 11;

impl ScriptedPlanner {
    pub fn new() -> (Self, mpsc::Receiver<u64>) {
        let (started, starts) = mpsc::channel();
        (Self { started }, starts)
    }
}

impl Planner for ScriptedPlanner {
    fn plan(
        &self,
        _model: &Model,
        request: &PlanRequest,
        control: &Control<'_>,
        hooks: &Hooks<'_>,
    ) -> Result<Plan, PlanFault> {
        control.stage(Stage::Body, 0.25, "the mould body stands");
        if request.budget.seed == KEEPS_BEST {
            control.report(Progress {
                stage: Stage::Optimise,
                fraction: 0.3,
                elapsed_seconds: 0.0,
                rounds: 1,
                rows: 1,
                lower_bound: Some(0.0),
                best_cost: Some(1.0),
                best_length: Some(1.0),
                message: "a plan to keep".to_owned(),
            });
        }
        // A test that does not care has dropped the other end.
        let _ = self.started.send(request.budget.seed);
        match request.budget.seed {
            UNTIL_CANCELLED | KEEPS_BEST => {
                while !control.is_cancelled() {
                    std::thread::yield_now();
                }
                if request.budget.seed == KEEPS_BEST {
                    Ok(empty_plan(StopReason::Cancelled))
                } else {
                    Err(PlanFault::Cancelled)
                }
            }
            STEPWISE => stepwise(control, hooks),
            OUT_OF_TIME | WAITS_FOR_TIME => {
                let budget = request.budget.seconds;
                let given = || control.with_extra_time(budget);
                while request.budget.seed == WAITS_FOR_TIME && given() <= budget {
                    std::thread::yield_now();
                }
                if let Some(checkpoint) = hooks.checkpoint {
                    checkpoint(b"out of time");
                }
                let plan = empty_plan(StopReason::TimeBudget);
                Ok(Plan { total_length: given(), cost: 1000.0 - given(), ..plan })
            }
            WITH_CUTS => {
                let found = Plan { cuts: vec![one_cut()], ..empty_plan(StopReason::Stalled) };
                if let Some(better) = hooks.better {
                    better(&found);
                }
                while !control.is_cancelled() {
                    std::thread::yield_now();
                }
                Ok(Plan {
                    ending: Ending { stopped_by: StopReason::Cancelled, ..found.ending },
                    ..found
                })
            }
            WORDY => Err(PlanFault::Unfit("words ".repeat(2_500_000))),
            FINDS_NOTHING_IN_TIME if control.with_extra_time(0.0) == 0.0 => {
                Err(PlanFault::NoPlan("out of time".to_owned()))
            }
            PANICS => panic!("as the test asked"),
            UNFIT => Err(PlanFault::Unfit("the gate is nowhere on the model".to_owned())),
            CHATTY => {
                for step in 0..1000 {
                    control.stage(Stage::Optimise, 0.25 + 0.0007 * f64::from(step), "on and on");
                }
                Ok(empty_plan(StopReason::Optimal))
            }
            _ => Ok(empty_plan(StopReason::Optimal)),
        }
    }
}

/// Cost of the plan that `STEPWISE` finds at a step.
pub fn cost_of_step(step: u8) -> f64 {
    100.0 - 10.0 * f64::from(step)
}

fn stepwise(control: &Control<'_>, hooks: &Hooks<'_>) -> Result<Plan, PlanFault> {
    let from = match hooks.resume {
        None => 0,
        Some(&[step]) => step,
        Some(_) => return Err(PlanFault::Checkpoint("not one of these".to_owned())),
    };
    let plan = |step, stopped_by| Plan {
        cost: cost_of_step(step),
        ending: Ending::new(stopped_by, cost_of_step(step), 10.0, BoundFor::Nothing),
        // Known by these words wherever it lies.
        warnings: vec![format!("the plan of step {step}")],
        ..empty_plan(stopped_by)
    };
    for step in from + 1..=from + 3 {
        control.report(Progress {
            stage: Stage::Optimise,
            fraction: 0.1 * f64::from(step),
            elapsed_seconds: f64::from(step),
            rounds: u32::from(step),
            rows: 1,
            lower_bound: Some(10.0),
            best_cost: Some(cost_of_step(step)),
            best_length: Some(0.0),
            message: "a step".to_owned(),
        });
        if let Some(better) = hooks.better {
            better(&plan(step, StopReason::Stalled));
        }
        if let Some(checkpoint) = hooks.checkpoint {
            checkpoint(&[step]);
        }
    }
    if from > 0 {
        return Ok(plan(from + 3, StopReason::Optimal));
    }
    while !control.is_cancelled() {
        std::thread::yield_now();
    }
    Ok(plan(from + 3, StopReason::Cancelled))
}

/// A cut of 7 mm up the plinth's side.
pub fn one_cut() -> Cut {
    let line = [0.0, 7.0].map(|z| Point::new(0.0, 15.0, z)).to_vec();
    Cut {
        order: 1,
        kind: CutKind::FromGate,
        branches: vec![line],
        length: 7.0,
        reason: Reason::CutsBridge { bridge: 0, text: "as the test asked".to_owned() },
        sheets: Vec::new(),
    }
}

/// A plan without cuts.
pub fn empty_plan(stopped_by: StopReason) -> Plan {
    Plan {
        cuts: Vec::new(),
        bridges: Vec::new(),
        near_bridges: Vec::new(),
        sheets: None,
        trial: TrialVerdict::NotRun(NotTried::NotAsked),
        misses: Vec::new(),
        seam_on_show: 0.0,
        two_sides: None,
        hinges: Vec::new(),
        stretches: Vec::new(),
        gate_outline: Vec::new(),
        up: Vector::z(),
        total_length: 0.0,
        cost: 0.0,
        shortfall: 0.0,
        ending: Ending::new(stopped_by, 0.0, 0.0, BoundFor::Nothing),
        rubber_volume: 412.0,
        rubber_mass: 461.0,
        limits: Vec::new(),
        warnings: Vec::new(),
        figures: Figures::default(),
        advice: None,
    }
}

/// A plinth of 40 x 30 x 20 mm, as an OFF file.
pub fn plinth() -> Vec<u8> {
    off(&slitwright_tests::box_mesh([40.0, 30.0, 20.0], [4, 3, 2]))
}

pub fn header() -> v1::UploadHeader {
    v1::UploadHeader {
        format: v1::MeshFormat::Off.into(),
        unit: v1::LengthUnit::Millimetre.into(),
        display_name: "plinth".to_owned(),
        ..Default::default()
    }
}

pub fn part(part: Part) -> v1::UploadModelRequest {
    v1::UploadModelRequest { part: Some(part) }
}

/// Sends a header and the bytes in chunks of `chunk`.
pub async fn upload(
    client: &mut Client,
    header: v1::UploadHeader,
    bytes: &[u8],
    chunk: usize,
) -> Result<v1::Model, Status> {
    let mut messages = vec![part(Part::Header(header))];
    messages.extend(bytes.chunks(chunk).map(|chunk| part(Part::Chunk(chunk.to_vec()))));
    send(client, messages).await
}

/// Sends messages just as they are.
pub async fn send(
    client: &mut Client,
    messages: Vec<v1::UploadModelRequest>,
) -> Result<v1::Model, Status> {
    Ok(client.upload_model(tokio_stream::iter(messages)).await?.into_inner())
}

/// A plinth on the server.
pub async fn uploaded(client: &mut Client) -> v1::Model {
    upload(client, header(), &plinth(), 100).await.expect("a plinth is a sound model")
}

/// A request for a plan with a seed.
pub fn submission(model: &str, seed: u64) -> v1::SubmitPlanRequest {
    v1::SubmitPlanRequest {
        model: model.to_owned(),
        request: Some(v1::PlanRequest {
            budget: Some(v1::Budget { seed: Some(seed), ..Default::default() }),
            ..Default::default()
        }),
        request_id: String::new(),
        ..Default::default()
    }
}

pub async fn submit(client: &mut Client, model: &str, seed: u64) -> v1::PlanJob {
    client.submit_plan(submission(model, seed)).await.expect("queued").into_inner()
}

/// A request with a priority and a time limit.
pub fn submission_with(
    model: &str,
    seed: u64,
    priority: i32,
    seconds: f64,
) -> v1::SubmitPlanRequest {
    let budget =
        v1::Budget { seed: Some(seed), time_limit_seconds: Some(seconds), ..Default::default() };
    let request = v1::PlanRequest { budget: Some(budget), ..Default::default() };
    v1::SubmitPlanRequest {
        model: model.to_owned(),
        request: Some(request),
        priority,
        ..Default::default()
    }
}

/// A job with its plan.
pub async fn get(client: &mut Client, name: &str) -> v1::PlanJob {
    let request = v1::GetPlanRequest { name: name.to_owned(), read_mask: None };
    client.get_plan(request).await.expect("found").into_inner()
}

/// All jobs, without their plans.
pub async fn list(client: &mut Client) -> Vec<v1::PlanJob> {
    let (mut jobs, mut page_token) = (Vec::new(), String::new());
    loop {
        let request = v1::ListPlansRequest { page_size: 200, page_token, ..Default::default() };
        let page = client.list_plans(request).await.expect("a page").into_inner();
        jobs.extend(page.plans);
        page_token = page.next_page_token;
        if page_token.is_empty() {
            return jobs;
        }
    }
}

/// Asks a job to stop.
pub async fn cancel(client: &mut Client, name: &str) -> v1::PlanJob {
    let request = v1::CancelPlanRequest { name: name.to_owned() };
    client.cancel_plan(request).await.expect("asked").into_inner()
}

/// Waits until a plan begins, and tells its seed.
pub fn next_start(starts: &mpsc::Receiver<u64>) -> u64 {
    tokio::task::block_in_place(|| starts.recv()).expect("a plan begins")
}

/// Follows a job to its end: the progress on the way, and the job as it ended.
pub async fn watch_to_end(client: &mut Client, name: &str) -> (Vec<v1::Progress>, v1::PlanJob) {
    use v1::plan_event::Event;
    let mut events = client
        .watch_plan(v1::WatchPlanRequest { name: name.to_owned(), cuts: false })
        .await
        .expect("watched")
        .into_inner();
    let mut progress = Vec::new();
    loop {
        match events.message().await.expect("an event").and_then(|event| event.event) {
            Some(Event::Progress(report)) => progress.push(report),
            Some(Event::Ended(job)) => {
                let after = events.message().await.expect("the end of the stream");
                assert_eq!(after, None, "no event comes after the end");
                return (progress, job);
            }
            Some(Event::Better(_)) => {}
            None => panic!("the stream closed before the job ended"),
        }
    }
}

/// The code of a status and the fields that it names.
pub fn fields(status: &Status) -> (Code, Vec<String>) {
    let fields = status.get_details_bad_request().map_or_else(Vec::new, |bad| {
        assert!(
            bad.field_violations.iter().all(|violation| !violation.description.is_empty()),
            "each violation says what is wrong"
        );
        bad.field_violations.into_iter().map(|violation| violation.field).collect()
    });
    (status.code(), fields)
}

/// Asserts that a call was refused for these fields.
#[track_caller]
pub fn assert_invalid<T: std::fmt::Debug>(outcome: Result<T, Status>, expected: &[&str]) {
    let status = outcome.expect_err("refused");
    let (code, found) = fields(&status);
    assert_eq!(code, Code::InvalidArgument, "{status:?}");
    assert_eq!(found, expected, "{status:?}");
}
