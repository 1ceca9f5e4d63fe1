//! What the service needs of whatever keeps its models and jobs for good.
//!
//! A call that returns `Ok` is durable: it outlives the process from then on. All calls block.
//!
//! The queue lives in the ledger too. A worker claims a job and works on it as a [`Run`]; what it
//! finds it hands in under that run. When the job has been ended, or given to another worker, in the
//! meantime, this is refused with [`StoreError::RunLost`]. So several processes may share one ledger:
//! a claim is a lease, and each [`Ledger::keep`] renews it.

use std::time::Duration;

use slitwright_proto::v1;

use super::StoreError;

/// A model as it is kept. Its file lies elsewhere, under its SHA-256.
#[derive(Clone, Debug, PartialEq)]
pub struct ModelEntry {
    /// As the protocol shows it.
    pub message: v1::Model,
    /// How the mesh is prepared.
    pub options: v1::PrepareOptions,
}

/// Whose a job or a model is, and how much of them its owner may have. A job is whoever's who queued it
/// last.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Owner {
    /// Name of the token.
    pub name: String,
    /// Most jobs that wait or are worked on.
    pub most_jobs: Option<u32>,
    /// Most bytes of model files.
    pub most_model_bytes: Option<u64>,
}

/// A job that is asked for.
#[derive(Clone, Debug, PartialEq)]
pub struct NewJob {
    /// `plans/{id}`.
    pub name: String,
    /// `models/{id}`.
    pub model: String,
    /// What is asked, every default filled in.
    pub request: v1::PlanRequest,
    /// The caller's own id for the request.
    pub request_id: Option<String>,
    /// Place in the queue.
    pub priority: i32,
    /// Seconds that the request gives.
    pub seconds: f64,
    /// Who asks.
    pub owner: Option<Owner>,
}

/// More time for a job.
#[derive(Clone, Debug, PartialEq)]
pub struct Extension {
    /// Seconds on top.
    pub seconds: f64,
    /// Most seconds that a job may have in all.
    pub most_seconds: f64,
    /// The caller's own id for this.
    pub request_id: Option<String>,
    /// Who asks.
    pub owner: Option<Owner>,
}

/// One stretch of work on a job. A job has a new one each time that it is claimed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Run {
    /// The job.
    pub job: String,
    /// Which of the job's runs.
    pub number: i64,
}

/// A job that is to be worked on.
#[derive(Clone, Debug)]
pub struct Claimed {
    /// The right to work on it.
    pub run: Run,
    /// The job, without its plan.
    pub job: v1::PlanJob,
    /// Its model.
    pub model: ModelEntry,
    /// Where an earlier run was, and the seconds worked until then.
    pub checkpoint: Option<Checkpoint>,
}

/// Where a run was.
#[derive(Clone, Debug, PartialEq)]
pub struct Checkpoint {
    /// What the solver gave; it alone knows what it means.
    pub bytes: Vec<u8>,
    /// Seconds worked until then, over all runs.
    pub used_seconds: f64,
}

/// What a run hands in on its way.
#[derive(Clone, Copy, Debug, Default)]
pub struct Step<'a> {
    /// Seconds worked, over all runs.
    pub used_seconds: f64,
    /// The newest report.
    pub progress: Option<&'a v1::Progress>,
    /// Where the solver is.
    pub checkpoint: Option<&'a [u8]>,
    /// A plan better than all before.
    pub better: Option<(&'a v1::BetterPlan, &'a v1::Plan)>,
    /// The same in full, to be drawn from.
    pub record: Option<&'a [u8]>,
}

/// How a run ends the job.
#[derive(Clone, Debug)]
pub struct Ending {
    /// `SUCCEEDED`, `FAILED` or `CANCELLED`.
    pub state: v1::JobState,
    /// Seconds worked, over all runs.
    pub used_seconds: f64,
    /// The last report.
    pub progress: Option<v1::Progress>,
    /// The plan to keep in place of the best so far, with its figures.
    pub plan: Option<(v1::BetterPlan, v1::Plan)>,
    /// The same in full, to be drawn from. `None` leaves what is there of a plan of this number.
    pub record: Option<Vec<u8>>,
    /// What went wrong.
    pub failure: Option<v1::Failure>,
    /// For a job that is out of time: the seconds on top of its request's that the run knew of. When
    /// it has been given more since, it is queued again instead.
    pub time_given: Option<f64>,
}

/// What others want of a job that is being worked on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Orders {
    /// That it stops.
    pub cancel: bool,
    /// Seconds it has on top of its request's, all told.
    pub extra_seconds: f64,
}

/// When a job that is being worked on is cancelled.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CancelRunning {
    /// It ends here and now; what its run hands in later is refused.
    AtOnce,
    /// Its run hears of it and ends it.
    ByItsRun,
}

/// Which jobs are wanted, and in which order.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Listing {
    /// Position to go on from.
    pub after: Option<u64>,
    /// Most jobs.
    pub most: usize,
    /// The newest first, not the oldest.
    pub newest_first: bool,
    /// Only those in this state.
    pub state: Option<v1::JobState>,
    /// Only those of this model.
    pub model: Option<String>,
}

/// A part of a list.
#[derive(Clone, Debug)]
pub struct Page<T> {
    /// Items, in their order.
    pub items: Vec<T>,
    /// Position to go on from, when there are more.
    pub next: Option<u64>,
}

/// How much there is.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// Jobs in each state that any is in.
    pub jobs: Vec<(v1::JobState, u64)>,
    /// Models.
    pub models: u64,
    /// Bytes of their files; one that several models share counts once.
    pub model_bytes: u64,
}

