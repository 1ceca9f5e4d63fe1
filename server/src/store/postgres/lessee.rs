//! Who claims jobs.

use std::time::Duration;

/// This process, as leases know it.
pub struct Lessee {
    /// Its name among the others.
    pub worker: String,
    /// How long a claim holds unless it is renewed.
    pub lease: Duration,
}

impl Lessee {
    /// The lease in milliseconds.
    pub fn millis(&self) -> i64 {
        i64::try_from(self.lease.as_millis()).unwrap_or(i64::MAX)
    }
}
