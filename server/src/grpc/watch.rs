//! A job's reports as a stream that closes after the job's end.

use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll, ready};

use slitwright_proto::v1;
use slitwright_proto::v1::plan_event::Event;
use tokio_stream::{Stream, wrappers::WatchStream};
use tonic::Status;

use crate::jobs::{Job, JobStatus, WithPlan};

/// The events of a job.
///
/// Underneath is a watched value, which keeps the newest state only: a slow reader holds up nobody
/// and still gets the end.
pub struct JobEvents {
    job: Arc<Job>,
    statuses: WatchStream<JobStatus>,
    ended: bool,
}

impl JobEvents {
    pub fn new(job: Arc<Job>) -> Self {
        let statuses = WatchStream::new(job.watch());
        Self { job, statuses, ended: false }
    }
}

impl Stream for JobEvents {
    type Item = Result<v1::PlanEvent, Status>;

    fn poll_next(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<Option<Self::Item>> {
        while !self.ended {
            let Some(status) = ready!(Pin::new(&mut self.statuses).poll_next(context)) else {
                break;
            };
            let event = if status.has_ended() {
                self.ended = true;
                Some(Event::Ended(self.job.to_proto(WithPlan::Yes)))
            } else {
                status.progress.map(Event::Progress)
            };
            if event.is_some() {
                return Poll::Ready(Some(Ok(v1::PlanEvent { event })));
            }
        }
        Poll::Ready(None)
    }
}
