//! slitwright as a service and from the shell.
//!
//! This crate does no geometry: it turns the protocol's messages into the solver's types and back
//! ([`convert`]), keeps models and requests for good ([`store`]), works on them ([`jobs`]), speaks
//! gRPC ([`serve`]) behind what guards it ([`front`]), hands out what is drawn of plans ([`files`]) and a page for
//! the browser (`page`), and runs the same work in-process for the shell ([`cli`]). [`planner`] is the seam to
//! the solver.

pub mod cli;
pub mod convert;
pub mod files;
pub mod front;
mod grpc;
pub mod jobs;
mod page;
pub mod planner;
mod refusal;
mod serve;
pub mod store;
mod text;

pub use grpc::UploadRules;
pub use planner::{PlanFault, Planner, SolverPlanner};
pub use serve::{ServeConfig, ServeError, serve};
pub use store::StoreLimits;
