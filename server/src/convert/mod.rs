//! Between the protocol's messages and the solver's types. Nothing else in this crate knows both.

mod advice;
mod compare;
mod geometry;
mod model;
mod plan;
mod poses;
mod progress;
mod request;
mod scheme;
mod sheet;
mod sheet_rules;
mod standing;
mod trial;
mod violations;

pub use compare::{compared, comparison_to_proto};
pub use geometry::mesh_parts;
pub use model::{
    format_from_proto, is_cancelled, is_over_limit, options_from_proto, prepare_violations,
    report_to_proto, unit_from_proto,
};
pub use plan::{ending_from_proto, plan_to_proto};
pub use poses::poses_to_proto;
pub use progress::progress_to_proto;
pub use request::{named_class, request_from_proto, request_to_proto};
pub use scheme::scheme_of_plan;
pub use standing::standing_from_proto;
pub use violations::{Collector, InvalidFields, Violation, join};
