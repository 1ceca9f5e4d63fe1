//! What a server says of itself.

use slitwright_proto::v1;
use slitwright_solver::plan::PlanRequest;

use super::limits::{COMPARED, FILES, MOST_SECONDS, REQUEST};
use super::paging::GREATEST_SIZE;
use super::upload::{CHUNK, UploadRules};
use crate::convert::request_to_proto;
use crate::files::MOST_BYTES;
use crate::store::StoreLimits;

/// Version, defaults and limits.
pub fn server_info(uploads: &UploadRules, store: &StoreLimits) -> v1::ServerInfo {
    let count = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
    v1::ServerInfo {
        version: env!("CARGO_PKG_VERSION").to_owned(),
        defaults: Some(request_to_proto(&PlanRequest::default(), v1::RubberClass::MediumSilicone)),
        limits: Some(v1::Limits {
            model_bytes: uploads.most_bytes,
            model_triangles: uploads.most_triangles,
            chunk_bytes: CHUNK as u64,
            uploads: count(uploads.at_once),
            waiting_plans: count(store.waiting_jobs),
            ended_plans: count(store.ended_jobs),
            request_bytes: REQUEST as u64,
            plan_seconds: MOST_SECONDS,
            page_size: count(GREATEST_SIZE),
            compared_plans: count(COMPARED),
            file_bytes: MOST_BYTES as u64,
            files: count(FILES),
        }),
    }
}
