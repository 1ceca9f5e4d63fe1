//! Jobs, the queue they wait in, and the threads that work on them.
//!
//! Work runs on plain threads, so that a long plan never holds up a connection. Each job's state
//! is a watched value: a reader always sees the newest one, and nobody waits for a slow reader.

use std::collections::VecDeque;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::thread::JoinHandle;
use std::time::SystemTime;

use slitwright_proto::v1;
use slitwright_solver::control::{Cancel, Control};
use slitwright_solver::mesh::Model;
use slitwright_solver::plan::{PlanRequest, StopReason};
use tokio::sync::watch;

use crate::convert::{plan_to_proto, progress_to_proto};
use crate::planner::{PlanFault, Planner};
use crate::store::timestamp;

/// A plan being made, or made.
pub struct Job {
    /// `plans/{id}`.
    pub name: String,
    /// `models/{id}`.
    pub model_name: String,
    /// What was asked, every default filled in.
    pub request: v1::PlanRequest,
    /// The caller's own id for the request.
    pub request_id: Option<String>,
    model: Arc<Model>,
    solver_request: PlanRequest,
    submit_time: SystemTime,
    cancel: Cancel,
    status: watch::Sender<JobStatus>,
}

/// Where a job is.
#[derive(Clone, Debug, Default)]
pub struct JobStatus {
    state: v1::JobState,
    start_time: Option<SystemTime>,
    end_time: Option<SystemTime>,
    /// The newest report.
    pub progress: Option<v1::Progress>,
    plan: Option<Arc<v1::Plan>>,
    failure: Option<v1::Failure>,
}

impl JobStatus {
    /// Whether nothing more will happen.
    pub fn has_ended(&self) -> bool {
        matches!(
            self.state,
            v1::JobState::Succeeded | v1::JobState::Failed | v1::JobState::Cancelled
        )
    }
}

/// Whether an answer carries the plan itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WithPlan {
    /// The whole job.
    Yes,
    /// For lists.
    No,
}

impl Job {
    /// A job that waits.
    pub fn new(
        model_name: String,
        model: Arc<Model>,
        request: v1::PlanRequest,
        solver_request: PlanRequest,
        request_id: Option<String>,
    ) -> Self {
        Self {
            name: format!("plans/{}", uuid::Uuid::new_v4()),
            model_name,
            request,
            request_id,
            model,
            solver_request,
            submit_time: SystemTime::now(),
            cancel: Cancel::new(),
            status: watch::Sender::new(JobStatus {
                state: v1::JobState::Queued,
                ..JobStatus::default()
            }),
        }
    }

    /// Whether nothing more will happen.
    pub fn has_ended(&self) -> bool {
        self.status.borrow().has_ended()
    }

    /// A view that follows the job.
    pub fn watch(&self) -> watch::Receiver<JobStatus> {
        self.status.subscribe()
    }

    /// As the protocol shows it.
    pub fn to_proto(&self, with_plan: WithPlan) -> v1::PlanJob {
        let status = self.status.borrow().clone();
        v1::PlanJob {
            name: self.name.clone(),
            model: self.model_name.clone(),
            request: Some(self.request.clone()),
            state: status.state.into(),
            submit_time: Some(timestamp(self.submit_time)),
            start_time: status.start_time.map(timestamp),
            end_time: status.end_time.map(timestamp),
            progress: status.progress,
            plan: match with_plan {
                WithPlan::Yes => status.plan.as_deref().cloned(),
                WithPlan::No => None,
            },
            failure: status.failure,
        }
    }

    fn run(&self, planner: &dyn Planner) {
        self.status.send_modify(|status| {
            if !status.has_ended() {
                status.state = v1::JobState::Running;
                status.start_time = Some(SystemTime::now());
            }
        });
        let control = Control::new(self.cancel.clone(), |progress| {
            self.status.send_if_modified(|status| {
                let running = !status.has_ended();
                if running {
                    status.progress = Some(progress_to_proto(&progress));
                }
                running
            });
        });
        // A fault in the solver must cost this job only. The job's own state is behind a watched
        // value that is whole at any moment, so nothing half done can be seen afterwards.
        let outcome = catch_unwind(AssertUnwindSafe(|| {
            planner.plan(&self.model, &self.solver_request, &control)
        }));
        match outcome {
            Ok(Ok(plan)) => {
                let state = match plan.stopped_by {
                    StopReason::Cancelled => v1::JobState::Cancelled,
                    _ => v1::JobState::Succeeded,
                };
                self.end(state, Some(plan_to_proto(&plan)), None);
            }
            Ok(Err(PlanFault::Cancelled)) => self.end(v1::JobState::Cancelled, None, None),
            Ok(Err(PlanFault::Unfit(message))) => {
                self.fail(tonic::Code::FailedPrecondition, message);
            }
            Ok(Err(PlanFault::Internal(message))) => self.fail(tonic::Code::Internal, message),
            Err(_panic) => {
                tracing::error!(job = self.name, "the solver panicked");
                self.fail(
                    tonic::Code::Internal,
                    "the solver stopped on a fault of its own; the server goes on. Please report \
                     it with the model and the request."
                        .to_owned(),
                );
            }
        }
    }

