//! What a search is told.

use crate::control::Control;

/// Until when a search goes on, seconds on the job's clock without what is given on top.
#[derive(Clone, Copy, Debug)]
pub struct Deadline {
    with_plan: f64,
    without: f64,
}

/// So much longer, over its time, a search for a first plan may take: better late than none.
const LATE: f64 = 0.5;

impl Deadline {
    /// Whether there is a plan or not.
    pub fn strict(end: f64) -> Self {
        Self { with_plan: end, without: end }
    }

    /// The end of a search that has `seconds` until then, and some more where it has no plan yet.
    pub fn patient(end: f64, seconds: f64) -> Self {
        Self { with_plan: end, without: end + LATE * seconds.max(0.0) }
    }

    /// When it is, on a job's clock, seconds.
    pub fn on(&self, control: &Control<'_>, has_plan: bool) -> f64 {
        control.with_extra_time(if has_plan { self.with_plan } else { self.without })
    }
}

/// What the search is told.
#[derive(Clone, Debug)]
pub struct SearchSettings {
    /// Price of one more separate cut, mm.
    pub entry_price: f64,
    /// A cut shorter than this costs as much as one of this length, mm.
    pub least_cut: f64,
    /// Least width of rubber between cuts, mm.
    pub hinge_width: f64,
    /// When the search stops.
    pub deadline: Deadline,
    /// Seed of every random choice.
    pub seed: u64,
    /// Edges that are cut in any case: bridge loops. Their cost is not counted here.
    pub fixed: Vec<u32>,
    /// Whether the clock may break off a step of the search; if not, it is only as long as its work.
    pub by_clock: bool,
}
