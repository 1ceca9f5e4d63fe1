//! Critical cells of the potential on the grid, and their pairs.
//!
//! V. Robins, P. J. Wood, A. P. Sheppard, Theory and algorithms for constructing discrete Morse
//! complexes from grayscale digital images, IEEE PAMI 33 (2011): the cells whose highest node is v
//! are paired off by homotopy expansion; what stays single is critical, and in three dimensions
//! there are no more of these than changes of topology. Pairs between critical cells come from the
//! boundary matrix of these few alone (H. Edelsbrunner, D. Letscher, A. Zomorodian, Topological
//! persistence and simplification, 2002).
//!
//! Everything is relative to the model: all its cells come first, at once, and are not looked at.
//! Cells with a node outside the body are left out. A body on a board is taken together with its
//! mirror image, so that a hole between two feet is a hole like any other.

use std::collections::HashMap;

use rayon::prelude::*;

use super::star::{CRITICAL, NO_CELL, Star, pair_star};
use super::{FieldError, Grid, Place, Potential};
use crate::control::Control;
use crate::mesh::{Point, Vector};

/// A critical cell. Ordered by level, then by its highest node.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct CriticalCell {
    /// Potential at its highest node.
    pub level: f64,
    node: usize,
    cell: usize,
    pub index: u8,
    /// Its middle, mm.
    pub middle: Point,
}

/// A critical cell of index 2 with the one of index 1 whose loop it closes, or none where it closes
/// a loop on the model.
pub(super) struct LoopEnd {
    pub end: CriticalCell,
    pub begin: Option<CriticalCell>,
}

/// The cells of a potential's grid, mirrored where it stands on a board, and their partners.
pub(super) struct MorseComplex<'a> {
    field: &'a Potential,
    /// Nodes along each axis, mirror image included.
    counts: [usize; 3],
    /// Cells along each axis: nodes, and what lies between two.
    cells: [usize; 3],
    /// Partners, one plane of padding in front.
    partners: Vec<u8>,
}

impl<'a> MorseComplex<'a> {
    /// Pair the cells off; the critical ones, in order.
    pub fn new(
        field: &'a Potential,
        control: &Control<'_>,
    ) -> Result<(Self, Vec<CriticalCell>), FieldError> {
        let mut counts = field.grid.counts;
        if field.on_board {
            counts[2] = 2 * counts[2] - 1;
        }
        let cells = counts.map(|n| 2 * n - 1);
        let plane = cells[0] * cells[1];
        let mut complex = Self { field, counts, cells, partners: Vec::new() };
        let mut partners = vec![NO_CELL; (cells[2] + 3) * plane];
        let star = Star::new();
        let mut critical: Vec<Vec<CriticalCell>> = Vec::new();
        // The cells of a plane of nodes reach half-way to the next: even planes share none with
        // each other, nor do odd ones.
        for parity in 0..2 {
            control.check()?;
            let shifted = &mut partners[2 * parity * plane..];
            critical.par_extend(shifted.par_chunks_mut(4 * plane).enumerate().map(|(n, chunk)| {
                let k = 2 * n + parity;
                if k >= counts[2] || control.is_cancelled() {
                    return Vec::new();
                }
                complex.pair_plane(k, &star, chunk)
            }));
        }
        control.check()?;
        complex.partners = partners;
        let mut critical = critical.concat();
        critical.sort_by(|a, b| {
            a.level.total_cmp(&b.level).then(a.node.cmp(&b.node)).then(a.cell.cmp(&b.cell))
        });
        Ok((complex, critical))
    }

    /// Index of a node in the potential's arrays.
    fn source(&self, at: [usize; 3]) -> usize {
        let middle = if self.field.on_board { self.field.grid.counts[2] - 1 } else { 0 };
        self.field.grid.index([at[0], at[1], at[2].abs_diff(middle)])
    }