/// Keeps models and jobs.
pub trait Ledger: Send + Sync + 'static {
    /// Whether a model file of `bytes` more would fit, and its owner may have it.
    fn check_room(&self, bytes: u64, owner: Option<&Owner>) -> Result<(), StoreError>;
    /// One model.
    fn model(&self, name: &str) -> Result<ModelEntry, StoreError>;
    /// Models after a position.
    fn models(&self, after: u64, most: usize) -> Result<Page<ModelEntry>, StoreError>;

    /// How much there is.
    fn counts(&self) -> Result<Counts, StoreError>;

    /// Queues a job, unless its request id names one that is there already: then that one comes
    /// back.
    fn submit(&self, job: &NewJob) -> Result<v1::PlanJob, StoreError>;
    /// The job that a request with this request id has made already, if it was for the same.
    fn submitted(&self, job: &NewJob) -> Result<Option<v1::PlanJob>, StoreError>;
    /// One job, without its plan.
    fn job(&self, name: &str) -> Result<v1::PlanJob, StoreError>;
    /// One job, with its plan if it has one.
    fn job_with_plan(&self, name: &str) -> Result<v1::PlanJob, StoreError>;
    /// The same, and its plan in full, which plans have not that an earlier version of the program stored.
    fn job_with_record(&self, name: &str) -> Result<(v1::PlanJob, Option<Vec<u8>>), StoreError>;
    /// Jobs of a list, without their plans. A job whose request is damaged is listed without it, and
    /// with a failure that says so.
    fn jobs(&self, listing: &Listing) -> Result<Page<v1::PlanJob>, StoreError>;
    /// Figures of the better plans of a job after number `after`.
    fn better_plans(&self, name: &str, after: u32) -> Result<Vec<v1::BetterPlan>, StoreError>;
    /// Ends a job that waits, and one that is worked on as `running` says.
    fn cancel(&self, name: &str, running: CancelRunning) -> Result<v1::PlanJob, StoreError>;
    /// Gives a job more time, and queues it again if it has ended. Tells whether this was new: a
    /// repeat of a request id changes nothing.
    fn extend(&self, name: &str, more: &Extension) -> Result<(v1::PlanJob, bool), StoreError>;
    /// Gives a job another place in the queue.
    fn prioritise(&self, name: &str, priority: i32) -> Result<v1::PlanJob, StoreError>;
    /// Forgets a job that has ended.
    fn remove_job(&self, name: &str) -> Result<(), StoreError>;
    /// Forgets ended jobs beyond the limits of number and age; tells how many.
    fn forget_old(&self) -> Result<usize, StoreError>;

    /// Takes the next job from the queue, of those that need at most `most_seconds` more.
    fn claim(&self, most_seconds: Option<f64>) -> Result<Option<Claimed>, StoreError>;
    /// Keeps what a run has found so far, and tells what others want of it.
    fn keep(&self, run: &Run, step: &Step<'_>) -> Result<Orders, StoreError>;
    /// The run is over and so is the job, unless it has been given more time. Tells its state.
    fn end(&self, run: &Run, ending: &Ending) -> Result<v1::JobState, StoreError>;
    /// The run is over and the job is not: it waits again, in its old place. If someone has asked it to
    /// stop it ends.
    fn give_back(&self, run: &Run) -> Result<(), StoreError>;
    /// Puts jobs back into the queue whose workers are gone; tells how many. One that was lost so
    /// too often without getting any further ends as failed.
    fn recover(&self) -> Result<usize, StoreError>;

    /// What other processes have to do with this ledger; `None` when it is this process's alone.
    fn group(&self) -> Option<&dyn Group> {
        None
    }

    /// Whether changes can be kept, by making one that means nothing.
    fn check_writable(&self) -> Result<(), StoreError>;

    /// Lets go of everything. Later calls fail.
    fn close(&self);
}

/// Models that come and go with their files.
pub trait ModelFiles: Send + Sync + 'static {
    /// Keeps a model and its file.
    fn add(
        &self,
        model: &ModelEntry,
        owner: Option<&Owner>,
        bytes: &[u8],
    ) -> Result<(), StoreError>;
    /// Forgets a model that no running or waiting job needs, and its file when no other model shares
    /// it.
    fn remove(&self, name: &str) -> Result<(), StoreError>;
    /// The bytes of a file, if they are as they were written.
    fn read(&self, sha256: &str) -> Result<Vec<u8>, StoreError>;
}

/// What processes do that share a ledger.
pub trait Group {
    /// How long a claim holds unless it is renewed.
    fn lease(&self) -> Duration;
    /// Renews the leases of runs. Tells those that still have their job, and what others want of it.
    fn renew(&self, runs: &[Run]) -> Result<Vec<(Run, Orders)>, StoreError>;
    /// Waits for what other processes do, and tells of it until `hear` says no. Fails when the
    /// ledger cannot be reached any more.
    fn listen(&self, hear: &dyn Fn(News) -> bool) -> Result<(), StoreError>;
}

/// What another process has done.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum News {
    /// Listening has begun: anything may have happened before.
    Listening,
    /// Nothing for a moment.
    Silence,
    /// A job waits.
    Queued,
    /// Something is wanted of a job that is worked on.
    Orders,
    /// There is something new to read about a job.
    Job(String),
}

/// Whether nothing more happens to a job unless someone asks for it.
pub fn has_ended(state: v1::JobState) -> bool {
    matches!(state, v1::JobState::Succeeded | v1::JobState::Failed | v1::JobState::Cancelled)
}
