//! The girth model: rings of rubber, how long they are, and what has to pass them.
//!
//! Every closed curve on the model that no cut crosses is a ring of rubber. It must let the part
//! of the model beyond it pass: its stretched length must reach the width of the best sweep of
//! that part. [`PlanningGraph`] carries the two metrics (cut length and ring length),
//! [`min_cut`] finds shortest rings, [`sweep`] finds widths, [`ring`] judges a ring; [`section`]
//! tells how thick the model is where a ring goes round it.

pub mod graph;
pub mod min_cut;
pub mod paths;
pub mod ring;
pub mod section;
pub mod sweep;
pub mod taut;

pub use graph::{GraphEdge, GraphError, PlanningGraph};
pub use ring::{Ring, RingJudge};
