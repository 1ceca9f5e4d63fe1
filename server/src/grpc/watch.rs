//! A job's events as a stream that closes after the job's end.

use std::sync::Arc;
use std::time::{Duration, Instant};

use slitwright_proto::v1;
use slitwright_proto::v1::plan_event::Event;
use tokio::sync::{mpsc, watch};
use tokio_stream::wrappers::ReceiverStream;
use tonic::{Code, Status};

use super::errors::blocking;
use crate::jobs::{Hub, Live};
use crate::refusal::refusal;
use crate::store::{Ledger, StoreError, has_ended};

/// While the store cannot be used a stream asks it again this often, and for so long.
const AGAIN: Duration = Duration::from_millis(500);
const PATIENCE: Duration = Duration::from_secs(60);

/// The events of a job.
pub type JobEvents = ReceiverStream<Result<v1::PlanEvent, Status>>;

/// Follows a job until it ends, the client leaves or the service goes down.
pub async fn follow(
    ledger: Arc<dyn Ledger>,
    hub: Arc<Hub>,
    name: String,
    cuts: bool,
) -> Result<JobEvents, Status> {
    let follower = Follower::of(ledger, &hub, name, cuts);
    let job = follower.read(|ledger, name| ledger.job(name)).await?;
    // Room for one event: a slow reader is waited for, and misses what is no longer news then.
    let (events, stream) = mpsc::channel(1);
    tokio::spawn(async move {
        let closing = hub.closing();
        tokio::select! {
            told = follower.tell(job, &events) => {
                if let Err(status) = told {
                    // Nobody to tell when the client has left.
                    let _ = events.send(Err(status)).await;
                }
            }
            () = down(closing) => {
                let text = "the server is going down; the job is kept and goes on when it is back: \
                            watch it again then";
                let _ = events.send(Err(refusal(Code::Unavailable, "GOING_DOWN", text))).await;
            }
            () = events.closed() => {}
        }
    });
    Ok(ReceiverStream::new(stream))
}

async fn down(mut closing: watch::Receiver<bool>) {
    if closing.wait_for(|&closing| closing).await.is_err() {
        std::future::pending::<()>().await;
    }
}

/// What a client has been told so far.
struct Follower {
    ledger: Arc<dyn Ledger>,
    name: String,
    /// Whether better plans come with their cuts.
    cuts: bool,
    /// Number of the last better plan.
    number: u32,
    progress: Option<v1::Progress>,
    /// The turn of the job's that the ledger was last asked at.
    turns: u64,
    live: watch::Receiver<Live>,
}

type Events = mpsc::Sender<Result<v1::PlanEvent, Status>>;

impl Follower {
    /// Notes the job's turn before anyone looks at the ledger: a job that ends between the two is
    /// read again.
    fn of(ledger: Arc<dyn Ledger>, hub: &Hub, name: String, cuts: bool) -> Self {
        let live = hub.follow(&name);
        let turns = live.borrow().turns;
        Self { ledger, name, cuts, number: 0, progress: None, turns, live }
    }

    /// Tells what has come since `first` was read, and what comes.
    async fn tell(mut self, first: v1::PlanJob, events: &Events) -> Result<(), Status> {
        let mut job = Some(first);
        loop {
            let now = self.live.borrow_and_update().clone();
            if self.turns != now.turns {
                job = Some(self.job().await?);
            }
            self.turns = now.turns;
            if job.is_some() || now.best > self.number {
                self.better(events).await?;
            }
            let stored = job.as_mut().and_then(|job| job.progress.take());
            let ended = job.as_ref().is_some_and(|job| has_ended(job.state()));
            if ended {
                let whole = self.patiently(|ledger, name| ledger.job_with_plan(name)).await?;
                // It may have been given more time since.
                if has_ended(whole.state()) {
                    return send(events, Event::Ended(whole)).await;
                }
            }
            job = None;
            if let Some(progress) = now.progress.or(stored)
                && self.progress.as_ref() != Some(&progress)
            {
                self.progress = Some(progress.clone());
                send(events, Event::Progress(progress)).await?;
            }
            if self.live.changed().await.is_err() {
                let words = "the job can no longer be followed: try again";
                return Err(refusal(Code::Unavailable, "GOING_DOWN", words));
            }
        }
    }

    async fn better(&mut self, events: &Events) -> Result<(), Status> {
        let after = self.number;
        let plans = self.patiently(move |ledger, name| ledger.better_plans(name, after)).await?;
        for plan in plans {
            self.number = plan.number;
            let cuts = if self.cuts { self.cuts_of(plan.number).await? } else { Vec::new() };
            let event = v1::PlanEvent { event: Some(Event::Better(plan)), cuts };
            send_event(events, event).await?;
        }
        Ok(())
    }

