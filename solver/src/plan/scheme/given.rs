//! Cuts as somebody would make them.

use crate::mesh::Point;

/// Cuts as somebody would make them.
#[derive(Clone, Debug, PartialEq)]
pub struct Scheme {
    /// The cuts, in any order.
    pub cuts: Vec<SchemeCut>,
    /// How far points may lie off the model, and how near an end must come to the gate or to another
    /// line to meet it, mm.
    pub tolerance: f64,
}

impl Default for Scheme {
    fn default() -> Self {
        Self { cuts: Vec::new(), tolerance: 1.0 }
    }
}

/// One cut of a scheme.
#[derive(Clone, Debug, PartialEq)]
pub struct SchemeCut {
    /// What the person calls it, for messages.
    pub name: String,
    /// Where it runs.
    pub line: SchemeLine,
}

/// Where a cut of a scheme runs.
#[derive(Clone, Debug, PartialEq)]
pub enum SchemeLine {
    /// A line on or near the model, in the model's own coordinates, mm. A closed line repeats its first
    /// point. Branches of one cut are lines of their own that end on each other. A line round the
    /// hole of a handle, or from foot to foot through an arch, cuts that bridge across.
    Points(Vec<Point>),
    /// Bridge number `0, 1, 2 ...` (A, B, C) is cut across along the program's own line.
    Bridge(usize),
}
