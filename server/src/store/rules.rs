//! What holds for jobs and models whatever keeps them.
//!
//! Each job has a turn, a time: when it was queued, less ten minutes for each step of its priority.
//! The least turn is next. So a job of any priority is overtaken for a bounded time only: once it has
//! waited longer than priorities can make up for, nobody that comes later is before it.

use prost::Message;
use slitwright_proto::v1;
use tonic::Code;

use super::{
    Checkpoint, Extension, Listing, NewJob, Owner, Page, StoreError, StoreLimits, has_ended, seal,
};
use crate::text::shortened;

/// Most bytes of the words about a failure that are told.
const FAILURE: usize = 4000;

/// What a step of priority is worth, milliseconds of waiting.
pub const STEP: i64 = 600_000;

/// The turn of a job that was queued at `time`.
pub fn turn(time: i64, priority: i32) -> i64 {
    time - i64::from(priority) * STEP
}

/// Why a job ended whose request or model cannot be read.
pub fn data_loss(fault: &StoreError) -> v1::Failure {
    v1::Failure { code: Code::DataLoss.into(), message: fault.to_string() }
}

/// Whether one more job may wait where `waiting` do.
pub fn check_queue(limits: &StoreLimits, waiting: u64) -> Result<(), StoreError> {
    if waiting >= limits.waiting_jobs as u64 {
        return Err(StoreError::QueueFull(limits.waiting_jobs));
    }
    Ok(())
}

/// Whether an owner of `active` jobs that wait or are worked on may have one more.
pub fn check_jobs_of(owner: &Owner, active: u64) -> Result<(), StoreError> {
    match owner.most_jobs {
        Some(most) if active >= u64::from(most) => {
            Err(StoreError::TooManyJobs { owner: owner.name.clone(), most })
        }
        _ => Ok(()),
    }
}

/// Whether one more model, whose file adds `bytes`, fits beside `models` with `taken` bytes.
pub fn check_models(
    limits: &StoreLimits,
    models: u64,
    taken: u64,
    bytes: u64,
) -> Result<(), StoreError> {
    if models >= limits.models as u64 {
        return Err(StoreError::ModelsFull(format!("{} models", limits.models)));
    }
    if taken.saturating_add(bytes) > limits.model_bytes {
        let room = limits.model_bytes >> 20;
        return Err(StoreError::ModelsFull(format!("{room} MiB of model files")));
    }
    Ok(())
}

/// Whether an owner of models with `taken` bytes may have one of `bytes` more.
pub fn check_models_of(owner: &Owner, taken: u64, bytes: u64) -> Result<(), StoreError> {
    match owner.most_model_bytes {
        Some(most) if taken.saturating_add(bytes) > most => {
            Err(StoreError::TooManyBytes { owner: owner.name.clone(), most_mib: most >> 20 })
        }
        _ => Ok(()),
    }
}

/// The job that came with the same request id, if it is for the same.
pub fn same_request(new: &NewJob, there: v1::PlanJob) -> Result<v1::PlanJob, StoreError> {
    let same = there.model == new.model
        // By their bytes: a number that is none would differ from itself.
        && there.request.as_ref().map(Message::encode_to_vec)
            == Some(new.request.encode_to_vec());
    if same {
        return Ok(there);
    }
    let id = new.request_id.clone().unwrap_or_default();
    Err(StoreError::RequestIdTaken { id, job: there.name })
}

/// Whether a request for more time is the one that came before under the same id. `before` is missing
/// where that was not written down.
pub fn same_extension(
    job: &str,
    more: &Extension,
    id: &str,
    before: Option<f64>,
) -> Result<(), StoreError> {
    if before.is_none_or(|before| before == more.seconds) {
        return Ok(());
    }
    Err(StoreError::RequestIdTaken { id: id.to_owned(), job: job.to_owned() })
}

/// The job with its plan, which tells why the search stopped by how its job stands: what is stored may
/// be of a run that went on, or of one that was cut off.
pub fn with_plan(mut job: v1::PlanJob, plan: Option<v1::Plan>) -> v1::PlanJob {
    use v1::StopReason as Reason;
    job.plan = plan;
    let state = job.state();
    if let Some(plan) = &mut job.plan
        && plan.stopped_by() != Reason::Judged
    {
        let told = match (state, plan.stopped_by()) {
            (v1::JobState::Cancelled, _) => Reason::Cancelled,
            (state, _) if !has_ended(state) => Reason::NotYet,
            // A run that found nothing better has left the plan of one before, and its time is over.
            (_, Reason::Cancelled | Reason::NotYet) => Reason::TimeLimit,
            (_, stored) => stored,
        };
        plan.stopped_by = told.into();
    }
    job
}

/// The plan in full, if it is as it was written.
pub fn record(job: &str, sealed: Option<Vec<u8>>) -> Result<Option<Vec<u8>>, StoreError> {
    let open = |sealed: Vec<u8>| {
        seal::open_bytes(&format!("the plan of {job} in full"), &sealed).map(<[u8]>::to_vec)
    };
    sealed.map(open).transpose()
}

/// Whether a job has failed in a way that more time may mend.
fn wants_time(job: &v1::PlanJob) -> bool {
    let code = job.failure.as_ref().map(|failure| failure.code);
    code == Some(Code::DeadlineExceeded.into())
}

/// Whether a job that has `given` seconds may have more.
pub fn check_extension(job: &v1::PlanJob, given: f64, more: &Extension) -> Result<(), StoreError> {
    if job.state() == v1::JobState::Failed && !wants_time(job) {
        return Err(StoreError::JobFailed(job.name.clone()));
    }
    let seconds = given + more.seconds;
    if seconds > more.most_seconds {
        return Err(StoreError::TooMuchTime {
            job: job.name.clone(),
            seconds: seconds.ceil() as u64,
            most: more.most_seconds as u64,
        });
    }
    Ok(())
}

