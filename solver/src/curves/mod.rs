//! Cut curves: from edges of the planning graph to curves without mesh zig-zag.

mod path;
mod strip;

pub use path::{CutCurve, CutCurves, straighten_cuts};
pub use strip::{CurvePoint, Strip};
