//! Faults as google.rpc.Status with details.

use tonic::{Code, Status};
use tonic_types::{ErrorDetails, FieldViolation, StatusExt};

use crate::convert::InvalidFields;
use crate::front::tokens::QuotaFault;
use crate::jobs::QueueError;
use crate::store::StoreError;

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

/// INTERNAL for a panic on a thread of ours.
pub fn internal(what: &str) -> Status {
    Status::internal(format!("{what} stopped on a fault of its own; the server goes on"))
}

/// A fault while a job is being queued.
#[derive(Debug, thiserror::Error)]
pub enum SubmitError {
    /// The store refused.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The queue refused.
    #[error(transparent)]
    Queue(#[from] QueueError),
    /// The caller's token has as many plans as it may.
    #[error(transparent)]
    Quota(#[from] QuotaFault),
}

impl From<SubmitError> for Status {
    fn from(error: SubmitError) -> Self {
        match error {
            SubmitError::Store(error) => error.into(),
            SubmitError::Quota(fault) => fault.into(),
            SubmitError::Queue(QueueError::Full(_)) => exhausted("queue", error.to_string()),
            SubmitError::Queue(QueueError::Closed) => Status::unavailable(error.to_string()),
        }
    }
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
            StoreError::ModelInUse { model, .. } => (
                Code::FailedPrecondition,
                ErrorDetails::with_precondition_failure_violation("IN_USE", model, &text),
            ),
            StoreError::JobActive(name) => (
                Code::FailedPrecondition,
                ErrorDetails::with_precondition_failure_violation("ACTIVE", name, &text),
            ),
            StoreError::RequestIdTaken { job, .. } => {
                (Code::AlreadyExists, ErrorDetails::with_resource_info("PlanJob", job, "", &text))
            }
        };
        Status::with_error_details(code, text, details)
    }
}
