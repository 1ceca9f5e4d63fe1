//! The plan: what is asked, what comes out, and the way from one to the other.

mod answer;
mod assemble;
mod checkpoint;
mod compare;
mod correct;
mod follow;
mod hinges;
mod hooks;
mod improve;
mod make;
mod near;
mod pass;
mod potential;
mod reasons;
mod relief;
mod request;
mod scheme;
mod setup;
mod sheets;
mod skin;
mod surface;
mod trial;

pub use crate::optimise::search::StopReason;
pub use answer::*;
pub use compare::{Candidate, Compared, Comparison, compare, keeps_and_releases};
pub use hooks::*;
pub use make::{PlanError, make_plan, make_plan_with};
pub use request::*;
pub use scheme::{Judged, Miss, Scheme, SchemeCut, SchemeFault, SchemeLine, judge_scheme};
pub use trial::{Demand, NotTried, PlanTrial, TrialVerdict};
