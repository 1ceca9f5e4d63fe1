//! Cuts as they go out, by what they are made from.

use super::answer::{Cut, CutKind, Reason};
use super::candidate::Candidate;
use super::knife_order::distance_between;
use super::setup::Setup;
use super::surface::Outward;
use crate::bridges::BridgeKind;
use crate::curves::CutCurves;
use crate::mesh::{Point, polyline_length};
use crate::sheets::Sheet;

/// The line where the knife meets the model across a bridge: that of the sheet between two sides, of the
/// filled hole, or the straightened loop of the graph, or, for a hole that is not cut, the line found with the hole.
pub(super) fn rim_points(setup: &Setup, candidate: &Candidate, index: usize) -> Vec<Point> {
    let (own, bridge) = (&setup.rims[index], &setup.bridges.bridges[index]);
    let is_drawn = candidate.two_sides().is_some();
    match candidate.curves().rims[index].chains.as_slice() {
        [chain] if is_drawn => chain.points.iter().map(|p| p.point).collect(),
        _ if !own.is_empty() => own.clone(),
        [chain] => chain.points.iter().map(|p| p.point).collect(),
        _ => bridge.rim_line(),
    }
}

pub(super) fn exterior_cut(
    curve: &CutCurves,
    outward: &Outward<'_>,
    reason: Reason,
    sheets: Vec<Sheet>,
) -> Cut {
    let branches: Vec<Vec<Point>> = curve
        .branches()
        .map(|chain| {
            let points: Vec<Point> = chain.points.iter().map(|p| p.point).collect();
            let points =
                if chain.starts_at_gate { outward.gate().clipped(&points) } else { points };
            outward.curve(&points)
        })
        .collect();
    Cut {
        order: 0,
        kind: if curve.from_gate { CutKind::FromGate } else { CutKind::Separate },
        length: branches.iter().map(|b| polyline_length(b)).sum(),
        branches,
        reason,
        sheets,
    }
}

pub(super) fn bridge_cut(setup: &Setup, index: usize, rim: Vec<Point>, sheets: Vec<Sheet>) -> Cut {
    let bridge = &setup.bridges.bridges[index];
    let through = match bridge.kind {
        BridgeKind::Handle => "a hole of the model",
        BridgeKind::Arch => "the gap between model and board",
    };
    Cut {
        order: 0,
        kind: CutKind::Bridge,
        length: polyline_length(&rim),
        branches: vec![rim],
        reason: Reason::CutsBridge {
            bridge: index as u32,
            text: format!(
                "rubber runs through {through}; its neck is {:.0} mm wide ({:.0} mm^2)",
                bridge.neck_width, bridge.neck_area
            ),
        },
        sheets,
    }
}

/// A cut that no ring asks for opens the way to a bridge.
pub(super) fn opening_reason(setup: &Setup, curve: &CutCurves) -> Reason {
    let nearest = (0..setup.bridges.bridges.len())
        .min_by(|&a, &b| {
            let d = |k: usize| distance_between(curve, &setup.bridges.bridges[k].rim);
            d(a).total_cmp(&d(b))
        })
        .unwrap_or(0);
    Reason::CutsBridge {
        bridge: nearest as u32,
        text: "opens the way for the blade to the bridge".to_owned(),
    }
}
