//! Free ends of cuts: lengthened where a row is missed, shortened where none needs them.

use super::measure::CurveRows;
use super::measured::Measured;
use super::path::CutCurves;
use super::weigh::weighted_length;
use crate::girth::PlanningGraph;
use crate::mesh::{CurvePoint, FaceId, Point, Vector, barycentric, faces_round};

/// One free end of one chain.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct FreeEnd {
    cut: usize,
    chain: usize,
    at_start: bool,
}

/// Free ends of all cuts, in order.
pub(super) fn free_ends(cuts: &[CutCurves]) -> Vec<FreeEnd> {
    let mut ends = Vec::new();
    for (cut, curves) in cuts.iter().enumerate() {
        for (chain, curve) in curves.chains.iter().enumerate() {
            for (free, at_start) in [(curve.free_start, true), (curve.free_end, false)] {
                if free {
                    ends.push(FreeEnd { cut, chain, at_start });
                }
            }
        }
    }
    ends
}

/// Lengthen free ends, a step at a time where it helps most, until every row is met and no cut is
/// shorter than `least_cut` mm. Returns the rows that stay missed, with the share that is missing.
///
/// `rims` count towards rows but are not changed.
pub(super) fn lengthen_ends(
    graph: &PlanningGraph,
    rows: &CurveRows<'_>,
    cuts: &mut [CutCurves],
    rims: &[CutCurves],
    least_cut: f64,
) -> Vec<(usize, f64)> {
    let ends = free_ends(cuts);
    let step = 0.25 * graph.mean_edge();
    for &end in &ends {
        let lacking = least_cut - cuts[end.cut].length();
        if lacking > 0.0 {
            let longer = lengthen(graph, end.points(cuts), end.at_start, lacking);
            end.set(cuts, longer);
        }
    }
    let mut measured = Measured::new(rows, cuts, rims);
    let mut open = measured.missed();
    for _ in 0..24 * ends.len() {
        if open.is_empty() {
            break;
        }
        // A ring may lie some way ahead of every end.
        let best =
            LEAPS.into_iter().find_map(|leap| best_end(graph, &measured, &open, cuts, leap * step));
        let Some((end, longer)) = best else { break };
        measured.change(end.cut, end.chain, &longer);
        end.set(cuts, longer);
        open = measured.missed();
    }
    open
}

/// Steps that an end is led on at once, the next number where the one before helps no row.
const LEAPS: [f64; 5] = [1.0, 2.0, 4.0, 8.0, 16.0];

/// The free end where `step` mm more help the `open` rows most, and its curve with them; none where they help
/// nowhere.
fn best_end(
    graph: &PlanningGraph,
    measured: &Measured<'_, '_>,
    open: &[(usize, f64)],
    cuts: &[CutCurves],
    step: f64,
) -> Option<(FreeEnd, Vec<CurvePoint>)> {
    let total = |rows: &[(usize, f64)]| rows.iter().map(|m| m.1).sum::<f64>();
    let mut best: Option<(f64, FreeEnd, Vec<CurvePoint>)> = None;
    for end in free_ends(cuts) {
        let longer = lengthen(graph, end.points(cuts), end.at_start, step);
        if weighted_length(graph, &longer).is_infinite() {
            continue;
        }
        // More cut never misses a row that was met.
        let added = split(graph, &longer, end.at_start, step).1;
        let now = total(&measured.still_missed(open, &added));
        if best.as_ref().is_none_or(|(least, _, _)| now < *least) {
            best = Some((now, end, longer));
        }
    }
    let (now, end, longer) = best?;
    (now < total(open) - 1e-9).then_some((end, longer))
}

/// Lead every free end on by `amount` mm.
pub(super) fn lengthen_all(graph: &PlanningGraph, cuts: &mut [CutCurves], amount: f64) {
    for end in free_ends(cuts) {
        let longer = lengthen(graph, end.points(cuts), end.at_start, amount);
        if weighted_length(graph, &longer).is_finite() {
            end.set(cuts, longer);
        }
    }
}

/// How far free ends are taken off.
pub(super) struct Shortening {
    /// Most that an end may lose, mm.
    pub most: f64,
    /// No cut becomes shorter than this, mm.
    pub least_cut: f64,
    /// Halvings.
    pub steps: u32,
}

