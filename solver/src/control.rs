//! What a long computation shares with whoever waits for it: progress, cancelling, pausing, a clock.

use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::mpsc::{self, Receiver, RecvTimeoutError};
use std::sync::{Arc, Condvar, Mutex, PoisonError};
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
    /// The cut rubber comes off the model, by simulation.
    Trial,
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
    /// Error out if someone asked the work to stop.
    pub fn check(&self) -> Result<(), Cancelled> {
        if self.is_cancelled() { Err(Cancelled) } else { Ok(()) }
    }
}

/// Work of a library that cannot be interrupted, on a thread of its own: whoever cancels walks away from it, and it is left
/// to end by itself.
pub fn apart<T: Send + 'static>(
    cancel: &Cancel,
    work: impl FnOnce() -> T + Send + 'static,
) -> Result<T, Cancelled> {
    cancel.check()?;
    let (sender, receiver) = mpsc::sync_channel(1);
    let thread = std::thread::spawn(move || {
        // Nobody may be there any more.
        let _ = sender.send(work());
    });
    loop {
        match receiver.recv_timeout(LOOK) {
            Ok(answer) => return Ok(answer),
            Err(RecvTimeoutError::Timeout) => cancel.check()?,
            // It panicked: that goes on here.
            Err(RecvTimeoutError::Disconnected) => match thread.join() {
                Err(panic) => std::panic::resume_unwind(panic),
                Ok(()) => return Err(Cancelled),
            },
        }
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

/// Holds a job up between two steps of its work, so that another one has the machine to itself. A
/// job that is held keeps its memory; its clock stands still.
#[derive(Clone, Debug, Default)]
pub struct Pause(Arc<(Mutex<bool>, Condvar)>);

impl Pause {
    /// A pause that is not set.
    pub fn new() -> Self {
        Self::default()
    }
    /// Hold the job up, or let it go on.
    pub fn set(&self, held: bool) {
        let (flag, changed) = &*self.0;
        *flag.lock().unwrap_or_else(PoisonError::into_inner) = held;
        changed.notify_all();
    }
    /// Whether the job is to be held up.
    pub fn is_set(&self) -> bool {
        *self.0.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
    /// Wait until it is not set, no longer than `most`.
    fn wait(&self, most: Duration) {
        let (flag, changed) = &*self.0;
        let held = flag.lock().unwrap_or_else(PoisonError::into_inner);
        // Spoilt locks and early wake-ups are as good as the end of the wait: the caller looks again.
        drop(changed.wait_timeout_while(held, most, |held| *held));
    }
}

/// Seconds that a job gets on top of its budget while it runs.
#[derive(Clone, Debug, Default)]
pub struct Extra(Arc<AtomicU64>);

impl Extra {
    /// None so far.
    pub fn new() -> Self {
        Self::default()
    }
    /// Give more time. What is not a positive number gives none.
    pub fn add(&self, seconds: f64) {
        // The cast saturates, and turns what is no number into zero.
        self.0.fetch_add((seconds * 1e3) as u64, Ordering::Relaxed);
    }
    /// All seconds given so far.
    pub fn seconds(&self) -> f64 {
        self.0.load(Ordering::Relaxed) as f64 / 1e3
    }
}

/// Handed through the pipeline: where reports go, whether to stop, what time it is.
pub struct Control<'a> {
    cancel: Cancel,
    pause: Pause,
    extra: Extra,
    /// Time since the job began, or was taken up again.
    clock: Box<dyn Fn() -> Duration + Sync + Send + 'a>,
    /// Time used by earlier runs of the job.
    used: Duration,
    /// Time that the job was held up, microseconds.
    held: AtomicU64,
    /// The greatest fraction reported, as bits: those of numbers that are not negative keep their order.
    furthest: AtomicU64,
    report: Box<dyn Fn(Progress) + Sync + Send + 'a>,
}

impl<'a> Control<'a> {
    /// A control whose reports go to `report`.
    pub fn new(cancel: Cancel, report: impl Fn(Progress) + Sync + Send + 'a) -> Self {
        let started = Instant::now();
        Self {
            cancel,
            pause: Pause::new(),
            extra: Extra::new(),
            clock: Box::new(move || started.elapsed()),
            used: Duration::ZERO,
            held: AtomicU64::new(0),
            furthest: AtomicU64::new(0),
            report: Box::new(report),
        }
    }
    /// The job goes on after earlier runs that took `used`: its clock starts there.
    #[must_use]
    pub fn after(self, used: Duration) -> Self {
        Self { used, ..self }
    }
    /// The job may be held up by `pause`.
    #[must_use]
    pub fn with_pause(self, pause: Pause) -> Self {
        Self { pause, ..self }
    }
    /// The job's budget may grow while it runs.
    #[must_use]
    pub fn with_extra(self, extra: Extra) -> Self {
        Self { extra, ..self }
    }
    /// Time is what `clock` says, in place of the machine's: for whoever has to know what happens when.
    #[must_use]
    pub fn with_clock(self, clock: impl Fn() -> Duration + Sync + Send + 'a) -> Self {
        Self { clock: Box::new(clock), ..self }
    }
    /// A control that nobody listens to.
    pub fn silent() -> Control<'static> {
        Control::new(Cancel::new(), |_| {})
    }
    /// Time that the job has been worked on.
    pub fn elapsed(&self) -> Duration {
        let held = Duration::from_micros(self.held.load(Ordering::Relaxed));
        (self.used + (self.clock)()).saturating_sub(held)
    }
    /// A budget with what was given on top of it so far, seconds.
    pub fn with_extra_time(&self, seconds: f64) -> f64 {
        seconds + self.extra.seconds()
    }
    /// Whether a reading of the job's clock, seconds without what was given on top so far, has come.
    pub fn is_past(&self, seconds: f64) -> bool {
        self.elapsed().as_secs_f64() >= self.with_extra_time(seconds)
    }
    /// Between two steps of the work, on the job's own thread: wait as long as the job is held up, or
    /// until it is cancelled. Threads that jobs share must not wait here.
    pub fn rest(&self) {
        while self.pause.is_set() && !self.is_cancelled() {
            let since = Instant::now();
            self.pause.wait(LOOK);
            let micros = u64::try_from(since.elapsed().as_micros()).unwrap_or(u64::MAX);
            self.held.fetch_add(micros, Ordering::Relaxed);
        }
    }
    /// Whether someone asked the work to stop.
    pub fn is_cancelled(&self) -> bool {
        self.cancel.is_cancelled()
    }
    /// The flag itself, for work that reports nothing.
    pub fn cancel(&self) -> &Cancel {
        &self.cancel
    }
    /// Error out if someone asked the work to stop.
    pub fn check(&self) -> Result<(), Cancelled> {
        self.cancel.check()
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
    /// Send one progress report. Its fraction is raised to that of the furthest one before: plans that
    /// are made again after a trial go through earlier stages once more.
    pub fn report(&self, progress: Progress) {
        let fraction = Some(progress.fraction).filter(|f| f.is_finite()).unwrap_or(0.0);
        let own = fraction.clamp(0.0, 1.0).to_bits();
        let before = self.furthest.fetch_max(own, Ordering::Relaxed);
        (self.report)(Progress { fraction: f64::from_bits(own.max(before)), ..progress });
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

#[cfg(test)]
mod tests {
    use super::*;

    /// A held job waits, its clock with it, until it may go on or is cancelled.
    #[test]
    fn a_held_job_waits_and_its_clock_stands_still() {
        let pause = Pause::new();
        let cancel = Cancel::new();
        let control = Control::new(cancel.clone(), |_| {}).with_pause(pause.clone());
        control.rest();
        pause.set(true);
        let waited = Duration::from_millis(150);
        let before = control.elapsed();
        std::thread::scope(|scope| {
            scope.spawn(|| {
                std::thread::sleep(waited);
                pause.set(false);
            });
            let since = Instant::now();
            control.rest();
            let gone = since.elapsed();
            assert!(gone >= waited, "{gone:?}");
            let counted = control.elapsed() - before;
            assert!(counted + waited <= gone + Duration::from_millis(1), "{counted:?} of {gone:?}");
        });
        pause.set(true);
        cancel.cancel();
        control.rest();
    }

    /// Work that never ends by itself is left behind by whoever cancels; other work is waited for.
    #[test]
    fn whoever_cancels_walks_away() {
        let cancel = Cancel::new();
        assert_eq!(apart(&cancel, || 7), Ok(7));
        let (gate, held) = mpsc::channel::<()>();
        let other = cancel.clone();
        let left = apart(&cancel, move || {
            other.cancel();
            held.recv().is_err()
        });
        assert_eq!(left, Err(Cancelled));
        drop(gate);
        assert_eq!(apart(&cancel, || 7), Err(Cancelled));
    }

    #[test]
    fn progress_never_goes_back() {
        let seen = Mutex::new(Vec::new());
        let control = Control::new(Cancel::new(), |p| seen.lock().expect("whole").push(p.fraction));
        for fraction in [0.1, 0.5, 0.3, f64::NAN, 0.7, 2.0] {
            control.stage(Stage::Optimise, fraction, "on");
        }
        drop(control);
        assert_eq!(seen.into_inner().expect("whole"), [0.1, 0.5, 0.5, 0.5, 0.7, 1.0]);
    }

    #[test]
    fn time_of_earlier_runs_and_time_on_top_count() {
        let extra = Extra::new();
        let control = Control::silent().after(Duration::from_secs(100)).with_extra(extra.clone());
        assert!(control.elapsed() >= Duration::from_secs(100));
        assert_eq!(control.with_extra_time(60.0), 60.0);
        extra.add(30.0);
        extra.add(f64::NAN);
        extra.add(-5.0);
        assert_eq!(control.with_extra_time(60.0), 90.0);
    }
}
