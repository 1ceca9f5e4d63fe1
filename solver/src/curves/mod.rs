//! Cut curves: from edges of the planning graph to curves without mesh zig-zag, which still meet
//! every row.

mod ends;
mod measure;
mod path;
mod strip;

pub use ends::{Unmet, fit_ends};
pub use measure::{Contribution, CurveRows};
pub use path::{CutCurve, CutCurves, straighten_cuts};
pub use strip::{CurvePoint, Strip};
