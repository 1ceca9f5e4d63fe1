//! Any bytes, read as a request file.
#![no_main]

use slitwright_proto::v1;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    if let Ok(message) = serde_json::from_slice::<v1::PlanRequest>(bytes) {
        let text = serde_json::to_string(&message).expect("what was read can be written");
        serde_json::from_str::<v1::PlanRequest>(&text).expect("and read again");
        slitwright_fuzz::request(&message);
    }
});