/// Take off each free end in turn, by bisection, as much as the rows for which `counts` holds and `holds`
/// allow. `rims` count towards rows but are not changed.
pub(super) fn shorten_ends(
    graph: &PlanningGraph,
    rows: &CurveRows<'_>,
    cuts: &mut [CutCurves],
    rims: &[CutCurves],
    shortening: &Shortening,
    counts: impl Fn(usize) -> bool,
    mut holds: impl FnMut(&[CutCurves]) -> bool,
) {
    let mut measured = Measured::new(rows, cuts, rims);
    for end in free_ends(cuts) {
        let full = end.points(cuts).to_vec();
        let spare = (cuts[end.cut].length() - shortening.least_cut).max(0.0);
        let own = 0.9 * cuts[end.cut].chains[end.chain].length();
        let (mut low, mut high) = (0.0, shortening.most.min(spare).min(own));
        if high < 0.02 * graph.mean_edge() {
            continue;
        }
        let most = high;
        measured.change(end.cut, end.chain, &split(graph, &full, end.at_start, most).0);
        // Only rows that are missed without the whole piece can be missed without a part of it.
        let mut open = measured.missed();
        open.retain(|&(row, _)| counts(row));
        for _ in 0..shortening.steps {
            let middle = 0.5 * (low + high);
            let shorter = split(graph, &full, end.at_start, middle).0;
            let left = split(graph, &shorter, end.at_start, most - middle).1;
            let are_met = measured.still_missed(&open, &left).is_empty();
            end.set(cuts, shorter);
            if are_met && holds(cuts) { low = middle } else { high = middle }
        }
        let kept = if low > 0.0 { split(graph, &full, end.at_start, low).0 } else { full };
        measured.change(end.cut, end.chain, &kept);
        end.set(cuts, kept);
    }
}

impl FreeEnd {
    fn points(self, cuts: &[CutCurves]) -> &[CurvePoint] {
        &cuts[self.cut].chains[self.chain].points
    }

    fn set(self, cuts: &mut [CutCurves], points: Vec<CurvePoint>) {
        cuts[self.cut].chains[self.chain].points = points;
    }
}

/// A curve less `amount` mm at one end, and the piece taken off, which runs towards that end.
fn split(
    graph: &PlanningGraph,
    points: &[CurvePoint],
    start: bool,
    amount: f64,
) -> (Vec<CurvePoint>, Vec<CurvePoint>) {
    let mut rest: Vec<CurvePoint> = points.to_vec();
    if start {
        rest.reverse();
    }
    let mut off = Vec::new();
    let mut left = amount;
    while rest.len() >= 2 {
        let (last, before) = (rest[rest.len() - 1], rest[rest.len() - 2]);
        let piece = (last.point - before.point).norm();
        off.push(last);
        rest.pop();
        if piece > left {
            let point = last.point + (before.point - last.point) * (left / piece);
            let face = face_of_piece(graph, &before, &last);
            rest.push(CurvePoint { point, face, vertex: None });
            break;
        }
        left -= piece;
    }
    off.extend(rest.last());
    off.reverse();
    if start {
        rest.reverse();
    }
    (rest, off)
}

/// A curve led straight on at one end by `amount` mm over the faces of the mesh.
fn lengthen(
    graph: &PlanningGraph,
    points: &[CurvePoint],
    start: bool,
    amount: f64,
) -> Vec<CurvePoint> {
    let mut longer: Vec<CurvePoint> = points.to_vec();
    if start {
        longer.reverse();
    }
    let count = longer.len();
    if count >= 2 {
        let from = longer[count - 2];
        let at = longer[count - 1];
        if let Some(heading) = (at.point - from.point).try_normalize(1e-12) {
            longer.extend(walk_on(graph, at, heading, amount));
        }
    }
    if start {
        longer.reverse();
    }
    longer
}

