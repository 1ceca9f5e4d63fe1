//! What handlers of plans do once a call is read. All of it blocks.

use std::time::Duration;

use prost::Message as _;
use slitwright_proto::v1;
use slitwright_solver::outputs::comparison_table;
use slitwright_solver::plan::Comparison;
use tonic::{Code, Status};

use super::errors::queue_full;
use super::mask::Mask;
use crate::convert::{compared, comparison_to_proto};
use crate::jobs::Workers;
use crate::refusal::refusal;
use crate::store::{Ledger, Listing, NewJob, StoreError};

/// A page of plans ends once it has so many bytes: clients take 4 MiB unless told otherwise.
const PAGE: usize = 2 << 20;
/// Jobs that are read at a time; their requests are read with them, whoever wants them.
const AT_A_TIME: usize = 8;
/// Least and most time after which a client is told to try again.
const RETRY: (Duration, Duration) = (Duration::from_secs(1), Duration::from_secs(60));

/// Queues a job.
pub fn submit(workers: &Workers, job: &NewJob) -> Result<v1::PlanJob, Status> {
    workers.submit(job).map_err(|error| match error {
        StoreError::QueueFull(_) => {
            let again = workers.soonest_end().unwrap_or(RETRY.0).clamp(RETRY.0, RETRY.1);
            queue_full(&error, again)
        }
        other => other.into(),
    })
}

/// Plans of one model side by side.
pub fn side_by_side(
    ledger: &dyn Ledger,
    names: &[String],
) -> Result<v1::ComparePlansResponse, Status> {
    let (mut rows, mut model) = (Vec::new(), None);
    for name in names {
        let job = ledger.job_with_plan(name)?;
        if *model.get_or_insert_with(|| job.model.clone()) != job.model {
            let words =
                format!("{name} is of another model than {}: compare plans of one model", names[0]);
            return Err(refusal(Code::FailedPrecondition, "OTHER_MODEL", words));
        }
        let state = job.state();
        let plan = job.plan.ok_or_else(|| without_plan(name, state))?;
        rows.push(compared(name, &plan));
    }
    let comparison = Comparison::new(rows);
    Ok(v1::ComparePlansResponse {
        plans: comparison_to_proto(&comparison),
        front: comparison.front().iter().map(|row| row.name.clone()).collect(),
        table: comparison_table(&comparison),
    })
}

/// FAILED_PRECONDITION for a job without a plan.
pub fn without_plan(name: &str, state: v1::JobState) -> Status {
    let why = match state {
        v1::JobState::Failed => "has failed and has no plan: leave it out",
        v1::JobState::Cancelled => "was cancelled before it had a plan: leave it out",
        v1::JobState::Succeeded => "has no plan: leave it out",
        _ => "has no plan yet: wait for one, or leave it out",
    };
    refusal(Code::FailedPrecondition, "NO_PLAN", format!("{name} {why}"))
}

/// A page of jobs through a mask, and the position to go on from.
pub fn page_of_plans(
    ledger: &dyn Ledger,
    mut listing: Listing,
    mask: Option<&Mask>,
) -> Result<(Vec<v1::PlanJob>, Option<u64>), Status> {
    let whole = mask.is_none_or(|mask| mask.names("plan"));
    // A page can only end between two reads.
    let heavy = whole || mask.is_some_and(|mask| mask.names("request"));
    let (mut plans, mut bytes, mut next) = (Vec::new(), 0, None);
    let size = listing.most;
    while plans.len() < size && bytes < PAGE {
        listing.most = if heavy { 1 } else { (size - plans.len()).min(AT_A_TIME) };
        let page = ledger.jobs(&listing)?;
        for mut job in page.items {
            if whole {
                job = match ledger.job_with_plan(&job.name) {
                    Ok(whole) => whole,
                    // Forgotten in between.
                    Err(StoreError::NoJob(_)) => continue,
                    Err(error) => return Err(error.into()),
                };
            }
            let job = seen_through(mask, job)?;
            bytes += job.encoded_len();
            plans.push(job);
        }
        next = page.next;
        if next.is_none() {
            break;
        }
        listing.after = next;
    }
    Ok((plans, next))
}

pub fn seen_through(mask: Option<&Mask>, job: v1::PlanJob) -> Result<v1::PlanJob, Status> {
    match mask {
        None => Ok(job),
        Some(mask) => mask.apply(&job).map_err(|error| {
            let words = format!("the answer could not be cut down to read_mask: {error}");
            refusal(Code::Internal, "PROGRAM_FAULT", words)
        }),
    }
}
