//! Plans for the tests of this module.

use crate::mesh::{Point, Vector};
use crate::plan::{Cut, CutKind, Figures, Plan, Reason, StopReason};

/// A plan with nothing in it, z up.
pub(super) fn empty_plan() -> Plan {
    Plan {
        cuts: Vec::new(),
        bridges: Vec::new(),
        near_bridges: Vec::new(),
        sheets: None,
        hinges: Vec::new(),
        stretches: Vec::new(),
        gate_outline: Vec::new(),
        up: Vector::z(),
        total_length: 0.0,
        cost: 0.0,
        lower_bound: 0.0,
        gap: 0.0,
        stopped_by: StopReason::Optimal,
        rubber_volume: 0.0,
        rubber_mass: 0.0,
        warnings: Vec::new(),
        limits: Vec::new(),
        figures: Figures::default(),
    }
}

/// A cut of one branch.
pub(super) fn cut(order: u32, kind: CutKind, line: Vec<Point>) -> Cut {
    let length = line.windows(2).map(|w| (w[1] - w[0]).norm()).sum();
    let reason = Reason::FreesRing {
        ring_length: 60.0,
        girth: 120.0,
        beyond: Point::origin(),
        text: "the ring below the middle is too tight for the middle".to_owned(),
    };
    Cut { order, kind, branches: vec![line], length, reason, sheets: Vec::new() }
}
