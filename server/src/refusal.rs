//! Errors as google.rpc.Status with details (Google's AIP-193, "Errors"): each carries a
//! google.rpc.ErrorInfo, whose reason a program can go by.

use std::collections::HashMap;

use tonic::{Code, Status};
use tonic_types::{ErrorDetails, StatusExt as _};

use crate::text::shortened;

/// Whose the reasons are.
const DOMAIN: &str = "slitwright";
/// Most bytes of an error's words, which go out twice: as they are and in the details. Answers end with
/// trailers, of which some clients take no more than 8 KiB.
const WORDS: usize = 1000;

/// An error with its reason.
pub fn refusal(code: Code, reason: &'static str, words: impl AsRef<str>) -> Status {
    refusal_with(code, reason, words, ErrorDetails::new())
}

/// An error with its reason and further details.
pub fn refusal_with(
    code: Code,
    reason: &'static str,
    words: impl AsRef<str>,
    mut details: ErrorDetails,
) -> Status {
    details.set_error_info(reason, DOMAIN, HashMap::<String, String>::new());
    Status::with_error_details(code, shortened(words.as_ref(), WORDS), details)
}
