//! Any bytes, read as a request whose drawn cuts are judged on a cube.
#![no_main]

use prost::Message as _;
use slitwright_proto::v1;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    if let Ok(message) = v1::PlanRequest::decode(bytes) {
        slitwright_fuzz::drawn_cuts(&message);
    }
});