    /// Cuts of a better plan, without their sheets; none where it has been bettered in the meantime.
    async fn cuts_of(&self, number: u32) -> Result<Vec<v1::Cut>, Status> {
        let job = self.patiently(|ledger, name| ledger.job_with_plan(name)).await?;
        if job.best.is_none_or(|best| best.number != number) {
            return Ok(Vec::new());
        }
        let cuts = job.plan.map(|plan| plan.cuts).unwrap_or_default();
        let plain = |cut| v1::Cut { sheets: Vec::new(), ..cut };
        Ok(cuts.into_iter().map(plain).collect())
    }

    async fn job(&self) -> Result<v1::PlanJob, Status> {
        self.patiently(|ledger, name| ledger.job(name)).await
    }

    /// What the ledger says. A database that is started anew costs nobody the stream: it is asked again for a while.
    async fn patiently<T: Send + 'static>(
        &self,
        work: impl Fn(&dyn Ledger, &str) -> Result<T, StoreError> + Clone + Send + 'static,
    ) -> Result<T, Status> {
        let since = Instant::now();
        loop {
            let (ledger, name, work) = (Arc::clone(&self.ledger), self.name.clone(), work.clone());
            let asked = move || Ok::<_, StoreError>(work(ledger.as_ref(), &name));
            match blocking("the store", asked).await? {
                Err(StoreError::Unavailable(_)) if since.elapsed() < PATIENCE => {
                    tokio::time::sleep(AGAIN).await;
                }
                answer => return answer.map_err(Into::into),
            }
        }
    }

    async fn read<T: Send + 'static>(
        &self,
        work: impl FnOnce(&dyn Ledger, &str) -> Result<T, StoreError> + Send + 'static,
    ) -> Result<T, Status> {
        let (ledger, name) = (Arc::clone(&self.ledger), self.name.clone());
        blocking("the store", move || work(ledger.as_ref(), &name)).await
    }
}

async fn send(events: &Events, event: Event) -> Result<(), Status> {
    send_event(events, v1::PlanEvent { event: Some(event), cuts: Vec::new() }).await
}

async fn send_event(events: &Events, event: v1::PlanEvent) -> Result<(), Status> {
    let gone = |_| refusal(Code::Cancelled, "CALLER_GONE", "the client has left");
    events.send(Ok(event)).await.map_err(gone)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::{Ending, ModelEntry, NewJob, Run, SqliteLedger, StoreLimits};

    const JOB: &str = "plans/a";

    /// A ledger in a folder, with one job that is being worked on.
    fn at_work(hub: &Hub) -> (tempfile::TempDir, Arc<SqliteLedger>, Run) {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("store.db");
        let ledger = SqliteLedger::open(&path, StoreLimits::default()).expect("opened");
        let message = v1::Model { name: "models/plinth".to_owned(), ..Default::default() };
        let model = ModelEntry { message, options: v1::PrepareOptions::default() };
        ledger.add_model(&model, None).expect("kept");
        let job = NewJob {
            name: JOB.to_owned(),
            model: model.message.name,
            request: v1::PlanRequest::default(),
            request_id: None,
            priority: 0,
            seconds: 60.0,
            owner: None,
        };
        ledger.submit(&job).expect("queued");
        let run = ledger.claim(None).expect("claimed").expect("a job").run;
        hub.begin(JOB, 0);
        (folder, Arc::new(ledger), run)
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn a_job_that_ends_right_after_the_first_look_is_told_as_ended() {
        let hub = Hub::default();
        let (_folder, ledger, run) = at_work(&hub);
        let follower = Follower::of(ledger.clone(), &hub, JOB.to_owned(), false);
        let first = follower.job().await.expect("there");
        assert_eq!(first.state(), v1::JobState::Running);
        let ending = Ending {
            state: v1::JobState::Succeeded,
            used_seconds: 1.0,
            progress: None,
            plan: None,
            record: None,
            failure: None,
            time_given: None,
        };
        ledger.end(&run, &ending).expect("ended");
        hub.turn(JOB);
        let (events, mut told) = mpsc::channel(1);
        // The hub goes, so that a follower who waits for more news ends with a fault.
        drop(hub);
        follower.tell(first, &events).await.expect("told to the end");
        let event = told.recv().await.expect("an event").expect("no fault").event;
        let Some(Event::Ended(job)) = event else { panic!("{event:?}") };
        assert_eq!(job.state(), v1::JobState::Succeeded);
    }
}
