//! The gRPC face: handlers that decode, call and encode.

mod errors;
mod files;
mod info;
mod limits;
mod listing;
mod mask;
mod mesh;
mod paging;
mod plans;
mod service;
mod upload;
mod watch;

pub use service::Service;
pub use upload::UploadRules;
