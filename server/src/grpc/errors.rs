//! Faults as google.rpc.Status with details (Google's AIP-193, "Errors").

use std::time::Duration;

use slitwright_solver::control::Cancel;
use tonic::{Code, Status};
use tonic_types::{ErrorDetails, FieldViolation};

use crate::convert::InvalidFields;
use crate::refusal::{refusal, refusal_with};
use crate::store::StoreError;
use crate::text::shortened;

/// After how long to try again when nothing better is known.
const RETRY: Duration = Duration::from_secs(10);
/// When to ask again for a place that is taken for moments only.
const SOON: Duration = Duration::from_secs(1);
/// When to ask again for a plan's place: plans take seconds to minutes.
const NEXT_PLAN: Duration = Duration::from_secs(2);
/// Most bytes of the violations that are told by name, and of one of them.
const VIOLATIONS: (usize, usize) = (2500, 400);

/// INVALID_ARGUMENT with one violation a field.
pub fn invalid(faults: &InvalidFields) -> Status {
    let (mut violations, mut bytes) = (Vec::new(), 0);
    for violation in faults.violations() {
        let field = shortened(&violation.field, VIOLATIONS.1);
        let description = shortened(&violation.description, VIOLATIONS.1);
        bytes += field.len() + description.len();
        // The first one fits.
        if bytes > VIOLATIONS.0 {
            break;
        }
        violations.push(FieldViolation::new(field, description));
    }
    refusal_with(
        Code::InvalidArgument,
        "INVALID_FIELDS",
        faults.to_string(),
        ErrorDetails::with_bad_request(violations),
    )
}

/// INVALID_ARGUMENT for one field.
pub fn invalid_field(field: &str, description: impl Into<String>) -> Status {
    invalid(&InvalidFields::one(field, description))
}

/// RESOURCE_EXHAUSTED, naming what ran out.
pub fn exhausted(reason: &'static str, subject: &str, description: impl Into<String>) -> Status {
    let description = description.into();
    let details = ErrorDetails::with_quota_failure_violation(subject, &description);
    refusal_with(Code::ResourceExhausted, reason, description, details)
}

/// Runs what blocks on a thread that may be blocked.
pub async fn blocking<T: Send + 'static, E: Into<Status> + Send + 'static>(
    what: &str,
    work: impl FnOnce() -> Result<T, E> + Send + 'static,
) -> Result<T, Status> {
    let done = tokio::task::spawn_blocking(work).await.map_err(|_| internal(what))?;
    done.map_err(Into::into)
}

/// Ends what blocks for a caller once it has gone: set when a call's future is dropped.
#[derive(Default)]
pub struct CancelOnDrop(pub Cancel);

impl Drop for CancelOnDrop {
    fn drop(&mut self) {
        self.0.cancel();
    }
}

/// INTERNAL for a panic on a thread of ours.
pub fn internal(what: &str) -> Status {
    let words = format!("{what} stopped on a fault of its own; the server goes on");
    refusal(Code::Internal, "PROGRAM_FAULT", words)
}

/// RESOURCE_EXHAUSTED for places that are free again soon.
pub fn busy(reason: &'static str, subject: &str, words: &str) -> Status {
    let mut details = ErrorDetails::with_quota_failure_violation(subject, words);
    details.set_retry_info(Some(SOON));
    refusal_with(Code::ResourceExhausted, reason, words, details)
}

/// RESOURCE_EXHAUSTED for a full queue, with a time after which it is worth trying again.
pub fn queue_full(error: &StoreError, again: Duration) -> Status {
    try_later("QUEUE_FULL", "queue", error, again)
}

fn try_later(reason: &'static str, subject: &str, error: &StoreError, again: Duration) -> Status {
    let text = error.to_string();
    let mut details = ErrorDetails::with_quota_failure_violation(subject, &text);
    details.set_retry_info(Some(again));
    refusal_with(Code::ResourceExhausted, reason, text, details)
}

/// What callers are told of a fault of the disk or the database: not where these lie, which the log has.
fn withheld(error: &StoreError, words: &'static str) -> String {
    tracing::error!(%error, "a call failed for want of the store");
    words.to_owned()
}

impl From<StoreError> for Status {
    fn from(error: StoreError) -> Self {
        let text = error.to_string();
        let missing = |reason, kind: &str, name: &str| {
            let details = ErrorDetails::with_resource_info(kind, name, "", &text);
            refusal_with(Code::NotFound, reason, &text, details)
        };
        let precondition = |reason: &'static str, kind: &str, name: &str| {
            let details = ErrorDetails::with_precondition_failure_violation(kind, name, &text);
            refusal_with(Code::FailedPrecondition, reason, &text, details)
        };
        match &error {
            StoreError::NoModel(name) => missing("MODEL_NOT_FOUND", "Model", name),
            StoreError::NoJob(name) => missing("PLAN_NOT_FOUND", "PlanJob", name),
            StoreError::ModelsFull(_) => exhausted("MODELS_FULL", "models", text),
            StoreError::QueueFull(_) => queue_full(&error, RETRY),
            StoreError::TooManyJobs { owner, .. } => {
                try_later("TOKEN_PLANS", &format!("token:{owner}"), &error, NEXT_PLAN)
            }
            StoreError::TooManyBytes { owner, .. } => {
                exhausted("TOKEN_BYTES", &format!("token:{owner}"), text)
            }
            StoreError::NoRoom(_) => {
                let words = "the store is full: nothing that was accepted is lost; delete plans or \
                             models, or have some room made on its disk";
                exhausted("STORE_FULL", "store", withheld(&error, words))
            }
            StoreError::ModelInUse { model, .. } => precondition("MODEL_IN_USE", "IN_USE", model),
            StoreError::JobActive(name) => precondition("PLAN_ACTIVE", "ACTIVE", name),
            StoreError::JobFailed(name) => precondition("PLAN_FAILED", "FAILED", name),
            StoreError::TooMuchTime { .. } => invalid_field("seconds", text),
            StoreError::RunLost(_) => refusal(Code::Aborted, "RUN_LOST", text),
            StoreError::Damaged(_) => refusal(Code::DataLoss, "STORE_DAMAGED", text),
            StoreError::Locked(_) | StoreError::Unavailable(_) => {
                let words = "the store cannot be used at the moment: try again";
                refusal_with(
                    Code::Unavailable,
                    "STORE_UNAVAILABLE",
                    withheld(&error, words),
                    ErrorDetails::with_retry_info(Some(RETRY)),
                )
            }
            StoreError::Newer { .. } | StoreError::Foreign(_) | StoreError::NoLedger { .. } => {
                let words = "the store is not one that this program can use";
                refusal(Code::FailedPrecondition, "STORE_UNFIT", withheld(&error, words))
            }
            StoreError::RequestIdTaken { job, .. } => {
                let details = ErrorDetails::with_resource_info("PlanJob", job, "", &text);
                refusal_with(Code::AlreadyExists, "REQUEST_ID_TAKEN", text, details)
            }
        }
    }
}
