//! Rows measured on curves instead of edges.
//!
//! A ring is the zero level of the signed stretched distance from it, interpolated over the faces
//! of the planning mesh: positive beyond, negative on the gate's side. On a straight piece of a
//! curve within one face that distance is linear, so both questions are exact: does the curve
//! cross the ring, and how much of it lies in the strip.

use std::ops::Range;

use rayon::prelude::*;

use super::held::Held;
use crate::girth::PlanningGraph;
use crate::mesh::{CurvePoint, Vector, barycentric};
use crate::optimise::pool::{Pools, RowPool};
use crate::optimise::relief::Relief;
use crate::optimise::rows::RowKind;
use crate::optimise::{signed_distance, stretch_at};

/// Where a point of a curve lies: corners of its face, and their shares.
type Sample = ([u32; 3], [f64; 3]);

/// A row as curves see it.
struct CurveRow {
    kind: RowKind,
    /// Index of the distance field that the row is measured on.
    field: u32,
    /// Width of the strip, or for a bridge how near to its rim a cut opens the way, mm.
    depth: f64,
    /// Length that meets the row, mm.
    least: f64,
}

/// Rows of a pool taken so far.
#[derive(Default)]
struct Taken {
    field_of_ring: Vec<u32>,
    rows: usize,
    /// See [`RowPool::epoch`].
    epoch: u32,
}

