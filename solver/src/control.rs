//! What a long computation shares with whoever waits for it: progress, cancelling, a clock.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError};
use std::time::{Duration, Instant};

/// A stage of the pipeline, in order.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Stage {
    /// Mesh read, checked, decimated to the working mesh.
    Mesh,
    /// Mould body built round the model.
    Body,
    /// Holes of model and board found.
    Bridges,
    /// Planning graph and girths.
    Girth,
    /// Rows, bound and plans improve.
    Optimise,
    /// Cut curves straightened and re-checked.
    Curves,
    /// Plan assembled.
    Plan,
}

/// One progress report. `fraction` never goes back within one job.
#[derive(Clone, Debug, PartialEq)]
pub struct Progress {
    /// Where the job is.
    pub stage: Stage,
    /// 0 to 1 of the whole job, by the larger of work done and time used.
    pub fraction: f64,
    /// Seconds since the job started.
    pub elapsed_seconds: f64,
    /// Separation rounds so far.
    pub rounds: u32,
    /// Rows found so far.
    pub rows: u32,
    /// Proved lower bound on the plan's cost (mm), once there is one.
    pub lower_bound: Option<f64>,
    /// Cost (mm) of the best plan so far, once there is one.
    pub best_cost: Option<f64>,
    /// Knife length (mm) of the best plan so far, once there is one.
    pub best_length: Option<f64>,
    /// One sentence in plain words.
    pub message: String,
}

/// Cancelling flag that any thread may set. Work looks at it at least every 100 ms.
#[derive(Clone, Debug, Default)]
pub struct Cancel(Arc<AtomicBool>);

impl Cancel {
    /// A flag that is not set.
    pub fn new() -> Self {
        Self::default()
    }
    /// Ask the work to stop.
    pub fn cancel(&self) {
        self.0.store(true, Ordering::Relaxed);
    }
    /// Whether someone asked the work to stop.
    pub fn is_cancelled(&self) -> bool {
        self.0.load(Ordering::Relaxed)
    }
}

/// The work was cancelled before it had a result.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("cancelled by the caller")]
pub struct Cancelled;

/// No answer came from a thread that was waited for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoAnswer {
    /// The job was cancelled first.
    Cancelled,
    /// The thread ended without one.
    Lost,
}

/// How often whoever waits looks whether the job was cancelled.
const LOOK: Duration = Duration::from_millis(20);

/// Handed through the pipeline: where reports go, whether to stop, what time it is.
pub struct Control<'a> {
    cancel: Cancel,
    started: Instant,
    report: Box<dyn Fn(Progress) + Sync + Send + 'a>,
}

impl<'a> Control<'a> {
    /// A control whose reports go to `report`.
    pub fn new(cancel: Cancel, report: impl Fn(Progress) + Sync + Send + 'a) -> Self {
        Self { cancel, started: Instant::now(), report: Box::new(report) }
    }
    /// A control that nobody listens to.
    pub fn silent() -> Control<'static> {
        Control::new(Cancel::new(), |_| {})
    }
    /// Time since the job started.
    pub fn elapsed(&self) -> Duration {
        self.started.elapsed()
    }
    /// Whether someone asked the work to stop.
    pub fn is_cancelled(&self) -> bool {
        self.cancel.is_cancelled()
    }
    /// Error out if someone asked the work to stop.
    pub fn check(&self) -> Result<(), Cancelled> {
        if self.cancel.is_cancelled() { Err(Cancelled) } else { Ok(()) }
    }
    /// Wait for what another thread sends, no longer than until the job is cancelled: for work that
    /// cannot be interrupted, which is then left to end by itself.
    pub fn wait<T>(&self, answers: &Receiver<T>) -> Result<T, NoAnswer> {
        loop {
            match answers.recv_timeout(LOOK) {
                Ok(answer) => return Ok(answer),
                Err(RecvTimeoutError::Disconnected) => return Err(NoAnswer::Lost),
                Err(RecvTimeoutError::Timeout) if self.is_cancelled() => {
                    return Err(NoAnswer::Cancelled);
                }
                Err(RecvTimeoutError::Timeout) => {}
            }
        }
    }
    /// Send one progress report.
    pub fn report(&self, progress: Progress) {
        (self.report)(progress);
    }
    /// Report a stage with a sentence and no figures.
    pub fn stage(&self, stage: Stage, fraction: f64, message: impl Into<String>) {
        self.report(Progress {
            stage,
            fraction,
            elapsed_seconds: self.elapsed().as_secs_f64(),
            rounds: 0,
            rows: 0,
            lower_bound: None,
            best_cost: None,
            best_length: None,
            message: message.into(),
        });
    }
}
