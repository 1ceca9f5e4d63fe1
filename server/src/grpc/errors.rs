//! Faults as google.rpc.Status with details.

use std::time::Duration;

use tonic::{Code, Status};
use tonic_types::{ErrorDetails, FieldViolation, StatusExt};

use crate::convert::InvalidFields;
use crate::store::StoreError;

/// After how long to try again when nothing better is known.
const RETRY: Duration = Duration::from_secs(10);
/// When to ask again for a plan's place: plans take seconds to minutes.
const NEXT_PLAN: Duration = Duration::from_secs(2);

/// INVALID_ARGUMENT with one violation a field.
pub fn invalid(faults: &InvalidFields) -> Status {
    let violations: Vec<_> = faults
        .violations()
        .iter()
        .map(|violation| FieldViolation::new(&violation.field, &violation.description))
        .collect();
    Status::with_error_details(
        Code::InvalidArgument,
        faults.to_string(),
        ErrorDetails::with_bad_request(violations),
    )
}

/// INVALID_ARGUMENT for one field.
pub fn invalid_field(field: &str, description: impl Into<String>) -> Status {
    invalid(&InvalidFields::one(field, description))
}

/// RESOURCE_EXHAUSTED, naming what ran out.
pub fn exhausted(subject: &str, description: impl Into<String>) -> Status {
    let description = description.into();
    Status::with_error_details(
        Code::ResourceExhausted,
        description.clone(),
        ErrorDetails::with_quota_failure_violation(subject, description),
    )
}

/// Runs what blocks on a thread that may be blocked.
pub async fn blocking<T: Send + 'static, E: Into<Status> + Send + 'static>(
    what: &str,
    work: impl FnOnce() -> Result<T, E> + Send + 'static,
) -> Result<T, Status> {
    let done = tokio::task::spawn_blocking(work).await.map_err(|_| internal(what))?;
    done.map_err(Into::into)
}

/// INTERNAL for a panic on a thread of ours.
pub fn internal(what: &str) -> Status {
    Status::internal(format!("{what} stopped on a fault of its own; the server goes on"))
}

/// RESOURCE_EXHAUSTED for a full queue, with a time after which it is worth trying again.
pub fn queue_full(error: &StoreError, again: Duration) -> Status {
    try_later("queue", error, again)
}

fn try_later(subject: &str, error: &StoreError, again: Duration) -> Status {
    let text = error.to_string();
    let mut details = ErrorDetails::with_quota_failure_violation(subject, &text);
    details.set_retry_info(Some(again));
    Status::with_error_details(Code::ResourceExhausted, text, details)
}

impl From<StoreError> for Status {
    fn from(error: StoreError) -> Self {
        let text = error.to_string();
        let (code, details) = match &error {
            StoreError::NoModel(name) => {
                (Code::NotFound, ErrorDetails::with_resource_info("Model", name, "", &text))
            }
            StoreError::NoJob(name) => {
                (Code::NotFound, ErrorDetails::with_resource_info("PlanJob", name, "", &text))
            }
            StoreError::ModelsFull(_) => return exhausted("models", text),
            StoreError::QueueFull(_) => return queue_full(&error, RETRY),
            StoreError::TooManyJobs { owner, .. } => {
                return try_later(&format!("token:{owner}"), &error, NEXT_PLAN);
            }
            StoreError::TooManyBytes { owner, .. } => {
                return exhausted(&format!("token:{owner}"), text);
            }
            StoreError::NoRoom(_) => return exhausted("store", text),
            StoreError::ModelInUse { model, .. } => (
                Code::FailedPrecondition,
                ErrorDetails::with_precondition_failure_violation("IN_USE", model, &text),
            ),
            StoreError::JobActive(name) => (
                Code::FailedPrecondition,
                ErrorDetails::with_precondition_failure_violation("ACTIVE", name, &text),
            ),
            StoreError::JobFailed(name) => (
                Code::FailedPrecondition,
                ErrorDetails::with_precondition_failure_violation("FAILED", name, &text),
            ),
            StoreError::TooMuchTime { .. } => return invalid_field("seconds", text),
            StoreError::RunLost(_) => (Code::Aborted, ErrorDetails::new()),
            StoreError::Damaged(_) => (Code::DataLoss, ErrorDetails::new()),
            StoreError::Locked(_) | StoreError::Unavailable(_) => {
                (Code::Unavailable, ErrorDetails::with_retry_info(Some(RETRY)))
            }
            StoreError::Newer { .. } | StoreError::Foreign(_) => {
                (Code::FailedPrecondition, ErrorDetails::new())
            }
            StoreError::RequestIdTaken { job, .. } => {
                (Code::AlreadyExists, ErrorDetails::with_resource_info("PlanJob", job, "", &text))
            }
        };
        Status::with_error_details(code, text, details)
    }
}