/// All ring rows of the pools, ready to be measured on curves.
pub struct CurveRows<'a> {
    graph: &'a PlanningGraph,
    normals: Vec<Vector>,
    rows: Vec<CurveRow>,
    /// Signed stretched distance from rings, or distance from the rims of bridges, at each vertex,
    /// mm.
    fields: Vec<Vec<f32>>,
    rows_of_field: Vec<Range<usize>>,
    /// What trials asked for, each with the row that it is.
    reliefs: Vec<(usize, Relief)>,
    must: Taken,
    wishes: Taken,
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
    /// No rows yet.
    pub fn new(graph: &'a PlanningGraph) -> Self {
        Self {
            graph,
            normals: graph.mesh.vertex_normals(),
            rows: Vec::new(),
            fields: Vec::new(),
            rows_of_field: Vec::new(),
            reliefs: Vec::new(),
            must: Taken::default(),
            wishes: Taken::default(),
        }
    }

    /// Take the rows that the pools have gained since the last call.
    pub fn take_rows(&mut self, pools: &Pools) {
        if (self.must.epoch, self.wishes.epoch) != (pools.must.epoch, pools.wishes.epoch) {
            self.forget_rings();
            (self.must.epoch, self.wishes.epoch) = (pools.must.epoch, pools.wishes.epoch);
        }
        let mut taken = std::mem::take(&mut self.must);
        self.take_rings(&pools.must, &mut taken);
        self.must = taken;
        let mut taken = std::mem::take(&mut self.wishes);
        self.take_rings(&pools.wishes, &mut taken);
        self.wishes = taken;
        for relief in &pools.reliefs[self.reliefs.len()..] {
            self.reliefs.push((self.rows.len(), relief.clone()));
            let (kind, asked) = (RowKind::Relief, relief.asked);
            // It is measured on no field.
            self.rows.push(CurveRow { kind, field: u32::MAX, depth: asked, least: asked });
        }
    }

    /// Forget all rows but those of openings.
    fn forget_rings(&mut self) {
        let fields = std::mem::take(&mut self.fields);
        let rows = std::mem::take(&mut self.rows);
        (self.must, self.wishes) = (Taken::default(), Taken::default());
        self.rows_of_field.clear();
        self.reliefs.clear();
        let mut openings = rows.into_iter().filter(|row| row.kind == RowKind::BridgeOpening);
        let mut next = openings.next();
        for (index, field) in fields.into_iter().enumerate() {
            if let Some(row) = next.take_if(|row| row.field as usize == index) {
                self.push_opening(field, row);
                next = openings.next();
            }
        }
    }

    fn push_opening(&mut self, field: Vec<f32>, row: CurveRow) {
        self.rows_of_field.push(self.rows.len()..self.rows.len() + 1);
        self.rows.push(CurveRow { field: self.fields.len() as u32, ..row });
        self.fields.push(field);
    }

    /// Take the rows of rings that one pool has gained since `taken`.
    fn take_rings(&mut self, pool: &RowPool, taken: &mut Taken) {
        let graph = self.graph;
        let fresh: Vec<Vec<f32>> = pool.rings[taken.field_of_ring.len()..]
            .par_iter()
            .map(|ring| signed_distance(graph, ring, f64::INFINITY))
            .collect();
        for field in fresh {
            taken.field_of_ring.push(self.fields.len() as u32);
            self.fields.push(field);
            self.rows_of_field.push(0..0);
        }
        for row in pool.rows[taken.rows..].iter().filter(|row| row.kind.is_of_ring()) {
            // The rows of a ring follow each other.
            let field = taken.field_of_ring[row.origin as usize];
            let range = &mut self.rows_of_field[field as usize];
            if range.start == range.end {
                range.start = self.rows.len();
            }
            range.end = self.rows.len() + 1;
            let (kind, depth) = (row.kind, row.depth);
            self.rows.push(CurveRow { kind, field, depth, least: depth });
        }
        taken.rows = pool.rows.len();
    }

    /// Ask for `opening` mm of cut within `reach` mm of a bridge's rim, given the distance of every
    /// vertex from that rim.
    pub fn add_opening(&mut self, distance_from_rim: &[f64], reach: f64, opening: f64) {
        let field = distance_from_rim.iter().map(|&d| d as f32).collect();
        let kind = RowKind::BridgeOpening;
        self.push_opening(field, CurveRow { kind, field: 0, depth: reach, least: opening });
    }

    /// Length of cut (mm) that opens the way to each bridge asked for, in the order asked.
    pub fn openings(&self, curves: &[Contribution]) -> Vec<f64> {
        (0..self.rows.len())
            .filter(|&r| self.rows[r].kind == RowKind::BridgeOpening)
            .map(|r| self.rows[r].least * curves.iter().map(|c| c.filled[r]).sum::<f64>())
            .collect()
    }

    /// Whether a row says that a ring is crossed, rather than by how much.
    pub fn is_crossing(&self, row: usize) -> bool {
        self.rows[row].kind == RowKind::Crossing
    }

    /// Number of rows.
    pub fn len(&self) -> usize {
        self.rows.len()
    }

    /// Whether there are no rows.
    pub fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }

    /// What a curve does for every row. The rim of a bridge opens the way to no bridge.
    pub fn contribution(&self, points: &[CurvePoint], is_rim: bool) -> Contribution {
        let samples: Vec<Sample> = points.iter().map(|p| self.weights(p)).collect();
        let lengths = self.lengths(points, &samples);
        let of_field = |field: usize| {
            let values = self.values(field, &samples);
            let rows = &self.rows[self.rows_of_field[field].clone()];
            let filled: Vec<f64> =
                rows.iter().map(|row| row.filled(&values, &lengths, is_rim)).collect();
            (span(&values), filled)
        };
        let all: Vec<((f32, f32), Vec<f64>)> =
            (0..self.fields.len()).into_par_iter().with_min_len(64).map(of_field).collect();
        let mut contribution = Contribution {
            span: Vec::with_capacity(all.len()),
            filled: vec![0.0; self.rows.len()],
        };
        for (field, (span, filled)) in all.into_iter().enumerate() {
            contribution.span.push(span);
            contribution.filled[self.rows_of_field[field].clone()].copy_from_slice(&filled);
        }
        for (row, relief) in self.reliefs.iter().filter(|_| !is_rim) {
            contribution.filled[*row] = self.relieved(relief, points, &samples) / relief.asked;
        }
        contribution
    }

    /// What a piece of a cut does for some rows only, those that `lacking` names: the share of each that it
    /// fills, 1 for a ring that it crosses.
    pub fn gains(&self, lacking: &[(usize, f64)], points: &[CurvePoint]) -> Vec<f64> {
        let samples: Vec<Sample> = points.iter().map(|p| self.weights(p)).collect();
        let lengths = self.lengths(points, &samples);
        let gain = |&(r, _): &(usize, f64)| {
            let row = &self.rows[r];
            if row.kind == RowKind::Relief {
                let own = self.reliefs.iter().find(|(index, _)| *index == r);
                return own.map_or(0.0, |(_, relief)| {
                    self.relieved(relief, points, &samples) / relief.asked
                });
            }
            let values = self.values(row.field as usize, &samples);
            if row.kind == RowKind::Crossing {
                let (low, high) = span(&values);
                return if low <= 0.0 && high >= 0.0 { 1.0 } else { 0.0 };
            }
            row.filled(&values, &lengths, false)
        };
        lacking.par_iter().with_min_len(16).map(gain).collect()
    }

    /// Relaxed and stretched length of each piece of a curve, mm.
    fn lengths(&self, points: &[CurvePoint], samples: &[Sample]) -> Vec<(f64, f64)> {
        (1..points.len())
            .map(|k| {
                let length = (points[k].point - points[k - 1].point).norm();
                (length, length * self.stretch(&samples[k]))
            })
            .collect()
    }

    /// A field at the points of a curve.
    fn values(&self, field: usize, samples: &[Sample]) -> Vec<f64> {
        let d = &self.fields[field];
        let at = |(corners, weights): &Sample| -> f64 {
            (0..3).map(|c| f64::from(d[corners[c] as usize]) * weights[c]).sum()
        };
        samples.iter().map(at).collect()
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
                            let (low, high) = c.span[row.field as usize];
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

    /// Where the model is held by the ring of the row that is missed most; none where no row of a ring is. `missed` are
    /// rows with the share that is missing.
    pub fn most_missed(&self, missed: &[(usize, f64)]) -> Option<Held> {
        let of_ring = missed.iter().filter(|(row, _)| self.rows[*row].kind.is_of_ring());
        let (row, _) = of_ring.max_by(|a, b| a.1.total_cmp(&b.1))?;
        let field = &self.fields[self.rows[*row].field as usize];
        let is_beyond = |v: u32| field[v as usize] > 0.0;
        let mesh = &self.graph.topology.edge_vertices;
        let crossing = mesh.iter().filter(|[a, b]| is_beyond(*a) != is_beyond(*b));
        Some(Held {
            ring: self.graph.middle(crossing.flatten().copied()),
            beyond: self.graph.middle((0..field.len() as u32).filter(|&v| is_beyond(v))),
        })
    }

    /// What a curve relieves, mm.
    fn relieved(&self, relief: &Relief, points: &[CurvePoint], samples: &[Sample]) -> f64 {
        let mean = |(corners, weights): &Sample, along: &Vector| -> f64 {
            let at =
                |c: usize| relief.across(corners[c], along, &self.normals[corners[c] as usize]);
            (0..3).map(|c| at(c) * weights[c]).sum()
        };
        let pieces = points.windows(2).zip(samples.windows(2));
        pieces
            .map(|(ends, samples)| {
                let piece = ends[1].point - ends[0].point;
                let along = piece.try_normalize(1e-12).unwrap_or(Vector::zeros());
                piece.norm() * 0.5 * samples.iter().map(|s| mean(s, &along)).sum::<f64>()
            })
            .sum()
    }

    fn stretch(&self, sample: &Sample) -> f64 {
        (0..3).map(|c| stretch_at(self.graph, sample.0[c]) * sample.1[c]).sum()
    }

    fn weights(&self, p: &CurvePoint) -> Sample {
        let corners = self.graph.mesh.faces[p.face as usize];
        if let Some(vertex) = p.vertex {
            return ([vertex; 3], [1.0, 0.0, 0.0]);
        }
        let weights = barycentric(corners.map(|v| self.graph.mesh.positions[v as usize]), &p.point);
        (corners, weights)
    }
}

