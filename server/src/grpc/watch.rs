//! A job's events as a stream that closes after the job's end.

use std::sync::Arc;

use slitwright_proto::v1;
use slitwright_proto::v1::plan_event::Event;
use tokio::sync::mpsc;
use tokio_stream::wrappers::ReceiverStream;
use tonic::Status;

use super::errors::blocking;
use crate::jobs::{Hub, Live};
use crate::store::{Ledger, StoreError, has_ended};

/// The events of a job.
pub type JobEvents = ReceiverStream<Result<v1::PlanEvent, Status>>;

/// Follows a job until it ends, the client leaves or the service goes down.
pub async fn follow(
    ledger: Arc<dyn Ledger>,
    hub: Arc<Hub>,
    name: String,
) -> Result<JobEvents, Status> {
    // Before the first look at the ledger, so that nothing falls between the two.
    let live = hub.follow(&name);
    let follower = Follower { ledger, name, number: 0, progress: None, turns: None };
    let job = follower.job().await?;
    // Room for one event: a slow reader is waited for, and misses what is no longer news then.
    let (events, stream) = mpsc::channel(1);
    tokio::spawn(async move {
        let closing = hub.closing();
        tokio::select! {
            told = follower.tell(job, live, &events) => {
                if let Err(status) = told {
                    // Nobody to tell when the client has left.
                    let _ = events.send(Err(status)).await;
                }
            }
            () = down(closing) => {
                let text = "the server is going down; the job is kept and goes on when it is back: \
                            watch it again then";
                let _ = events.send(Err(Status::unavailable(text))).await;
            }
            () = events.closed() => {}
        }
    });
    Ok(ReceiverStream::new(stream))
}

async fn down(mut closing: tokio::sync::watch::Receiver<bool>) {
    if closing.wait_for(|&closing| closing).await.is_err() {
        std::future::pending::<()>().await;
    }
}

/// What a client has been told so far.
struct Follower {
    ledger: Arc<dyn Ledger>,
    name: String,
    /// Number of the last better plan.
    number: u32,
    progress: Option<v1::Progress>,
    turns: Option<u64>,
}

type Events = mpsc::Sender<Result<v1::PlanEvent, Status>>;

impl Follower {
    async fn tell(
        mut self,
        first: v1::PlanJob,
        mut live: tokio::sync::watch::Receiver<Live>,
        events: &Events,
    ) -> Result<(), Status> {
        let mut job = Some(first);
        loop {
            let now = live.borrow_and_update().clone();
            if self.turns.is_some_and(|turns| turns != now.turns) {
                job = Some(self.job().await?);
            }
            self.turns = Some(now.turns);
            if job.is_some() || now.best > self.number {
                self.better(events).await?;
            }
            let stored = job.as_mut().and_then(|job| job.progress.take());
            let ended = job.as_ref().is_some_and(|job| has_ended(job.state()));
            if ended {
                let whole = self.read(|ledger, name| ledger.job_with_plan(name)).await?;
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
            if live.changed().await.is_err() {
                return Err(Status::unavailable("the job can no longer be followed: try again"));
            }
        }
    }

    async fn better(&mut self, events: &Events) -> Result<(), Status> {
        let after = self.number;
        let plans = self.read(move |ledger, name| ledger.better_plans(name, after)).await?;
        for plan in plans {
            self.number = plan.number;
            send(events, Event::Better(plan)).await?;
        }
        Ok(())
    }

    async fn job(&self) -> Result<v1::PlanJob, Status> {
        self.read(|ledger, name| ledger.job(name)).await
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
    let event = v1::PlanEvent { event: Some(event) };
    events.send(Ok(event)).await.map_err(|_| Status::cancelled("the client has left"))
}
