//! What a call needs of its caller.

use tonic::{Code, Status};
use tonic_types::ErrorDetails;

use super::tokens::{Caller, Denied, PaceFault, Role};
use crate::refusal::{refusal, refusal_with};

/// What a call needs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Needs {
    /// Nothing: whoever watches over the process has no token.
    Nothing,
    /// A token that may look.
    Read,
    /// A token that may change things.
    Write,
}

impl Needs {
    /// What the method at this path needs. A method that is new here needs the most.
    pub fn of(path: &str) -> Self {
        let (service, method) = split(path);
        match service {
            "grpc.health.v1.Health" => Self::Nothing,
            service if service.starts_with("grpc.reflection.") => Self::Read,
            _ if ["Get", "List", "Watch", "Compare"]
                .iter()
                .any(|verb| method.starts_with(verb)) =>
            {
                Self::Read
            }
            _ => Self::Write,
        }
    }

    /// Whether a caller may.
    pub fn check(self, caller: &Caller) -> Result<(), Status> {
        let may = match (self, caller.role()) {
            (Self::Nothing, _) | (_, None | Some(Role::Write)) => true,
            (Self::Read, Some(role)) => role == Role::Read,
            (Self::Write, Some(_)) => false,
        };
        if may {
            return Ok(());
        }
        let needed = if self == Self::Read { "read or write" } else { "write" };
        let words = format!(
            "the token {} may not do this: ask for one with the role {needed}",
            caller.name().unwrap_or_default()
        );
        Err(refusal(Code::PermissionDenied, "ROLE", words))
    }
}

/// Service and method of a path.
pub fn split(path: &str) -> (&str, &str) {
    path.trim_start_matches('/').split_once('/').unwrap_or_default()
}

impl From<Denied> for Status {
    fn from(denied: Denied) -> Self {
        refusal(Code::Unauthenticated, "TOKEN", denied.to_string())
    }
}

impl From<PaceFault> for Status {
    fn from(fault: PaceFault) -> Self {
        let text = fault.to_string();
        let mut details =
            ErrorDetails::with_quota_failure_violation(format!("token:{}", fault.token), &text);
        details.set_retry_info(Some(fault.retry));
        refusal_with(Code::ResourceExhausted, "TOO_MANY_CALLS", text, details)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn looking_needs_less_than_changing_and_the_unknown_needs_most() {
        for (path, needs) in [
            ("/grpc.health.v1.Health/Check", Needs::Nothing),
            ("/grpc.health.v1.Health/Watch", Needs::Nothing),
            ("/grpc.reflection.v1.ServerReflection/ServerReflectionInfo", Needs::Read),
            ("/slitwright.v1.CutPlanner/GetPlan", Needs::Read),
            ("/slitwright.v1.CutPlanner/WatchPlan", Needs::Read),
            ("/slitwright.v1.CutPlanner/UploadModel", Needs::Write),
            ("/slitwright.v1.CutPlanner/CancelPlan", Needs::Write),
            ("/slitwright.v1.CutPlanner/SomethingNew", Needs::Write),
            ("/", Needs::Write),
            ("", Needs::Write),
        ] {
            assert_eq!(Needs::of(path), needs, "{path}");
        }
    }
}