impl CurveRow {
    /// Share of the row that a curve fills, given the field at its points and the relaxed and
    /// stretched lengths of its pieces.
    fn filled(&self, values: &[f64], lengths: &[(f64, f64)], is_rim: bool) -> f64 {
        let (low, high) = match self.kind {
            RowKind::StripBeyond => (0.0, self.depth),
            RowKind::StripBefore => (-self.depth, 0.0),
            RowKind::BridgeOpening if is_rim => return 0.0,
            RowKind::BridgeOpening => (f64::EPSILON, self.depth),
            RowKind::Crossing | RowKind::Relief => return 0.0,
        };
        let mut sum = 0.0;
        for (ends, &(length, stretched)) in values.windows(2).zip(lengths) {
            let (a, b) = (ends[0], ends[1]);
            let share = share_between(a, b, low, high);
            if self.kind == RowKind::BridgeOpening {
                sum += length * share;
                continue;
            }
            // Distances are measured along the graph, whose ways are a little longer than straight
            // ones. A curve that runs from the ring right through the strip fills it whatever the
            // way was measured on, so progress counts as length.
            let progress = (a.clamp(low, high) - b.clamp(low, high)).abs();
            sum += (stretched * share).max(progress);
        }
        sum / self.least.max(1e-9)
    }
}

/// Least and greatest of some values.
fn span(values: &[f64]) -> (f32, f32) {
    values.iter().fold((f32::INFINITY, f32::NEG_INFINITY), |(low, high), &v| {
        (low.min(v as f32), high.max(v as f32))
    })
}

/// Share of a piece, along which a value runs from `a` to `b`, where it lies within `low..high`.
fn share_between(a: f64, b: f64, low: f64, high: f64) -> f64 {
    let (least, most) = (a.min(b), a.max(b));
    if most - least < 1e-12 {
        return if least >= low && most <= high { 1.0 } else { 0.0 };
    }
    ((most.min(high) - least.max(low)) / (most - least)).clamp(0.0, 1.0)
}
