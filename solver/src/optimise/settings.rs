//! What a search is told.

/// What the search is told.
#[derive(Clone, Debug)]
pub struct SearchSettings {
    /// Price of one more separate cut, mm.
    pub entry_price: f64,
    /// A cut shorter than this costs as much as one of this length, mm.
    pub least_cut: f64,
    /// Least width of rubber between cuts, mm.
    pub hinge_width: f64,
    /// Seconds on the job's clock after which the search stops.
    pub deadline: f64,
    /// Seed of every random choice.
    pub seed: u64,
    /// Edges that are cut in any case: bridge loops. Their cost is not counted here.
    pub fixed: Vec<u32>,
    /// Whether the clock may break off a step of the search; if not, it is only as long as its work.
    pub by_clock: bool,
}
