//! All that is nearer to a model than a blanket is thick, as a grid sees it.

use rayon::prelude::*;

use super::domain::line_start;
use super::{Grid, Skin, Stretch};
use crate::control::{Cancelled, Control};
use crate::mesh::{Point, SurfaceLocator, Vector};

/// Nodes along a side of the blocks that are decided as a whole where possible.
const BLOCK: usize = 16;
/// The end of the blanket on a grid edge is known to this share of the spacing.
const EDGE_ERROR: f64 = 1e-6;
/// Steps of the search for it: two or three are the rule, for distance is nearly linear.
const EDGE_STEPS: usize = 24;

/// Which nodes are nearer to the model than the thickness. Distance has slope 1 at most, so one
/// distance decides a whole block of nodes unless the skin may pass through it: then its eight
/// parts are looked at.
pub(super) struct Within<'a> {
    model: &'a SurfaceLocator,
    thickness: f64,
    bounds: (Point, Point),
    /// Distance less thickness where it was measured; without end, of the same sign, elsewhere.
    over: Vec<f32>,
}

impl<'a> Within<'a> {
    pub fn new(
        model: &'a SurfaceLocator,
        thickness: f64,
        bounds: (Point, Point),
        grid: &Grid,
        control: &Control<'_>,
    ) -> Result<Self, Cancelled> {
        let [nx, ny, nz] = grid.counts;
        let layers: Vec<Vec<f32>> = (0..nz.div_ceil(BLOCK))
            .into_par_iter()
            .map(|layer| {
                control.check()?;
                let first = layer * BLOCK;
                let deep = BLOCK.min(nz - first);
                let mut over = vec![f32::INFINITY; nx * ny * deep];
                for j in (0..ny).step_by(BLOCK) {
                    for i in (0..nx).step_by(BLOCK) {
                        let low = [i, j, first];
                        decide(model, thickness, grid, low, BLOCK, &mut |at, by| {
                            over[((at[2] - first) * ny + at[1]) * nx + at[0]] = by;
                        });
                    }
                }
                Ok(over)
            })
            .collect::<Result<_, Cancelled>>()?;
        Ok(Self { model, thickness, bounds, over: layers.concat() })
    }

    /// Spans of one line inside the blanket or the model.
    pub fn spans(
        &self,
        grid: &Grid,
        axis: usize,
        line: usize,
        inside_model: &[[f64; 2]],
        skins: [Skin; 2],
    ) -> Vec<Stretch> {
        let start = line_start(grid, axis, line);
        let bottom = self.bounds.0.z;
        if axis != 2 && start.z < bottom {
            return Vec::new();
        }
        let [u, v] = Grid::across(axis);
        let node = |n: usize| {
            let mut at = [0; 3];
            at[u] = line % grid.counts[u];
            at[v] = line / grid.counts[u];
            at[axis] = n;
            grid.index(at)
        };
        let at = |n: usize| start[axis] + n as f64 * grid.spacing;
        let mut spans: Vec<[f64; 2]> = Vec::new();
        let mut open = None;
        for n in 0..grid.counts[axis] {
            let edge = |inside: usize, beyond: usize| {
                let ends = [inside, beyond].map(|n| (at(n), f64::from(self.over[node(n)])));
                self.edge(start, axis, ends, EDGE_ERROR * grid.spacing)
            };
            match (self.over[node(n)] < 0.0, open) {
                (true, None) if n == 0 => open = Some(at(0)),
                (true, None) => open = Some(edge(n, n - 1)),
                (false, Some(from)) => {
                    spans.push([from, edge(n - 1, n)]);
                    open = None;
                }
                _ => {}
            }
        }
        spans.extend(inside_model);
        spans.sort_by(|a, b| a[0].total_cmp(&b[0]));
        let mut joined: Vec<Stretch> = Vec::new();
        for [mut from, to] in spans {
            let mut skin = Skin::Outside;
            if axis == 2 && from <= bottom {
                if to <= bottom {
                    continue;
                }
                (from, skin) = (bottom, skins[0]);
            }
            match joined.last_mut() {
                Some(last) if from <= last.ends[1] => last.ends[1] = last.ends[1].max(to),
                _ => joined.push(Stretch { ends: [from, to], skins: [skin, Skin::Outside] }),
            }
        }
        joined
    }

    /// Where the blanket ends between a node inside and one outside, given with their distance
    /// beyond the skin as far as it is known: false position, Illinois variant (Dowell & Jarratt
    /// 1971).
    fn edge(&self, start: Point, axis: usize, ends: [(f64, f64); 2], error: f64) -> f64 {
        let over = |x: f64| {
            let mut p = start;
            p[axis] = x;
            self.model.closest(&p).distance - self.thickness
        };
        let [mut a, mut b] =
            ends.map(|(x, by)| if by.is_finite() { (x, by) } else { (x, over(x)) });
        let mut at = 0.5 * (a.0 + b.0);
        let mut before = 0.0;
        for _ in 0..EDGE_STEPS {
            at = if a.1 < b.1 { a.0 - a.1 * (b.0 - a.0) / (b.1 - a.1) } else { 0.5 * (a.0 + b.0) };
            let by = over(at);
            // Slope is 1 at most, and hardly less where a line leaves the blanket squarely; where it
            // leaves at a slant the bracket tells.
            if by == 0.0 || (b.0 - a.0).abs() < error || by.abs() < 0.05 * error {
                break;
            }
            if by < 0.0 {
                a = (at, by);
                b.1 *= if before < 0.0 { 0.5 } else { 1.0 };
            } else {
                b = (at, by);
                a.1 *= if before > 0.0 { 0.5 } else { 1.0 };
            }
            before = by;
        }
        at
    }
}

/// Call `mark` for every node of a block that is near, or that was measured.
fn decide(
    model: &SurfaceLocator,
    thickness: f64,
    grid: &Grid,
    low: [usize; 3],
    size: usize,
    mark: &mut impl FnMut([usize; 3], f32),
) {
    if (0..3).any(|k| low[k] >= grid.counts[k]) {
        return;
    }
    let half = (size - 1) as f64 * 0.5 * grid.spacing;
    let middle = grid.position(low) + Vector::repeat(half);
    let reach = half * 3f64.sqrt() * (1.0 + 1e-9);
    let distance = model.closest(&middle).distance;
    if size == 1 {
        // Rounding must not turn a distance just short of the thickness into the thickness.
        let over = (distance - thickness) as f32;
        mark(low, if over == 0.0 && distance < thickness { -f32::MIN_POSITIVE } else { over });
        return;
    }
    if distance >= thickness + reach {
        return;
    }
    if distance + reach < thickness {
        let high: Vec<usize> = (0..3).map(|k| (low[k] + size).min(grid.counts[k])).collect();
        for k in low[2]..high[2] {
            for j in low[1]..high[1] {
                for i in low[0]..high[0] {
                    mark([i, j, k], f32::NEG_INFINITY);
                }
            }
        }
        return;
    }
    let part = size / 2;
    for n in 0..8 {
        let at = [low[0] + part * (n & 1), low[1] + part * (n >> 1 & 1), low[2] + part * (n >> 2)];
        decide(model, thickness, grid, at, part, mark);
    }
}
