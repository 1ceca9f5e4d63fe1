//! Time as the database counts it.

use std::time::{Duration, SystemTime};

/// Milliseconds since 1970.
pub fn now() -> i64 {
    // A clock before 1970 is no case for an error of its own.
    let since = SystemTime::now().duration_since(SystemTime::UNIX_EPOCH).unwrap_or_default();
    millis(since)
}

/// Whole milliseconds.
pub fn millis(duration: Duration) -> i64 {
    i64::try_from(duration.as_millis()).unwrap_or(i64::MAX)
}