    /// Level of a node, without end below everything in the model; none outside. Nodes beside gaps
    /// that the grid does not see come right after the model: they keep its parts asunder.
    fn level(&self, source: usize) -> Option<f64> {
        match self.field.places[source] {
            Place::Outside => None,
            Place::Model => Some(f64::NEG_INFINITY),
            Place::Gap => Some(0.0),
            // Rounding may leave a value just below 0 next to the model.
            Place::Rubber => Some(self.field.values[source].max(0.0)),
        }
    }

    fn cell_middle(&self, cell: usize) -> Point {
        let grid: &Grid = &self.field.grid;
        let at = self.cell_at(cell).map(|x| x as f64 / 2.0);
        let middle = if self.field.on_board { grid.counts[2] as f64 - 1.0 } else { 0.0 };
        grid.origin + Vector::new(at[0], at[1], at[2] - middle) * grid.spacing
    }

    fn cell_at(&self, cell: usize) -> [usize; 3] {
        let [x, y, _] = self.cells;
        [cell % x, cell / x % y, cell / (x * y)]
    }

    /// Pair off the cells that belong to the nodes of plane `k`. `chunk` holds their partners from
    /// half a plane below on.
    fn pair_plane(&self, k: usize, star: &Star, chunk: &mut [u8]) -> Vec<CriticalCell> {
        let mut critical = Vec::new();
        let [nx, ny, nz] = self.counts;
        let [cx, cy, _] = self.cells;
        for j in 1..ny - 1 {
            for i in 1..nx - 1 {
                let own = self.source([i, j, k]);
                let Some(value) = self.level(own).filter(|l| *l >= 0.0) else { continue };
                let node = (k * ny + j) * nx + i;
                let mut lower = 0u32;
                let mut steepest = (f64::INFINITY, usize::MAX, 13usize);
                for (n, &[di, dj, dk]) in star.steps.iter().enumerate() {
                    let Some(layer) = k.checked_add_signed(dk).filter(|&l| l < nz) else {
                        continue;
                    };
                    if n == 13 {
                        continue;
                    }
                    let at = [i.wrapping_add_signed(di), j.wrapping_add_signed(dj), layer];
                    let index = self.source(at);
                    let other = (layer * ny + at[1]) * nx + at[0];
                    let Some(level) = self.level(index) else { continue };
                    if level < value || (level == value && other < node) {
                        lower |= 1 << n;
                        if star.dimension[n] == 1 && (level, other) < (steepest.0, steepest.1) {
                            steepest = (level, other, n);
                        }
                    }
                }
                let middle = (2 * j) * cx + 2 * i + cx * cy;
                let mut put = |n: usize, value: u8| {
                    let [di, dj, dk] = star.steps[n];
                    let step = di + dj * cx as isize + dk * (cx * cy) as isize;
                    chunk[middle.wrapping_add_signed(step)] = value;
                };
                let found = pair_star(star, lower, steepest.2, &mut put);
                for n in (0..27).filter(|n| found >> n & 1 == 1) {
                    let [di, dj, dk] = star.steps[n];
                    let cell = [
                        (2 * i).wrapping_add_signed(di),
                        (2 * j).wrapping_add_signed(dj),
                        (2 * k).wrapping_add_signed(dk),
                    ];
                    let cell = (cell[2] * cy + cell[1]) * cx + cell[0];
                    critical.push(CriticalCell {
                        level: value,
                        node,
                        cell,
                        index: star.dimension[n],
                        middle: self.cell_middle(cell),
                    });
                }
            }
        }
        critical
    }

    fn partner(&self, cell: usize) -> u8 {
        self.partners[cell + self.cells[0] * self.cells[1]]
    }

    fn stride(&self, axis: usize) -> usize {
        [1, self.cells[0], self.cells[0] * self.cells[1]][axis]
    }

