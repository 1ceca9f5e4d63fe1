//! When to try again, and how much later.

use std::time::Duration;

use tonic::{Code, Status};
use tonic_types::StatusExt;

use super::{ClientError, Refusal};

/// How patiently calls are made again.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Backoff {
    /// Wait before the second try.
    pub first: Duration,
    /// Longest wait; each is twice the one before until then.
    pub longest: Duration,
    /// Most tries in a row that bring nothing.
    pub tries: u32,
}

impl Default for Backoff {
    fn default() -> Self {
        Self { first: Duration::from_millis(200), longest: Duration::from_secs(20), tries: 10 }
    }
}

/// The tries of one call.
pub struct Retries {
    backoff: Backoff,
    failed: u32,
}

impl Retries {
    pub fn new(backoff: Backoff) -> Self {
        Self { backoff, failed: 0 }
    }

    /// The server said something: what failed before does not count any more.
    pub fn heard(&mut self) {
        self.failed = 0;
    }

    /// Waits for the next try, or tells why there is none.
    pub async fn after(&mut self, status: Status) -> Result<(), ClientError> {
        tokio::time::sleep(self.wait(status)?).await;
        Ok(())
    }

    fn wait(&mut self, status: Status) -> Result<Duration, ClientError> {
        let told = status.get_details_retry_info().and_then(|info| info.retry_delay);
        if !may_help(status.code(), told.is_some()) {
            return Err(Refusal::from(status).into());
        }
        self.failed += 1;
        if self.failed >= self.backoff.tries {
            return Err(ClientError::Lost { tries: self.failed, last: Box::new(status) });
        }
        let doubled = self.backoff.first.saturating_mul(1 << (self.failed - 1).min(20));
        let full = doubled.min(self.backoff.longest);
        // Somewhere in the second half, so that many clients of one server that went away do not
        // all come back at the same moment.
        let wait = full.mul_f64(0.5 + 0.5 * rand::random::<f64>());
        // A server that says when is to be believed.
        Ok(told.map_or(wait, |told| told.max(wait)))
    }
}

/// Whether the same call may do better later.
fn may_help(code: Code, told_when: bool) -> bool {
    match code {
        Code::ResourceExhausted => told_when,
        // What a broken connection looks like, depending on where it broke.
        Code::Unavailable
        | Code::Unknown
        | Code::Internal
        | Code::Cancelled
        | Code::Aborted
        | Code::DeadlineExceeded => true,
        _ => false,
    }
}

#[cfg(test)]
mod tests {
    use tonic_types::ErrorDetails;

    use super::*;

    #[test]
    fn waits_double_up_to_the_longest_and_end() {
        let backoff = Backoff {
            first: Duration::from_millis(100),
            longest: Duration::from_millis(350),
            tries: 5,
        };
        let mut retries = Retries::new(backoff);
        for full in [100, 200, 350, 350] {
            let wait = retries.wait(Status::unavailable("gone")).expect("another try");
            let full = Duration::from_millis(full);
            assert!(wait >= full / 2 && wait <= full, "{wait:?} of {full:?}");
        }
        let lost = retries.wait(Status::unavailable("gone"));
        assert!(matches!(lost, Err(ClientError::Lost { tries: 5, .. })), "{lost:?}");
        retries.heard();
        assert!(retries.wait(Status::unavailable("gone")).is_ok(), "counts anew");
    }

    #[test]
    fn a_server_that_says_when_is_believed_and_a_no_is_a_no() {
        let mut retries = Retries::new(Backoff::default());
        let told = Duration::from_secs(40);
        let busy = Status::with_error_details(
            Code::ResourceExhausted,
            "busy",
            ErrorDetails::with_retry_info(Some(told)),
        );
        assert_eq!(retries.wait(busy).expect("later"), told);
        for no in
            [Code::ResourceExhausted, Code::NotFound, Code::Unauthenticated, Code::InvalidArgument]
        {
            let refused = retries.wait(Status::new(no, "no"));
            assert!(matches!(refused, Err(ClientError::Refused(_))), "{no:?}");
        }
    }
}
