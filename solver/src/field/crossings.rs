//! Where grid lines enter and leave a closed triangle mesh.
//!
//! Triangles are scan-converted to the grid lines of an axis. Whether a line meets a triangle is
//! decided by exact signs (Shewchuk 1997, by the crate `robust`), with the line moved by an
//! infinitesimal amount where it meets an edge or a corner (Edelsbrunner & Mucke 1990, Simulation
//! of simplicity), so that every line enters a closed mesh as often as it leaves it.

use std::cmp::Ordering;

use rayon::prelude::*;
use robust::{Coord, orient2d};

use super::Grid;
use crate::mesh::{FaceId, Point, TriangleMesh};

/// Faces that one task scans.
const CHUNK: usize = 4096;

/// One crossing of a line with a face: the line, where along the axis, +1 on the way in.
type Crossing = (u32, f64, i8);

/// For every line of an axis, in order, the spans that lie inside the mesh, mm.
pub(super) struct InsideSpans {
    starts: Vec<u32>,
    spans: Vec<[f64; 2]>,
}

impl InsideSpans {
    pub fn new(mesh: &TriangleMesh, grid: &Grid, axis: usize) -> Self {
        let chunks: Vec<Vec<Crossing>> = (0..mesh.faces.len().div_ceil(CHUNK))
            .into_par_iter()
            .map(|chunk| {
                let mut found = Vec::new();
                let end = ((chunk + 1) * CHUNK).min(mesh.faces.len());
                for face in chunk * CHUNK..end {
                    scan(mesh.corners(FaceId(face as u32)), grid, axis, &mut found);
                }
                found
            })
            .collect();
        let mut crossings = chunks.concat();
        // Ways in first where two coincide: a span of no length instead of a hole of none.
        crossings.par_sort_unstable_by(|a, b| {
            (a.0.cmp(&b.0)).then(a.1.total_cmp(&b.1)).then(b.2.cmp(&a.2))
        });
        let mut starts = vec![0u32];
        let mut spans = Vec::new();
        let mut next = 0;
        for line in 0..grid.line_count(axis) as u32 {
            let mut winding = 0i32;
            let mut from = 0.0;
            while next < crossings.len() && crossings[next].0 == line {
                let (_, at, step) = crossings[next];
                let before = winding;
                winding += i32::from(step);
                if before <= 0 && winding > 0 {
                    from = at;
                } else if before > 0 && winding <= 0 && at > from {
                    spans.push([from, at]);
                }
                next += 1;
            }
            starts.push(spans.len() as u32);
        }
        Self { starts, spans }
    }

    /// Spans of one line.
    pub fn line(&self, line: usize) -> &[[f64; 2]] {
        &self.spans[self.starts[line] as usize..self.starts[line + 1] as usize]
    }
}

/// On which side of the line through `a` and `b` the point `p`, moved by (e, e^2), lies.
fn side(a: [f64; 2], b: [f64; 2], p: [f64; 2]) -> Ordering {
    let coord = |c: [f64; 2]| Coord { x: c[0], y: c[1] };
    let exact = orient2d(coord(a), coord(b), coord(p));
    let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
    exact
        .partial_cmp(&0.0)
        .unwrap_or(Ordering::Equal)
        .then(0.0f64.partial_cmp(&dy).unwrap_or(Ordering::Equal))
        .then(dx.partial_cmp(&0.0).unwrap_or(Ordering::Equal))
}

fn scan(corners: [Point; 3], grid: &Grid, axis: usize, found: &mut Vec<Crossing>) {
    let [u, v] = Grid::across(axis);
    let flat = corners.map(|c| [c[u], c[v]]);
    let coord = |c: [f64; 2]| Coord { x: c[0], y: c[1] };
    let area = orient2d(coord(flat[0]), coord(flat[1]), coord(flat[2]));
    if area == 0.0 || !area.is_finite() {
        return;
    }
    let turn = area.total_cmp(&0.0);
    // Nodes in the face's box; one more on either side covers rounding.
    let range = |w: usize, along: usize| {
        let values = flat.map(|c| c[along]);
        let low = values.iter().copied().fold(f64::INFINITY, f64::min);
        let high = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let to = |x: f64| (x - grid.origin[w]) / grid.spacing;
        let first = (to(low) - 1e-6).ceil().max(0.0) as usize;
        let last = (to(high) + 1e-6).floor().min(grid.counts[w] as f64 - 1.0);
        (first, if last < 0.0 { 0 } else { last as usize + 1 })
    };
    let (u_range, v_range) = (range(u, 0), range(v, 1));
    // Seen along x and z the plane of the other two axes is right-handed, along y left-handed.
    let faces_back = (turn == Ordering::Less) != (axis == 1);
    let step = if faces_back { 1 } else { -1 };
    for n in v_range.0..v_range.1 {
        for m in u_range.0..u_range.1 {
            let p = [
                grid.origin[u] + m as f64 * grid.spacing,
                grid.origin[v] + n as f64 * grid.spacing,
            ];
            if (0..3).any(|k| side(flat[k], flat[(k + 1) % 3], p) != turn) {
                continue;
            }
            let weight = |k: usize| {
                let (a, b) = (flat[(k + 1) % 3], flat[(k + 2) % 3]);
                (orient2d(coord(a), coord(b), coord(p)) / area).clamp(0.0, 1.0)
            };
            let weights = [weight(0), weight(1), weight(2)];
            let sum: f64 = weights.iter().sum();
            let at: f64 = (0..3).map(|k| weights[k] * corners[k][axis]).sum::<f64>() / sum;
            found.push(((n * grid.counts[u] + m) as u32, at, step));
        }
    }
}
