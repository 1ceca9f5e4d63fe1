//! Any bytes, read as the message that asks for a plan.
#![no_main]

use prost::Message as _;
use slitwright_proto::v1;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    if let Ok(message) = v1::SubmitPlanRequest::decode(bytes) {
        slitwright_fuzz::request(&message.request.unwrap_or_default());
    }
});
