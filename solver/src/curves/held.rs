//! Where a model is held.

use crate::girth::{PlanningGraph, Ring};
use crate::mesh::Point;

/// Where rubber that curves leave too tight holds the model.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Held {
    /// Middle of the ring.
    pub ring: Point,
    /// Middle of what lies beyond it.
    pub beyond: Point,
}

impl Held {
    /// By a ring of `graph`.
    pub(super) fn by(graph: &PlanningGraph, ring: &Ring) -> Self {
        let beyond = graph.middle(ring.beyond.iter().copied());
        Self { ring: graph.middle_of_ring(&ring.outline), beyond }
    }
}
