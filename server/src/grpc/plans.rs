//! What handlers of plans do once a call is read. All of it blocks.

use std::time::Duration;

use prost::Message as _;
use slitwright_proto::v1;
use slitwright_solver::outputs::comparison_table;
use slitwright_solver::plan::Comparison;
use tonic::Status;

use super::errors::queue_full;
use super::mask::Mask;
use crate::convert::{compared, comparison_to_proto};
use crate::jobs::Workers;
use crate::store::{Ledger, NewJob, StoreError};

/// A page of plans ends once it has so many bytes: clients take 4 MiB unless told otherwise.
const PAGE: usize = 2 << 20;
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
        let plan = job.plan.ok_or_else(|| {
            Status::failed_precondition(format!(
                "{name} has no plan yet: wait for one, or leave it out"
            ))
        })?;
        if *model.get_or_insert_with(|| job.model.clone()) != job.model {
            return Err(Status::failed_precondition(format!(
                "{name} is of another model than {}: compare plans of one model",
                names[0]
            )));
        }
        rows.push(compared(name, &plan));
    }
    let comparison = Comparison::new(rows);
    Ok(v1::ComparePlansResponse {
        plans: comparison_to_proto(&comparison),
        front: comparison.front().iter().map(|row| row.name.clone()).collect(),
        table: comparison_table(&comparison),
    })
}

/// A page of jobs through a mask, and the position to go on from.
pub fn page_of_plans(
    ledger: &dyn Ledger,
    after: u64,
    size: usize,
    mask: Option<&Mask>,
) -> Result<(Vec<v1::PlanJob>, Option<u64>), Status> {
    if !mask.is_some_and(|mask| mask.names("plan")) {
        let page = ledger.jobs(after, size)?;
        let jobs = page.items.into_iter().map(|job| seen_through(mask, job));
        return Ok((jobs.collect::<Result<_, _>>()?, page.next));
    }
    let (mut plans, mut bytes, mut next) = (Vec::new(), 0, Some(after));
    while let Some(at) = next
        && plans.len() < size
        && bytes < PAGE
    {
        let page = ledger.jobs(at, 1)?;
        for job in page.items {
            let whole = match ledger.job_with_plan(&job.name) {
                Ok(whole) => whole,
                // Forgotten in between.
                Err(StoreError::NoJob(_)) => continue,
                Err(error) => return Err(error.into()),
            };
            let job = seen_through(mask, whole)?;
            bytes += job.encoded_len();
            plans.push(job);
        }
        next = page.next;
    }
    Ok((plans, next))
}

pub fn seen_through(mask: Option<&Mask>, job: v1::PlanJob) -> Result<v1::PlanJob, Status> {
    match mask {
        None => Ok(job),
        Some(mask) => mask.apply(&job).map_err(|error| {
            Status::internal(format!("the answer could not be cut down to read_mask: {error}"))
        }),
    }
}
