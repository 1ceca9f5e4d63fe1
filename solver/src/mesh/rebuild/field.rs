//! A field on a grid, negative inside: the distance to a soup of triangles with the sign of its winding number.
//!
//! Across a gap of the soup no triangle is near, and the distance does not fall to zero where the sign changes; times
//! one minus twice the winding number it does, and is the plain signed distance where the soup is sound.

use rayon::prelude::*;

use super::super::{Point, SurfaceLocator, TriangleMesh, Vector};
use super::RebuildError;
use super::winding::WindingNumbers;
use crate::control::Cancel;

/// Nodes of a grid, at most: 0.3 GB while the surface is made. No source.
const MOST_NODES: f64 = 6.4e7;
/// Nodes along a block's side; blocks without a triangle near them are told by their corners.
const BLOCK: usize = 8;
/// Distances are true up to so many cells, and that much beyond.
const REACH: f64 = 2.0;
/// A block without triangles is on one side if all its corners' winding numbers keep this distance from a half.
const CLEAR: f64 = 0.2;

/// The field.
pub(super) struct Field {
    /// Values in cells, x fastest.
    pub values: Vec<f32>,
    /// Nodes along each axis.
    pub counts: [usize; 3],
    /// Place of the first node, mm.
    pub origin: Point,
    /// Width of a cell, mm.
    pub cell: f64,
}

impl Field {
    /// Sample the field with cells of `cell` mm.
    pub fn sample(
        mesh: &TriangleMesh,
        locator: &SurfaceLocator,
        winding: &WindingNumbers,
        cell: f64,
        cancel: &Cancel,
    ) -> Result<Self, RebuildError> {
        let (low, high) = mesh.bounds().ok_or(RebuildError::Nothing)?;
        let sides = high - low;
        let nodes: f64 = (0..3).map(|k| sides[k] / cell + 6.0).product();
        if nodes > MOST_NODES {
            return Err(RebuildError::TooFine { cell, nodes });
        }
        let counts = [0, 1, 2].map(|k| (sides[k] / cell).ceil() as usize + 6);
        // No node on a face of a model whose corners have round numbers.
        let origin = low - Vector::new(2.4142, 2.2361, 2.3028) * cell;
        let mut field = Self { values: vec![0.0; counts.iter().product()], counts, origin, cell };
        let blocks = counts.map(|n| n.div_ceil(BLOCK));
        let total: usize = blocks.iter().product();
        let made: Vec<Option<Vec<f32>>> = (0..total)
            .into_par_iter()
            .map(|k| {
                if cancel.is_cancelled() {
                    return None;
                }
                let at = [k % blocks[0], k / blocks[0] % blocks[1], k / (blocks[0] * blocks[1])];
                Some(field.block(at.map(|b| b * BLOCK), locator, winding))
            })
            .collect();
        for (k, block) in made.into_iter().enumerate() {
            let block = block.ok_or(crate::control::Cancelled)?;
            let at = [k % blocks[0], k / blocks[0] % blocks[1], k / (blocks[0] * blocks[1])];
            field.put(at.map(|b| b * BLOCK), &block);
        }
        Ok(field)
    }

    /// Index of a node.
    pub fn index(&self, [x, y, z]: [usize; 3]) -> usize {
        x + self.counts[0] * (y + self.counts[1] * z)
    }

    /// Place of a node, mm.
    pub fn place(&self, node: [usize; 3]) -> Point {
        self.origin + Vector::from(node.map(|k| k as f64)) * self.cell
    }

    fn put(&mut self, [x0, y0, z0]: [usize; 3], block: &[f32]) {
        for (k, value) in block.iter().enumerate() {
            let node = [x0 + k % BLOCK, y0 + k / BLOCK % BLOCK, z0 + k / (BLOCK * BLOCK)];
            if (0..3).all(|axis| node[axis] < self.counts[axis]) {
                let index = self.index(node);
                self.values[index] = *value;
            }
        }
    }

