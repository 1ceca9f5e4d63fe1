//! Results put back on the model as it was given.

use crate::body::Gate;
use crate::girth::PlanningGraph;
use crate::mesh::{LocatorError, Model, Point, SurfaceLocator, Vector};

/// Longest piece of a curve before it is put on the surface, mm per mm of model: fine enough that
/// chords do not show.
const PIECE: f64 = 0.006;

/// Takes points from the mould frame to the model's own surface and coordinates.
pub(super) struct Outward<'a> {
    gate: &'a Gate,
    surface: SurfaceLocator,
    piece: f64,
}

impl<'a> Outward<'a> {
    pub(super) fn new(model: &Model, gate: &'a Gate) -> Result<Self, LocatorError> {
        let surface = SurfaceLocator::new(&model.original)?;
        Ok(Self { gate, surface, piece: PIECE * model.original.longest_side() })
    }

    /// The gate.
    pub(super) fn gate(&self) -> &Gate {
        self.gate
    }

    /// A point of space in the model's coordinates.
    pub(super) fn point(&self, p: Point) -> Point {
        self.gate.to_mould.inverse_transform_point(&p)
    }

    /// A direction in the model's coordinates.
    pub(super) fn direction(&self, d: &Vector) -> Vector {
        self.gate.to_mould.rotation.inverse() * d
    }

    /// Direction away from the board, in the model's coordinates.
    pub(super) fn up(&self) -> Vector {
        self.gate.to_mould.rotation.inverse() * Vector::z()
    }

    /// A curve on the model's surface.
    pub(super) fn curve(&self, points: &[Point]) -> Vec<Point> {
        let mut out: Vec<Point> = Vec::new();
        let mut put = |p: Point| {
            let on = self.surface.closest(&self.point(p)).point;
            if out.last().is_none_or(|last: &Point| (last - on).norm() > 1e-6) {
                out.push(on);
            }
        };
        if let Some(&first) = points.first() {
            put(first);
        }
        for pair in points.windows(2) {
            let count = ((pair[1] - pair[0]).norm() / self.piece).ceil().max(1.0) as usize;
            for k in 1..=count {
                put(pair[0] + (pair[1] - pair[0]) * (k as f64 / count as f64));
            }
        }
        out
    }

    /// Outline of the gate, one closed polyline a patch.
    pub(super) fn gate_outline(&self, graph: &PlanningGraph) -> Vec<Vec<Point>> {
        let mut next = std::collections::BTreeMap::new();
        for face in &graph.mesh.faces[..graph.model_faces] {
            for k in 0..3 {
                let (a, b, c) = (face[k], face[(k + 1) % 3], face[(k + 2) % 3]);
                let gate = |v: u32| graph.is_gate[v as usize];
                // A face with two gate corners: its gate edge borders the gate.
                if gate(a) && gate(b) && !gate(c) {
                    next.insert(a, b);
                }
            }
        }
        let mut outlines = Vec::new();
        while let Some((&start, _)) = next.iter().next() {
            let mut ring = vec![graph.mesh.positions[start as usize]];
            let mut at = start;
            while let Some(to) = next.remove(&at) {
                ring.push(graph.mesh.positions[to as usize]);
                at = to;
            }
            if ring.len() > 3 {
                outlines.push(self.curve(&ring));
            }
        }
        outlines
    }
}
