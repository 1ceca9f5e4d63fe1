//! The grid on which the potential is solved, and how fine it is.

use crate::mesh::{Point, Vector};

/// Bytes a node takes while the potential is solved: six vectors in double precision (solution,
/// residual and its shadow, direction, two images), three in single precision and a byte for its
/// place; a seventh of the single-precision part for coarser grids.
const BYTES_PER_NODE: f64 = 6.0 * 8.0 + 3.0 * 4.0 * 8.0 / 7.0 + 1.0;
/// Bytes for each node next to a skin: its legs, and its share of the skins' crossings.
const BYTES_PER_CUT: f64 = 28.0 + 3.0 * 32.0;
/// Nodes next to a skin, as a multiple of the area of the grid's six sides in squares. Models with
/// much surface in little space have more; skins are small beside the volume all the same.
const CUTS_PER_SIDE: f64 = 1.5;

/// Share of the slack round a box that goes to its low side. A little off the middle, and different
/// for each axis, so that faces and edges of shapes with round measures do not lie in planes of
/// nodes: a node exactly on an edge is on the skin by no line through it.
const LOW_SHARE: [f64; 3] = [0.4641, 0.4330, 0.4495];

/// A uniform grid of nodes. Node (i, j, k) lies at `origin + spacing * (i, j, k)`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Grid {
    /// Node (0, 0, 0), mm.
    pub origin: Point,
    /// Distance between neighbours, mm.
    pub spacing: f64,
    /// Nodes along x, y and z.
    pub counts: [usize; 3],
}

impl Grid {
    /// A grid round a box with at least one layer of nodes outside it on every side, except below
    /// the box where it stands on a mirror (`on_mirror`): there the first layer lies on it.
    pub fn round(low: Point, high: Point, spacing: f64, on_mirror: bool) -> Self {
        let size = high - low;
        let mut origin = low;
        let mut counts = [0; 3];
        for axis in 0..3 {
            let cells = size[axis] / spacing;
            if axis == 2 && on_mirror {
                counts[axis] = cells.ceil() as usize + 2;
            } else {
                let whole = cells.ceil() + 2.0;
                counts[axis] = whole as usize + 1;
                origin[axis] = low[axis] - LOW_SHARE[axis] * (whole - cells) * spacing;
            }
        }
        Self { origin, spacing, counts }
    }

    /// A grid whose outermost nodes inside the box lie between a quarter and three quarters of the spacing off its
    /// sides, alike on either side but for a hundredth: what is as rough as the grid at the sides is so alike, and
    /// moves no plane of symmetry. One layer of nodes lies outside, but below a mirror.
    pub fn centred(low: Point, high: Point, spacing: f64, on_mirror: bool) -> Self {
        let mut grid = Self::round(low, high, spacing, on_mirror);
        let size = high - low;
        for axis in 0..if on_mirror { 2 } else { 3 } {
            let inside = (size[axis] / spacing).round().max(1.0);
            let slack = 0.5 * (size[axis] - (inside - 1.0) * spacing);
            // As odd a share as those of `round`, for the same reason.
            let off = 0.02 * LOW_SHARE[axis] * spacing;
            grid.origin[axis] = low[axis] + slack - spacing + off;
            grid.counts[axis] = inside as usize + 2;
        }
        grid
    }

    /// All nodes.
    pub fn len(&self) -> usize {
        self.counts.iter().product()
    }

    /// Whether there are no nodes.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// Position of a node, mm.
    pub fn position(&self, at: [usize; 3]) -> Point {
        self.origin + Vector::new(at[0] as f64, at[1] as f64, at[2] as f64) * self.spacing
    }

    /// Index of a node in arrays: x runs fastest.
    pub fn index(&self, at: [usize; 3]) -> usize {
        (at[2] * self.counts[1] + at[1]) * self.counts[0] + at[0]
    }

    /// The node of an index.
    pub fn node(&self, index: usize) -> [usize; 3] {
        let [nx, ny, _] = self.counts;
        [index % nx, index / nx % ny, index / (nx * ny)]
    }

    /// The two other axes, in order.
    pub(super) fn across(axis: usize) -> [usize; 2] {
        [[1, 2], [0, 2], [0, 1]][axis]
    }

    /// Lines along an axis; a line's number is the index of its node in the plane across it.
    pub(super) fn line_count(&self, axis: usize) -> usize {
        let [u, v] = Self::across(axis);
        self.counts[u] * self.counts[v]
    }

    /// Memory that a solve takes at its peak, bytes. The model and what finds nearest points on it
    /// are not counted. Saddles, looked for afterwards, need less.
    pub fn memory_bytes(&self) -> u64 {
        let [x, y, z] = self.counts.map(|c| c as f64);
        let sides = 2.0 * (x * y + y * z + z * x);
        (x * y * z * BYTES_PER_NODE + sides * CUTS_PER_SIDE * BYTES_PER_CUT) as u64
    }
}

/// How fine a grid is, and why.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Resolution {
    /// Distance between nodes, mm.
    pub spacing: f64,
    /// Narrowest gap of rubber that was asked to be resolved, mm.
    pub narrowest: f64,
    /// Cells across that gap. Below [`Resolution::WANTED_CELLS`] the memory limit made the grid
    /// coarser than wanted; below 2 such a gap may look closed.
    pub cells_across_narrowest: f64,
    /// Memory that a solve takes, bytes.
    pub memory_bytes: u64,
}

impl Resolution {
    /// Cells wanted across the narrowest gap.
    pub const WANTED_CELLS: f64 = 4.0;
    /// Cells along the longest side at least, however wide the gaps.
    pub const LEAST_CELLS: f64 = 64.0;

    /// The coarsest grid round a box that has four cells across the narrowest gap of rubber and 64
    /// along its longest side, or the finest one that fits into `memory_limit` bytes.
    pub fn choose(low: Point, high: Point, narrowest: f64, memory_limit: u64) -> Self {
        let longest = (high - low).max();
        let wanted = (narrowest / Self::WANTED_CELLS).min(longest / Self::LEAST_CELLS);
        // A gap of nothing must not ask for an endless grid: memory_bytes needs finite counts.
        let mut spacing = wanted.max(longest / 4096.0);
        loop {
            let bytes = Grid::round(low, high, spacing, false).memory_bytes();
            if bytes <= memory_limit || spacing >= longest {
                return Self {
                    spacing,
                    narrowest,
                    cells_across_narrowest: narrowest / spacing,
                    memory_bytes: bytes,
                };
            }
            spacing *= (bytes as f64 / memory_limit.max(1) as f64).cbrt().clamp(1.002, 2.0);
        }
    }
}
