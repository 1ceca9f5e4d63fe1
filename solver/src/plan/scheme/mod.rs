//! Cuts that somebody has drawn, judged by the same eyes as an automatic plan.
//!
//! [`judge_scheme`] carries the lines on to the planning mesh, looks for rings of rubber that they
//! leave too tight, makes the sheets, and tells what is wrong, where and by how much. It searches for
//! nothing: the plan that comes back has no bound.
//!
//! A drawn cut is judged on the planning mesh. Lines nearer to each other, or to the gate, than an edge
//! of it may be taken to meet.

mod carry;
mod fault;
mod given;
mod judge;
mod miss;
mod misses;
mod sides;

pub use fault::SchemeFault;
pub use given::{Scheme, SchemeCut, SchemeLine};
pub use judge::{Judged, judge_scheme};
pub use miss::Miss;
