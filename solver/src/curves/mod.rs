//! Cut curves: from edges of the planning graph to curves without mesh zig-zag, which still meet
//! every row.

mod ends;
mod measure;
mod path;
mod straighten;
mod strip;

pub use ends::Unmet;
pub use measure::{Contribution, CurveRows};
pub use path::{CutCurve, CutCurves, cut_chains, straighten_chain, straighten_cuts};
pub use straighten::straighten_within_rows;
pub use strip::{CurvePoint, Strip};
