//! The plan: what is asked, what comes out, and the way from one to the other.

mod answer;
mod assemble;
mod hinges;
mod improve;
mod make;
mod near;
mod potential;
mod reasons;
mod request;
mod setup;
mod sheets;
mod surface;

pub use crate::optimise::search::StopReason;
pub use answer::*;
pub use make::{PlanError, make_plan};
pub use request::*;
