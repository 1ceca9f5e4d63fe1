//! Rows measured on curves instead of edges.
//!
//! A ring is the zero level of the signed stretched distance from it, interpolated over the faces
//! of the planning mesh: positive beyond, negative on the gate's side. On a straight piece of a
//! curve within one face that distance is linear, so both questions are exact: does the curve
//! cross the ring, and how much of it lies in the strip.

use rayon::prelude::*;

use super::strip::{CurvePoint, barycentric};
use crate::girth::PlanningGraph;
use crate::optimise::rows::{RowKind, RowPool, signed_distance, stretch_at};

/// A row as curves see it.
struct CurveRow {
    kind: RowKind,
    ring: u32,
    depth: f64,
}

/// All ring rows of a pool, ready to be measured on curves.
pub struct CurveRows<'a> {
    graph: &'a PlanningGraph,
    rows: Vec<CurveRow>,
    /// Signed stretched distance from each ring at each vertex, mm.
    distance: Vec<Vec<f32>>,
}

/// What one curve does for every row.
#[derive(Clone, Debug)]
pub struct Contribution {
    /// Least and greatest signed distance from each ring.
    span: Vec<(f32, f32)>,
    /// Share of each row's strip that the curve fills.
    filled: Vec<f64>,
}

impl<'a> CurveRows<'a> {
    /// Prepare the rows of a pool.
    pub fn new(graph: &'a PlanningGraph, pool: &RowPool) -> Self {
        let distance = pool.rings.par_iter().map(|ring| signed_distance(graph, ring)).collect();
        let rows = pool
            .rows
            .iter()
            .filter(|row| row.kind != RowKind::BridgeOpening)
            .map(|row| CurveRow { kind: row.kind, ring: row.origin, depth: row.depth })
            .collect();
        Self { graph, rows, distance }
    }

    /// Number of rows.
    pub fn len(&self) -> usize {
        self.rows.len()
    }

    /// Whether there are no rows.
    pub fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }

    /// What a curve does for every row.
    pub fn contribution(&self, points: &[CurvePoint]) -> Contribution {
        let samples: Vec<([u32; 3], [f64; 3])> = points.iter().map(|p| self.weights(p)).collect();
        let at = |ring: usize, k: usize| {
            let (corners, weights) = &samples[k];
            let d = &self.distance[ring];
            (0..3).map(|c| f64::from(d[corners[c] as usize]) * weights[c]).sum::<f64>()
        };
        let span = (0..self.distance.len())
            .map(|ring| {
                (0..points.len()).fold((f32::INFINITY, f32::NEG_INFINITY), |(low, high), k| {
                    let d = at(ring, k) as f32;
                    (low.min(d), high.max(d))
                })
            })
            .collect::<Vec<_>>();
        let filled = self
            .rows
            .iter()
            .map(|row| {
                let ring = row.ring as usize;
                let (low, high) = match row.kind {
                    RowKind::StripBeyond => (0.0, row.depth),
                    RowKind::StripBefore => (-row.depth, 0.0),
                    _ => return 0.0,
                };
                let mut sum = 0.0;
                for k in 1..points.len() {
                    let length = (points[k].point - points[k - 1].point).norm();
                    let stretch = self.stretch(&samples[k]);
                    let (a, b) = (at(ring, k - 1), at(ring, k));
                    // Distances are measured along the graph, whose ways are a little longer than
                    // straight ones. A curve that runs from the ring right through the strip fills
                    // it whatever the way was measured on, so progress counts as length.
                    let progress = (a.clamp(low, high) - b.clamp(low, high)).abs();
                    sum += (length * stretch * share_between(a, b, low, high)).max(progress);
                }
                sum / row.depth.max(1e-9)
            })
            .collect();
        Contribution { span, filled }
    }

    /// Rows that the curves together do not meet, with what is missing (1 for a ring that is not
    /// crossed, else the share of the strip).
    pub fn missed(&self, curves: &[Contribution], tolerance: f64) -> Vec<(usize, f64)> {
        (0..self.rows.len())
            .filter_map(|r| {
                let row = &self.rows[r];
                let missing = match row.kind {
                    RowKind::Crossing => {
                        let crossed = curves.iter().any(|c| {
                            let (low, high) = c.span[row.ring as usize];
                            low <= 0.0 && high >= 0.0
                        });
                        if crossed { 0.0 } else { 1.0 }
                    }
                    _ => 1.0 - curves.iter().map(|c| c.filled[r]).sum::<f64>(),
                };
                (missing > tolerance).then_some((r, missing))
            })
            .collect()
    }

    fn stretch(&self, sample: &([u32; 3], [f64; 3])) -> f64 {
        (0..3).map(|c| stretch_at(self.graph, sample.0[c]) * sample.1[c]).sum()
    }

    fn weights(&self, p: &CurvePoint) -> ([u32; 3], [f64; 3]) {
        let corners = self.graph.mesh.faces[p.face as usize];
        if let Some(vertex) = p.vertex {
            return ([vertex; 3], [1.0, 0.0, 0.0]);
        }
        let weights = barycentric(corners.map(|v| self.graph.mesh.positions[v as usize]), &p.point);
        (corners, weights)
    }
}

/// Share of a piece, along which a value runs from `a` to `b`, where it lies within `low..high`.
fn share_between(a: f64, b: f64, low: f64, high: f64) -> f64 {
    let (least, most) = (a.min(b), a.max(b));
    if most - least < 1e-12 {
        return if least >= low && most <= high { 1.0 } else { 0.0 };
    }
    ((most.min(high) - least.max(low)) / (most - least)).clamp(0.0, 1.0)
}
