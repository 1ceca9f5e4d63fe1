//! All that is nearer to a model than a blanket is thick, as a grid sees it.

use rayon::prelude::*;

use super::domain::line_start;
use super::{Grid, Skin, Stretch};
use crate::control::{Cancelled, Control};
use crate::mesh::{Point, SurfaceLocator, Vector};

/// Nodes along a side of the blocks that are decided as a whole where possible.
const BLOCK: usize = 16;
/// Halvings of a grid edge: its end is known to a millionth of the spacing.
const HALVINGS: usize = 20;

/// Which nodes are nearer to the model than the thickness. Distance has slope 1 at most, so one
/// distance decides a whole block of nodes unless the skin may pass through it: then its eight
/// parts are looked at.
pub(super) struct Within<'a> {
    model: &'a SurfaceLocator,
    thickness: f64,
    bounds: (Point, Point),
    near: Vec<bool>,
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
        let layers: Vec<Vec<bool>> = (0..nz.div_ceil(BLOCK))
            .into_par_iter()
            .map(|layer| {
                control.check()?;
                let first = layer * BLOCK;
                let deep = BLOCK.min(nz - first);
                let mut near = vec![false; nx * ny * deep];
                for j in (0..ny).step_by(BLOCK) {
                    for i in (0..nx).step_by(BLOCK) {
                        let low = [i, j, first];
                        decide(model, thickness, grid, low, BLOCK, &mut |at| {
                            near[((at[2] - first) * ny + at[1]) * nx + at[0]] = true;
                        });
                    }
                }
                Ok(near)
            })
            .collect::<Result<_, Cancelled>>()?;
        Ok(Self { model, thickness, bounds, near: layers.concat() })
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
            match (self.near[node(n)], open) {
                (true, None) if n == 0 => open = Some(at(0)),
                (true, None) => open = Some(self.edge(start, axis, at(n), at(n - 1))),
                (false, Some(from)) => {
                    spans.push([from, self.edge(start, axis, at(n - 1), at(n))]);
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

    /// Where the blanket ends between a node inside and one outside.
    fn edge(&self, start: Point, axis: usize, inside: f64, beyond: f64) -> f64 {
        let (mut a, mut b) = (inside, beyond);
        for _ in 0..HALVINGS {
            let mut p = start;
            p[axis] = 0.5 * (a + b);
            if self.model.closest(&p).distance < self.thickness {
                a = p[axis];
            } else {
                b = p[axis];
            }
        }
        0.5 * (a + b)
    }
}

/// Call `mark` for every node of a block that is near.
fn decide(
    model: &SurfaceLocator,
    thickness: f64,
    grid: &Grid,
    low: [usize; 3],
    size: usize,
    mark: &mut impl FnMut([usize; 3]),
) {
    if (0..3).any(|k| low[k] >= grid.counts[k]) {
        return;
    }
    let half = (size - 1) as f64 * 0.5 * grid.spacing;
    let middle = grid.position(low) + Vector::repeat(half);
    let reach = half * 3f64.sqrt() * (1.0 + 1e-9);
    let distance = model.closest(&middle).distance;
    if distance >= thickness + reach {
        return;
    }
    if size == 1 || distance + reach < thickness {
        let high: Vec<usize> = (0..3).map(|k| (low[k] + size).min(grid.counts[k])).collect();
        for k in low[2]..high[2] {
            for j in low[1]..high[1] {
                for i in low[0]..high[0] {
                    mark([i, j, k]);
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
