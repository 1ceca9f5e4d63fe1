//! The gRPC face: handlers that decode, call and encode.

mod errors;
mod mask;
mod paging;
mod plans;
mod service;
mod upload;
mod watch;

pub use service::Service;
pub use upload::UploadRules;
