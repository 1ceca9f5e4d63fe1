//! The plan: what is asked, what comes out.

mod answer;
mod request;

pub use answer::*;
pub use request::*;
