//! Free ends of cuts: lengthened where a row is missed, shortened where none needs them.

use super::measure::{Contribution, CurveRows};
use super::path::CutCurves;
use super::strip::{CurvePoint, barycentric, faces_round};
use crate::girth::PlanningGraph;
use crate::mesh::{FaceId, Point, Vector};

/// Rows are met on curves within this share.
const TOLERANCE: f64 = 2e-3;

/// A row that no lengthening of a free end could meet.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Unmet {
    /// Share that is missing.
    pub missing: f64,
}

/// Fit the free ends of all cuts to the rows. Returns the rows that stay unmet.
///
/// `fixed` are curves that count towards rows but are not changed. A cut shorter than `least_cut`
/// mm is lengthened to it.
pub fn fit_ends(
    graph: &PlanningGraph,
    rows: &CurveRows<'_>,
    cuts: &mut [CutCurves],
    fixed: &[CutCurves],
    least_cut: f64,
) -> Vec<Unmet> {
    let mut ends: Vec<(usize, usize, bool)> = Vec::new();
    for (i, cut) in cuts.iter().enumerate() {
        for (j, chain) in cut.chains.iter().enumerate() {
            if chain.free_start {
                ends.push((i, j, true));
            }
            if chain.free_end {
                ends.push((i, j, false));
            }
        }
    }
    let others: Vec<Contribution> = fixed
        .iter()
        .flat_map(|c| &c.chains)
        .map(|chain| rows.contribution(&chain.points))
        .collect();
    let step = 0.25 * graph.mean_edge();
    let missed = |cuts: &[CutCurves]| {
        let mut all: Vec<Contribution> = cuts
            .iter()
            .flat_map(|c| &c.chains)
            .map(|chain| rows.contribution(&chain.points))
            .collect();
        all.extend(others.iter().cloned());
        rows.missed(&all, TOLERANCE)
    };
    let total = |list: &[(usize, f64)]| list.iter().map(|m| m.1).sum::<f64>();
    let mut open = missed(cuts);
    let mut budget = 24 * ends.len().max(1);
    while !open.is_empty() && budget > 0 {
        budget -= 1;
        let mut best: Option<(f64, usize, Vec<CurvePoint>)> = None;
        for (index, &(i, j, start)) in ends.iter().enumerate() {
            let old = cuts[i].chains[j].points.clone();
            let longer = lengthen(graph, &old, start, step);
            cuts[i].chains[j].points = longer.clone();
            let now = total(&missed(cuts));
            cuts[i].chains[j].points = old;
            if best.as_ref().is_none_or(|(least, _, _)| now < *least) {
                best = Some((now, index, longer));
            }
        }
        match best {
            Some((now, index, longer)) if now < total(&open) - 1e-9 => {
                let (i, j, _) = ends[index];
                cuts[i].chains[j].points = longer;
                open = missed(cuts);
            }
            _ => break,
        }
    }
    if open.is_empty() {
        for &(i, j, start) in &ends {
            let spare = (cuts[i].length() - least_cut).max(0.0);
            let most = (3.0 * graph.mean_edge()).min(spare);
            shorten(graph, cuts, i, j, start, most, &missed);
        }
        for &(i, j, start) in &ends {
            let lacking = least_cut - cuts[i].length();
            if lacking > 0.0 {
                let points = &cuts[i].chains[j].points;
                cuts[i].chains[j].points = lengthen(graph, points, start, lacking);
            }
        }
    }
    open.into_iter().map(|(_, missing)| Unmet { missing }).collect()
}

/// Take off as much of one end as every row allows.
fn shorten(
    graph: &PlanningGraph,
    cuts: &mut [CutCurves],
    i: usize,
    j: usize,
    start: bool,
    most: f64,
    missed: &impl Fn(&[CutCurves]) -> Vec<(usize, f64)>,
) {
    let full = cuts[i].chains[j].points.clone();
    let length = cuts[i].chains[j].length();
    let (mut low, mut high) = (0.0, most.min(0.9 * length));
    for _ in 0..12 {
        let middle = 0.5 * (low + high);
        cuts[i].chains[j].points = cut_back(graph, &full, start, middle);
        if missed(cuts).is_empty() { low = middle } else { high = middle }
    }
    cuts[i].chains[j].points = if low > 0.0 { cut_back(graph, &full, start, low) } else { full };
}

/// A curve less `amount` mm at one end.
fn cut_back(
    graph: &PlanningGraph,
    points: &[CurvePoint],
    start: bool,
    amount: f64,
) -> Vec<CurvePoint> {
    let mut rest: Vec<CurvePoint> = points.to_vec();
    if start {
        rest.reverse();
    }
    let mut left = amount;
    while rest.len() >= 2 {
        let (last, before) = (rest[rest.len() - 1], rest[rest.len() - 2]);
        let piece = (last.point - before.point).norm();
        if piece > left {
            let point = last.point + (before.point - last.point) * (left / piece);
            let face = face_of_piece(graph, &before, &last);
            rest.pop();
            rest.push(CurvePoint { point, face, vertex: None });
            break;
        }
        left -= piece;
        rest.pop();
    }
    if start {
        rest.reverse();
    }
    rest
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