/// Points of a straight walk over faces: in each face the heading stays, across an edge it is
/// turned with the face.
fn walk_on(graph: &PlanningGraph, at: CurvePoint, heading: Vector, amount: f64) -> Vec<CurvePoint> {
    let mesh = &graph.mesh;
    let mut points = Vec::new();
    let mut left = amount;
    let mut here = at.point;
    let mut heading = heading;
    // Cuts end at the rim of a disc.
    let is_model = |f: u32| (f as usize) < graph.model_faces;
    // The face ahead: of those that hold the point, the one the heading runs furthest inside.
    let holding = match at.vertex {
        Some(v) => faces_round(&graph.topology, v),
        None => {
            let edges = graph.topology.face_edges[at.face as usize];
            std::iter::once(at.face)
                .chain(edges.iter().flat_map(|&e| graph.topology.edge_faces[e as usize]))
                .collect()
        }
    };
    let ahead = |p: &Point, d: &Vector| {
        holding
            .iter()
            .copied()
            .filter(|&f| is_model(f))
            .map(|f| {
                let normal = mesh.area_vector(FaceId(f)).normalize();
                let flat = d - normal * d.dot(&normal);
                let probe = p + flat * (0.05 * graph.mean_edge());
                let w = barycentric(mesh.corners(FaceId(f)), &probe);
                (w.iter().copied().fold(f64::INFINITY, f64::min), f)
            })
            .max_by(|a, b| a.0.total_cmp(&b.0).then(b.1.cmp(&a.1)))
    };
    let Some((_, mut face)) = ahead(&here, &heading) else { return points };
    for _ in 0..200 {
        let normal = mesh.area_vector(FaceId(face)).normalize();
        let Some(flat) = (heading - normal * heading.dot(&normal)).try_normalize(1e-12) else {
            break;
        };
        heading = flat;
        let corners = mesh.corners(FaceId(face));
        let (now, then) = (barycentric(corners, &here), barycentric(corners, &(here + heading)));
        // First corner weight to reach zero: the edge opposite that corner is crossed.
        let mut exit = (f64::INFINITY, 0);
        for k in 0..3 {
            let rate = then[k] - now[k];
            if rate < -1e-12 {
                let way = (now[k].max(0.0)) / -rate;
                if way < exit.0 {
                    exit = (way, k);
                }
            }
        }
        if exit.0 >= left || !exit.0.is_finite() {
            points.push(CurvePoint { point: here + heading * left, face, vertex: None });
            break;
        }
        here += heading * exit.0;
        left -= exit.0;
        if exit.0 > 1e-9 {
            points.push(CurvePoint { point: here, face, vertex: None });
        }
        // Edge k runs from corner k to k + 1, so the edge opposite corner k is k + 1.
        let edge = graph.topology.face_edges[face as usize][(exit.1 + 1) % 3];
        let [a, b] = graph.topology.edge_faces[edge as usize];
        face = if a == face { b } else { a };
        if !is_model(face) {
            break;
        }
    }
    points
}

/// The face in which the straight piece between two neighbouring points of a curve runs.
fn face_of_piece(graph: &PlanningGraph, a: &CurvePoint, b: &CurvePoint) -> u32 {
    let middle = nalgebra::center(&a.point, &b.point);
    let holding = |p: &CurvePoint| match p.vertex {
        Some(v) => faces_round(&graph.topology, v),
        None => {
            let edges = graph.topology.face_edges[p.face as usize];
            edges.iter().flat_map(|&e| graph.topology.edge_faces[e as usize]).collect()
        }
    };
    holding(b)
        .into_iter()
        .map(|f| {
            let corners = graph.mesh.corners(FaceId(f));
            let weights = barycentric(corners, &middle);
            let outside = -weights.iter().copied().fold(f64::INFINITY, f64::min);
            let off = (middle - corners[0]).dot(&graph.mesh.area_vector(FaceId(f)).normalize());
            (outside.max(0.0) * graph.mean_edge() + off.abs(), f)
        })
        .min_by(|x, y| x.0.total_cmp(&y.0).then(x.1.cmp(&y.1)))
        .map_or(b.face, |(_, f)| f)
}

#[cfg(test)]
mod tests {
    use super::super::measured::tests::{ball, cut, pools, upright};
    use super::*;
    use crate::girth::Ring;
    use crate::optimise::pool::RowPool;

    /// One ring lies several steps ahead of the only free end, its strip on the gate's side too: a single step
    /// helps no row, and yet the ring is reached.
    #[test]
    fn ends_reach_a_ring_that_lies_some_way_ahead() {
        let graph = ball();
        let loosest = |a: &Ring, b: &Ring| a.shortfall().total_cmp(&b.shortfall());
        let mut pools = pools(&graph);
        let ring = pools.must.rings.drain(..).min_by(loosest).expect("a ring");
        pools.must = RowPool::new(graph.edges.len());
        pools.must.add_rings(&graph, vec![ring]);
        let mut rows = CurveRows::new(&graph);
        rows.take_rows(&pools);
        let whole = upright(&graph);
        let mut cuts = [cut(&split(&graph, &whole, false, cut(&whole).length() - 3.0).0)];
        let measured = Measured::new(&rows, &cuts, &[]);
        let missed = measured.missed();
        let step = 0.25 * graph.mean_edge();
        assert!(missed.iter().any(|&(row, _)| rows.is_crossing(row)), "{missed:?}");
        assert!(best_end(&graph, &measured, &missed, &cuts, step).is_none(), "nothing lies ahead");
        let left = lengthen_ends(&graph, &rows, &mut cuts, &[], 0.0);
        assert!(left.is_empty(), "{left:?}");
        assert!(cuts[0].length() < cut(&whole).length());
    }
}
