//! Holes of model and board, and the rubber bridges that run through them.

use crate::mesh::Point;

/// A hole of the model (or of model and board) with the rubber that runs through it.
#[derive(Clone, Debug, PartialEq)]
pub struct Bridge {
    /// What the hole is made of.
    pub kind: BridgeKind,
    /// Where the knife meets the model when it cuts the bridge across: vertices of the planning
    /// mesh, in order. Closed for a hole of the model alone; for a hole between model and board
    /// it runs from one gate vertex to another and the board closes it.
    pub path: Vec<u32>,
    /// Whether `path` closes on itself.
    pub closed: bool,
    /// Length of the cut on the model, mm.
    pub length: f64,
    /// The narrowest section of the bridge, mm^2: area of the disc that the cut spans.
    pub neck_area: f64,
    /// Greatest width across the disc, mm.
    pub neck_width: f64,
    /// Length of the bridge along the hole, mm.
    pub depth: f64,
    /// Middle of the disc.
    pub centre: Point,
    /// Whether the disc crosses nothing but its own rim. When not, the hole has no plain disc.
    pub disc: DiscState,
}

/// What a hole is made of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BridgeKind {
    /// A hole of the model by itself, such as a handle's.
    Handle,
    /// A hole between the model and the board, such as the one between two feet.
    Arch,
}

/// Whether a plain cut across the bridge exists.
#[derive(Clone, Debug, PartialEq)]
pub enum DiscState {
    /// The disc lies in the rubber and touches the model at its rim only.
    Plain,
    /// The model passes through every disc that was tried: the hole is knotted or linked.
    Knotted {
        /// How often the model crosses the best disc.
        crossings: u32,
        /// Plain words for the person.
        explanation: String,
    },
}