/// What becomes of a job whose run was lost: its state, and why if it has failed. `lost` are the runs
/// that were lost since the job last got further, with this one.
pub fn after_loss(
    limits: &StoreLimits,
    cancelled: bool,
    lost: u32,
) -> (v1::JobState, Option<v1::Failure>) {
    if cancelled {
        return (v1::JobState::Cancelled, None);
    }
    if lost < limits.lost_runs {
        return (v1::JobState::Queued, None);
    }
    let message = format!(
        "the process that worked on it fell {lost} times before the plan got any further: it is not \
         tried again. Please report it with the model and the request."
    );
    (v1::JobState::Failed, Some(v1::Failure { code: Code::Internal.into(), message }))
}

/// Where an earlier run was. One that is damaged is left out: the work starts over.
pub fn checkpoint(job: &str, found: Option<(f64, Vec<u8>)>) -> Option<Checkpoint> {
    let (used_seconds, sealed) = found?;
    match seal::open_bytes(&format!("the checkpoint of {job}"), &sealed) {
        Ok(bytes) => Some(Checkpoint { bytes: bytes.to_vec(), used_seconds }),
        Err(error) => {
            tracing::warn!(job, %error, "the work starts over");
            None
        }
    }
}

/// A page of what was found with its positions, when one more than `most` was asked for.
pub fn page<T>(found: Vec<(i64, T)>, most: usize) -> Page<T> {
    let more = found.len() > most;
    let (mut items, mut last) = (Vec::new(), None);
    for (position, item) in found.into_iter().take(most) {
        last = Some(position.cast_unsigned());
        items.push(item);
    }
    Page { items, next: last.filter(|_| more) }
}

/// A position in a list as a database counts; one beyond all is the last.
pub fn position(after: u64) -> i64 {
    i64::try_from(after).unwrap_or(i64::MAX)
}

/// Where a list of jobs begins, beyond the first of them.
pub fn start(listing: &Listing) -> i64 {
    let beginning = if listing.newest_first { i64::MAX } else { 0 };
    listing.after.map_or(beginning, position)
}

/// How many rows to ask for: one more than asked for tells whether there is another page.
pub fn rows_for(most: usize) -> i64 {
    i64::try_from(most).unwrap_or(i64::MAX).saturating_add(1)
}

/// A job as it lies in a database. Times are milliseconds since 1970, blobs are sealed.
pub struct JobRow {
    pub name: String,
    pub model: String,
    pub request: Vec<u8>,
    pub state: i32,
    pub priority: i32,
    pub submit_time: i64,
    pub start_time: Option<i64>,
    pub end_time: Option<i64>,
    pub extra_seconds: f64,
    pub used_seconds: f64,
    pub progress: Option<Vec<u8>>,
    pub best: Option<Vec<u8>>,
    pub failure: Option<Vec<u8>>,
}

impl JobRow {
    /// The job without its plan. When its request is damaged it comes without that, and the fault
    /// beside.
    pub fn message(self) -> Result<(v1::PlanJob, Option<StoreError>), StoreError> {
        let name = self.name;
        let state = v1::JobState::try_from(self.state)
            .map_err(|_| StoreError::Damaged(format!("{name} is in a state that there is not")))?;
        let (request, fault) = match seal::open(&format!("the request of {name}"), &self.request) {
            Ok(request) => (Some(request), None),
            Err(fault) => (None, Some(fault)),
        };
        // A report is worth less than the job that it is about.
        let progress = optional(self.progress, "progress").unwrap_or_else(|error| {
            tracing::warn!(job = name, %error, "the last report is left out");
            None
        });
        // One that was stored before there was a limit.
        let failure = optional(self.failure, &format!("the failure of {name}"))?.map(
            |failure: v1::Failure| v1::Failure {
                message: shortened(&failure.message, FAILURE),
                ..failure
            },
        );
        let job = v1::PlanJob {
            model: self.model,
            request,
            state: state.into(),
            submit_time: Some(timestamp(self.submit_time)),
            start_time: self.start_time.map(timestamp),
            end_time: self.end_time.map(timestamp),
            progress,
            plan: None,
            failure,
            priority: self.priority,
            extra_seconds: self.extra_seconds,
            used_seconds: self.used_seconds,
            best: optional(self.best, &format!("the figures of {name}"))?,
            name,
        };
        Ok((job, fault))
    }

    /// The job by itself: it cannot be told without its request.
    pub fn whole(self) -> Result<v1::PlanJob, StoreError> {
        match self.message()? {
            (job, None) => Ok(job),
            // A job that was ended for the damage says so itself.
            (job, Some(_)) if job.failure.is_some() => Ok(job),
            (_, Some(fault)) => Err(fault),
        }
    }

    /// The job in a list: one whose request is damaged has a failure that says so.
    pub fn listed(self) -> Result<v1::PlanJob, StoreError> {
        let (mut job, fault) = self.message()?;
        if let (Some(fault), None) = (fault, &job.failure) {
            job.failure = Some(data_loss(&fault));
        }
        Ok(job)
    }
}

/// A sealed message that may be missing.
fn optional<M: Message + Default>(
    sealed: Option<Vec<u8>>,
    what: &str,
) -> Result<Option<M>, StoreError> {
    sealed.map(|sealed| seal::open(what, &sealed)).transpose()
}

/// A time for the protocol, from milliseconds since 1970.
fn timestamp(millis: i64) -> pbjson_types::Timestamp {
    let nanos = i32::try_from(millis.rem_euclid(1000)).unwrap_or_default() * 1_000_000;
    pbjson_types::Timestamp { seconds: millis.div_euclid(1000), nanos }
}