    /// Faces of one dimension less that are not the model's.
    fn faces(&self, cell: usize) -> impl Iterator<Item = usize> + '_ {
        let at = self.cell_at(cell);
        (0..3)
            .filter(move |&axis| at[axis] % 2 == 1)
            .flat_map(move |axis| [cell - self.stride(axis), cell + self.stride(axis)])
            .filter(|&face| self.partner(face) != NO_CELL)
    }

    /// The cell of one dimension more that a cell is paired with.
    fn raised(&self, cell: usize) -> Option<usize> {
        let partner = self.partner(cell);
        if partner == NO_CELL || partner == CRITICAL {
            return None;
        }
        let (axis, forward) = ((partner - 1) / 2, (partner - 1) % 2 == 1);
        let stride = self.stride(axis.into());
        self.cell_at(cell)[usize::from(axis)]
            .is_multiple_of(2)
            .then(|| if forward { cell + stride } else { cell - stride })
    }

    /// The critical cells that flow down from a critical cell leads to an odd number of times.
    fn boundary(&self, cell: usize) -> Vec<usize> {
        // Depth first, so that every cell is settled after all that lead to it.
        let mut order = Vec::new();
        let mut seen: HashMap<usize, bool> = HashMap::new();
        let mut stack: Vec<(usize, bool)> = self.faces(cell).map(|f| (f, false)).collect();
        while let Some((face, done)) = stack.pop() {
            if done {
                order.push(face);
                continue;
            }
            if seen.contains_key(&face) {
                continue;
            }
            seen.insert(face, false);
            stack.push((face, true));
            if let Some(up) = self.raised(face) {
                stack.extend(self.faces(up).filter(|&f| f != face).map(|f| (f, false)));
            }
        }
        for face in self.faces(cell) {
            seen.entry(face).and_modify(|odd| *odd = !*odd);
        }
        let mut found = Vec::new();
        for &face in order.iter().rev() {
            if !seen[&face] {
                continue;
            }
            if self.partner(face) == CRITICAL {
                found.push(face);
            }
            if let Some(up) = self.raised(face) {
                for next in self.faces(up).filter(|&f| f != face) {
                    seen.entry(next).and_modify(|odd| *odd = !*odd);
                }
            }
        }
        found
    }

    /// Where loops end: the cells of index 2, each with the one of index 1 where its loop began.
    pub fn loop_ends(
        &self,
        critical: &[CriticalCell],
        control: &Control<'_>,
    ) -> Result<Vec<LoopEnd>, FieldError> {
        let rank: HashMap<usize, usize> =
            critical.iter().enumerate().map(|(n, c)| (c.cell, n)).collect();
        let of_index = |index: u8| (0..critical.len()).filter(move |&n| critical[n].index == index);
        let column = |n: usize| {
            let mut rows: Vec<usize> =
                self.boundary(critical[n].cell).iter().map(|c| rank[c]).collect();
            rows.sort_unstable();
            rows
        };
        // A cell of index 3 fills a hollow that one of index 2 shut; that one ended no loop.
        let mut hollows = HashMap::new();
        for n in of_index(3) {
            control.check()?;
            reduce(column(n), &mut hollows);
        }
        let mut loops = HashMap::new();
        let mut ends = Vec::new();
        for n in of_index(2) {
            control.check()?;
            let begin = reduce(column(n), &mut loops);
            if begin.is_some() || !hollows.contains_key(&n) {
                ends.push(LoopEnd { end: critical[n], begin: begin.map(|b| critical[b]) });
            }
        }
        Ok(ends)
    }
}

/// Reduce a column over the integers mod 2 and keep it under its last row, which is returned.
fn reduce(mut column: Vec<usize>, kept: &mut HashMap<usize, Vec<usize>>) -> Option<usize> {
    while let Some(&last) = column.last() {
        match kept.get(&last) {
            Some(other) => column = sum(&column, other),
            None => {
                kept.insert(last, column);
                return Some(last);
            }
        }
    }
    None
}

/// What is in one of two sorted lists but not in both.
fn sum(a: &[usize], b: &[usize]) -> Vec<usize> {
    let (mut i, mut j) = (0, 0);
    let mut out = Vec::with_capacity(a.len() + b.len());
    while i < a.len() || j < b.len() {
        match (a.get(i), b.get(j)) {
            (Some(x), Some(y)) if x == y => (i, j) = (i + 1, j + 1),
            (Some(x), y) if y.is_none_or(|y| x < y) => {
                out.push(*x);
                i += 1;
            }
            _ => {
                out.push(b[j]);
                j += 1;
            }
        }
    }
    out
}
