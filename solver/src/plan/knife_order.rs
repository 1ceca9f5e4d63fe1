//! In which order cuts are made.

use super::setup::Setup;
use crate::bridges::BridgeKind;
use crate::curves::CutCurves;
use crate::mesh::Point;

/// From the gate first, long before short; then by height above the board.
pub(super) fn order_key(curve: &CutCurves) -> f64 {
    if curve.from_gate {
        return -curve.length() * 1e-6;
    }
    1.0 + lowest(curve)
}

fn lowest(curve: &CutCurves) -> f64 {
    curve
        .chains
        .iter()
        .flat_map(|c| &c.points)
        .map(|p| p.point.z)
        .fold(f64::INFINITY, f64::min)
        .max(0.0)
}

/// A bridge against the board comes first, any other right after the cut that opens the way.
pub(super) fn bridge_key(setup: &Setup, index: usize, curves: &[CutCurves]) -> f64 {
    let bridge = &setup.bridges.bridges[index];
    if bridge.kind == BridgeKind::Arch {
        return -1.0;
    }
    curves
        .iter()
        .map(|c| (distance_between(c, &bridge.rim), order_key(c)))
        .min_by(|a, b| a.0.total_cmp(&b.0))
        .map_or(0.0, |(_, key)| key + 1e-9 * (1.0 + index as f64))
}

pub(super) fn distance_between(curve: &CutCurves, rim: &[Point]) -> f64 {
    curve
        .chains
        .iter()
        .flat_map(|c| &c.points)
        .flat_map(|p| rim.iter().map(move |q| (p.point - q).norm()))
        .fold(f64::INFINITY, f64::min)
}