    /// Values of a block; what lies beyond the grid is made too and not used.
    fn block(
        &self,
        first: [usize; 3],
        locator: &SurfaceLocator,
        winding: &WindingNumbers,
    ) -> Vec<f32> {
        let half = 0.5 * (BLOCK - 1) as f64 * self.cell;
        let middle = self.place(first) + Vector::repeat(half);
        let near = locator.closest(&middle).distance <= half * 3f64.sqrt() + REACH * self.cell;
        let node = |k: usize| {
            self.place([
                first[0] + k % BLOCK,
                first[1] + k / BLOCK % BLOCK,
                first[2] + k / (BLOCK * BLOCK),
            ])
        };
        if !near {
            let far = BLOCK - 1;
            let corners = (0..8).map(|c| {
                let step = |bit: usize| if c >> bit & 1 == 1 { far } else { 0 };
                winding.at(&node(step(0) + BLOCK * (step(1) + BLOCK * step(2))))
            });
            let (low, high) = corners
                .chain([winding.at(&middle)])
                .fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), w| (l.min(w), h.max(w)));
            if high < 0.5 - CLEAR || low > 0.5 + CLEAR {
                let side = if low > 0.5 { -REACH } else { REACH };
                return vec![side as f32; BLOCK * BLOCK * BLOCK];
            }
        }
        let winding = winding.in_cube(&middle, half);
        let mut values = Vec::with_capacity(BLOCK * BLOCK * BLOCK);
        let mut skip = 0;
        for k in 0..BLOCK * BLOCK * BLOCK {
            let place = node(k);
            if k % BLOCK == 0 {
                skip = 0;
            }
            // So many more nodes of this row have no triangle within reach.
            let distance = if skip > 0 || !near {
                skip -= usize::from(skip > 0);
                REACH
            } else {
                let distance = locator.closest(&place).distance / self.cell;
                skip = (distance - REACH).max(0.0) as usize;
                distance.min(REACH)
            };
            let side = (1.0 - 2.0 * winding.at(&place)).clamp(-1.0, 1.0);
            values.push((side * distance) as f32);
        }
        values
    }

    /// Take away what a surface could not be made of: nodes inside that touch across a face or a cube only. After
    /// Latecki, "3D well-composed pictures" (1997): the surface of a set without such places is one without pinches.
    /// The node with the least value changes sides; where that does not come to an end, all go inside. How many changed.
    pub fn make_well_composed(&mut self) -> usize {
        const FREE_ROUNDS: usize = 6;
        let mut changed = 0;
        // All cubes first, then those round a change.
        let mut cubes: Vec<[usize; 3]> = Vec::new();
        let [nx, ny, nz] = self.counts.map(|n| n - 1);
        for z in 0..nz {
            for y in 0..ny {
                for x in 0..nx {
                    if self.conflict([x, y, z]).is_some() {
                        cubes.push([x, y, z]);
                    }
                }
            }
        }
        let mut round = 0;
        while !cubes.is_empty() {
            let mut next = Vec::new();
            for cube in cubes {
                let Some(nodes) = self.conflict(cube) else { continue };
                let chosen = nodes
                    .into_iter()
                    .filter(|node| round < FREE_ROUNDS || self.values[self.index(*node)] >= 0.0)
                    .min_by(|a, b| {
                        let size = |n: &[usize; 3]| self.values[self.index(*n)].abs();
                        size(a).total_cmp(&size(b)).then(a.cmp(b))
                    });
                let Some(node) = chosen else { continue };
                let index = self.index(node);
                let value = self.values[index];
                self.values[index] = if value < 0.0 { 0.05 } else { -0.05 };
                changed += 1;
                for k in 0..8 {
                    let cube = [0, 1, 2].map(|axis| node[axis].wrapping_sub(k >> axis & 1));
                    if (0..3).all(|axis| cube[axis] < self.counts[axis] - 1) {
                        next.push(cube);
                    }
                }
            }
            next.sort_unstable();
            next.dedup();
            cubes = next;
            round += 1;
        }
        changed
    }

    /// Nodes of a cube one of which has to change sides.
    fn conflict(&self, [x, y, z]: [usize; 3]) -> Option<Vec<[usize; 3]>> {
        let node = |k: usize| [x + (k & 1), y + (k >> 1 & 1), z + (k >> 2 & 1)];
        let mut inside = 0u8;
        for k in 0..8 {
            if self.values[self.index(node(k))] < 0.0 {
                inside |= 1 << k;
            }
        }
        if inside == 0 || inside == u8::MAX {
            return None;
        }
        const FACES: [[usize; 4]; 6] =
            [[0, 1, 3, 2], [4, 5, 7, 6], [0, 1, 5, 4], [2, 3, 7, 6], [0, 2, 6, 4], [1, 3, 7, 5]];
        let is = |k: usize| inside >> k & 1 == 1;
        for [a, b, c, d] in FACES {
            if is(a) == is(c) && is(b) == is(d) && is(a) != is(b) {
                return Some([a, b, c, d].map(node).to_vec());
            }
        }
        // Two opposite corners, and nothing else, on one side.
        let odd = if inside.count_ones() == 2 { inside } else { !inside };
        let opposite = (0..4).any(|k| odd == 1 << k | 1 << (7 - k));
        opposite.then(|| (0..8).map(node).collect())
    }
}
