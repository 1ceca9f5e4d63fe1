//! What cut a failed trial asks for: across the rubber that was stretched round the place of the hindrance.

use rayon::prelude::*;
use rstar::primitives::GeomWithData;
use rstar::{AABB, RTree};

use crate::body::MouldBody;
use crate::girth::PlanningGraph;
use crate::mesh::{Point, Vector};
use crate::nalgebra::Matrix3;
use crate::optimise::relief::Relief;
use crate::trial::{Hindrance, TrialReport};

/// Rubber counts less with its distance from the place, to nothing at this share of the model's longest
/// side. Like the three numbers below tried on balls on rods and demo pieces; no source.
const ZONE: f64 = 0.3;
/// What is asked for is a cut as long as this share of the model's longest side, where it relieves most.
/// Every failure asks for more of it: where it was cut, rubber is slack.
const LENGTH: f64 = 0.25;
/// It relieves most among edges so many times as long as it: no millimetre counts more than they do on average.
const AMONG: f64 = 4.0;
/// No more is asked than this share of what all edges together relieve: a cut is a way, not an area.
const MOST: f64 = 0.25;

/// Relief where a hindrance is felt, by the last state of a failed trial, and the length of cut (mm) that
/// brings it at the best place, so many `times` the usual. `open` are edges that are cut in any case. None if
/// no rubber is stretched there.
pub(super) fn relief_near(
    (hindrance, place): (Hindrance, &Point),
    report: &TrialReport,
    graph: &PlanningGraph,
    body: &MouldBody,
    open: &[u32],
    times: usize,
) -> Option<(Relief, f64)> {
    let zone = ZONE * graph.mesh.longest_side();
    let length = LENGTH * graph.mesh.longest_side() * times as f64;
    let counts = closeness(hindrance, place, zone, report);
    let stretched = over_vertices(report, &counts, graph, body);
    let free = Relief { stretched, most: f64::INFINITY, asked: f64::INFINITY };
    let mut edges: Vec<(f64, f64)> = free
        .edges(graph, open)
        .into_iter()
        .map(|(e, part)| (part, graph.edges[e as usize].length))
        .collect();
    if edges.is_empty() {
        return None;
    }
    edges.sort_by(|a, b| (b.0 / b.1).total_cmp(&(a.0 / a.1)));
    let (mut part, mut run) = (0.0, 0.0);
    for (p, l) in &edges {
        part += p;
        run += l;
        if run >= AMONG * length {
            break;
        }
    }
    let most = part / run;
    let all: f64 = edges.iter().map(|(part, length)| part.min(most * length)).sum();
    let relief = Relief { most, asked: (most * length).min(MOST * all), ..free };
    (relief.asked > 0.0).then_some((relief, length))
}

/// How much each element counts: one at the place, falling to nothing at the zone's border. A tear is told
/// where the rubber was at rest, anything else where it is now.
fn closeness(hindrance: Hindrance, place: &Point, zone: f64, report: &TrialReport) -> Vec<f64> {
    let frame = match hindrance {
        Hindrance::Tear => 0,
        Hindrance::Pull | Hindrance::Caught => report.frames.len().saturating_sub(1),
    };
    let middles = report.middles(frame);
    middles.iter().map(|m| (1.0 - (m - place).norm() / zone).max(0.0)).collect()
}

/// Right Cauchy-Green tensor of the rubber over each vertex, from the model to the outside: the mean of
/// elements near the line out, unity mixed in by how little they count. Where the model stands in the way,
/// as across a hole, no cut opens the mould, and it is unity.
fn over_vertices(
    report: &TrialReport,
    counts: &[f64],
    graph: &PlanningGraph,
    body: &MouldBody,
) -> Vec<Matrix3<f64>> {
    let tensors = report.cauchy_green(report.frames.len().saturating_sub(1));
    let (middles, volumes) = (report.middles(0), report.volumes());
    let reach = report.mesh.spacing.max(graph.mean_edge());
    let near = RTree::bulk_load(
        middles.iter().zip(0..).map(|(m, e)| GeomWithData::new([m.x, m.y, m.z], e)).collect(),
    );
    let one = |p: &Point, normal: &Vector| {
        if !body.is_open(p, normal) {
            return Matrix3::identity();
        }
        let depth = body.wall_thickness(p, normal);
        let top = p + normal * depth;
        let low = p.inf(&top).map(|c| c - reach);
        let high = p.sup(&top).map(|c| c + reach);
        let box_round = AABB::from_corners([low.x, low.y, low.z], [high.x, high.y, high.z]);
        let mut round: Vec<usize> =
            near.locate_in_envelope(box_round).map(|middle| middle.data).collect();
        // Most of the rubber is far from the place and counts for nothing.
        if round.iter().all(|&e| counts[e] <= 0.0) {
            return Matrix3::identity();
        }
        // In order, so that sums come out the same.
        round.sort_unstable();
        let (mut sum, mut whole) = (Matrix3::zeros(), 0.0);
        for e in round {
            let out = (middles[e] - p).dot(normal).clamp(0.0, depth);
            let away = (middles[e] - (p + normal * out)).norm();
            if away < reach {
                let weight = volumes[e] * (1.0 - away / reach);
                sum += (tensors[e] - Matrix3::identity()) * (weight * counts[e]);
                whole += weight;
            }
        }
        if whole > 0.0 { Matrix3::identity() + sum / whole } else { Matrix3::identity() }
    };
    let normals = graph.mesh.vertex_normals();
    graph.mesh.positions.par_iter().zip(&normals).map(|(p, n)| one(p, n)).collect()
}