    fn fail(&self, code: tonic::Code, message: String) {
        let failure = v1::Failure { code: code.into(), message };
        self.end(v1::JobState::Failed, None, Some(failure));
    }

    fn end(&self, state: v1::JobState, plan: Option<v1::Plan>, failure: Option<v1::Failure>) {
        let ended = self.status.send_if_modified(|status| {
            // A cancelled job has ended before its thread comes back.
            if status.has_ended() {
                return false;
            }
            status.state = state;
            status.end_time = Some(SystemTime::now());
            status.plan = plan.map(Arc::new);
            status.failure = failure;
            true
        });
        if ended {
            tracing::info!(job = self.name, state = state.as_str_name(), "job ended");
        }
    }

    /// Whether there is a best plan so far.
    fn has_plan(&self) -> bool {
        let status = self.status.borrow();
        status.has_ended() || status.progress.as_ref().is_some_and(|p| p.best_cost_mm.is_some())
    }
}

/// The queue has as many waiting jobs as it takes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum QueueError {
    /// Every place is taken.
    #[error("{0} plans are waiting already: try again when one has ended")]
    Full(usize),
    /// The server is going down.
    #[error("the server is shutting down")]
    Closed,
}

/// A bounded queue and its workers.
pub struct Workers {
    queue: Arc<Queue>,
    threads: Mutex<Vec<JoinHandle<()>>>,
}

struct Queue {
    most: usize,
    state: Mutex<QueueState>,
    changed: Condvar,
}

#[derive(Default)]
struct QueueState {
    waiting: VecDeque<Arc<Job>>,
    closed: bool,
}

impl Workers {
    /// Starts `threads` workers on a queue of at most `most_waiting` jobs.
    pub fn start(
        planner: Arc<dyn Planner>,
        threads: usize,
        most_waiting: usize,
    ) -> std::io::Result<Self> {
        let queue = Arc::new(Queue {
            most: most_waiting,
            state: Mutex::default(),
            changed: Condvar::new(),
        });
        let threads = (1..=threads)
            .map(|number| {
                let (queue, planner) = (Arc::clone(&queue), Arc::clone(&planner));
                std::thread::Builder::new().name(format!("plan-worker-{number}")).spawn(move || {
                    while let Some(job) = queue.next() {
                        job.run(planner.as_ref());
                    }
                })
            })
            .collect::<Result<_, _>>()?;
        Ok(Self { queue, threads: Mutex::new(threads) })
    }

    /// Puts a job at the end of the queue.
    pub fn enqueue(&self, job: &Arc<Job>) -> Result<(), QueueError> {
        let mut state = self.queue.state();
        if state.closed {
            return Err(QueueError::Closed);
        }
        if state.waiting.len() >= self.queue.most {
            return Err(QueueError::Full(self.queue.most));
        }
        state.waiting.push_back(Arc::clone(job));
        self.queue.changed.notify_one();
        Ok(())
    }

    /// Asks a job to stop. One that waits ends here and now and frees its place. So does one that
    /// runs and has no plan to keep, though its thread is only free when the solver next looks at
    /// the flag. One with a plan ends when the solver hands that over.
    pub fn cancel(&self, job: &Job) {
        job.cancel.cancel();
        let waited = {
            let mut state = self.queue.state();
            let before = state.waiting.len();
            state.waiting.retain(|waiting| waiting.name != job.name);
            state.waiting.len() < before
        };
        if waited || !job.has_plan() {
            job.end(v1::JobState::Cancelled, None, None);
        }
    }

    /// Takes no more jobs; the threads end after what they are working on.
    pub fn close(&self) {
        self.queue.state().closed = true;
        self.queue.changed.notify_all();
    }

    /// Waits for the threads to end. Blocks.
    pub fn join(&self) {
        let threads =
            std::mem::take(&mut *self.threads.lock().unwrap_or_else(PoisonError::into_inner));
        for thread in threads {
            if thread.join().is_err() {
                tracing::error!("a worker thread ended by a panic outside any job");
            }
        }
    }
}

impl Queue {
    fn state(&self) -> MutexGuard<'_, QueueState> {
        // Each holder makes one whole change; a panic cannot leave a half of one.
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The next job, or `None` once the queue is closed and empty.
    fn next(&self) -> Option<Arc<Job>> {
        let mut state = self.state();
        loop {
            if let Some(job) = state.waiting.pop_front() {
                return Some(job);
            }
            if state.closed {
                return None;
            }
            state = self.changed.wait(state).unwrap_or_else(PoisonError::into_inner);
        }
    }
}
