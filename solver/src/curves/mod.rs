//! Cut curves: from edges of the planning graph to curves without mesh zig-zag, which still meet
//! every row and let no tight ring by.

mod drawn;
mod ends;
mod finish;
mod fitted;
mod held;
mod measure;
mod measured;
mod path;
mod rims;
mod straighten;
mod weigh;

pub use drawn::{Drawn, DrawnError, DrawnLine};
pub use finish::{FinishSettings, Finished, Finisher};
pub use held::Held;
pub use measure::{Contribution, CurveRows};
pub use path::{CutCurve, CutCurves, cut_chains, straighten_chain};
pub use rims::StraightRims;
pub use weigh::weighted_length;
