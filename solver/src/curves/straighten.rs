//! Straightening that keeps every row met.
//!
//! Each chain is drawn straight as a whole where the rows and the weights allow. Where a row needs
//! the way that the chain went, or that way is cheaper for its weights, the chain is halved and the
//! halves are tried by themselves, down to single edges, which are as they were. Lengths lost in
//! strips are made up at free ends afterwards.

use super::ends::lengthen_ends;
use super::measure::{Contribution, CurveRows};
use super::path::{CutCurve, CutCurves, straighten_chain, straighten_fixed, way_points};
use super::weigh::weighted_length;
use crate::girth::PlanningGraph;
use crate::mesh::CurvePoint;

/// Shares of a strip that a chain may lose by straightening, tried in turn: free ends can make up
/// for some.
const MAY_LOSE: [f64; 3] = [0.15, 0.04, 0.0];

/// Straighten `cuts` and `rims` as far as the rows stay met. Rims have no free ends. Returns the
/// rows that stay missed, with the share that is missing.
pub(super) fn straighten_within_rows(
    graph: &PlanningGraph,
    rows: &CurveRows<'_>,
    cuts: &mut Vec<CutCurves>,
    rims: &mut Vec<CutCurves>,
    least_cut: f64,
) -> Vec<(usize, f64)> {
    let (raw_cuts, raw_rims) = (cuts.clone(), rims.clone());
    let mut missed = Vec::new();
    for may_lose in MAY_LOSE {
        cuts.clone_from(&raw_cuts);
        rims.clone_from(&raw_rims);
        straighten_all(graph, rows, cuts, rims, may_lose);
        missed = lengthen_ends(graph, rows, cuts, rims, least_cut);
        if missed.is_empty() {
            break;
        }
    }
    missed
}

fn straighten_all(
    graph: &PlanningGraph,
    rows: &CurveRows<'_>,
    cuts: &mut [CutCurves],
    rims: &mut [CutCurves],
    may_lose: f64,
) {
    let mut all: Vec<(bool, &mut CutCurve)> = rims
        .iter_mut()
        .map(|c| (true, c))
        .chain(cuts.iter_mut().map(|c| (false, c)))
        .flat_map(|(is_rim, c)| c.chains.iter_mut().map(move |chain| (is_rim, chain)))
        .collect();
    let mut done: Vec<Contribution> =
        all.iter().map(|(is_rim, c)| rows.contribution(&c.points, *is_rim)).collect();
    let worst = |curves: &[Contribution]| {
        rows.missed(curves, 0.0).into_iter().map(|m| m.1).fold(0.0, f64::max)
    };
    for k in 0..all.len() {
        let is_rim = all[k].0;
        // Shares lost on the way add up, so each chain may lose its part only.
        let may_lose = may_lose.max(worst(&done));
        let most = weighted_length(graph, &all[k].1.points) * (1.0 + 1e-9);
        let accepts = |points: &[CurvePoint]| {
            // Rims cost nothing.
            if !is_rim && weighted_length(graph, points) > most {
                return false;
            }
            let mut tried = done.clone();
            tried[k] = rows.contribution(points, is_rim);
            worst(&tried) <= may_lose
        };
        let whole = straighten_chain(graph, &all[k].1.way);
        let points = if accepts(&whole) {
            whole
        } else {
            let mut pieces = vec![all[k].1.way.clone()];
            let mut best = all[k].1.points.clone();
            // Halve until the joined halves are accepted; single edges are as they were.
            while pieces.iter().any(|p| p.len() > 2) {
                pieces = pieces.iter().flat_map(|p| halves(p)).collect();
                let joined = join(graph, &pieces);
                if accepts(&joined) {
                    best = joined;
                    break;
                }
            }
            best
        };
        done[k] = rows.contribution(&points, is_rim);
        all[k].1.points = points;
    }
}

fn halves(way: &[u32]) -> Vec<Vec<u32>> {
    if way.len() <= 2 {
        return vec![way.to_vec()];
    }
    let middle = way.len() / 2;
    vec![way[..=middle].to_vec(), way[middle..].to_vec()]
}

fn join(graph: &PlanningGraph, pieces: &[Vec<u32>]) -> Vec<CurvePoint> {
    let mut points: Vec<CurvePoint> = Vec::new();
    for piece in pieces {
        let drawn =
            if piece.len() > 2 { straighten_fixed(graph, piece) } else { way_points(graph, piece) };
        points.extend(drawn.into_iter().skip(usize::from(!points.is_empty())));
    }
    points
}
