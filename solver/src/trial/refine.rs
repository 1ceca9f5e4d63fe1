//! Coarse elements made finer where there is something to resolve.
//!
//! Longest edges are split, each with all elements round it, and before it any longer edge of one of these
//! (Rivara 1997, "New longest-edge algorithms for the refinement and/or improvement of unstructured
//! triangulations", International Journal for Numerical Methods in Engineering 40:3313). Elements of the
//! body-centred cubic lattice come in four shapes then, whatever their size.

use rayon::prelude::*;

use super::space::Region;
use super::tets::{Tets, edges_of};
use crate::control::{Cancelled, Control};
use crate::mesh::Point;

/// An element is fine enough when its longest edge is no longer than this many times the size that is wanted
/// there: the shape with a longest edge of 2^(1/2) is as large as an element of the whole lattice.
const LONGEST: f64 = 1.45;

/// A mesh on its way to be finer.
pub(super) struct Refinement<'a> {
    region: &'a dyn Region,
    /// Size where it is finest, mm.
    finest: f64,
    pub positions: Vec<Point>,
    pub levels: Vec<f64>,
    /// Size wanted at each node, mm.
    sizes: Vec<f64>,
    pub tets: Tets,
}

impl<'a> Refinement<'a> {
    pub fn new(
        region: &'a dyn Region,
        finest: f64,
        positions: Vec<Point>,
        levels: Vec<f64>,
        elements: Vec<[u32; 4]>,
    ) -> Self {
        let sizes = positions.par_iter().map(|p| region.size(p, finest)).collect();
        let tets = Tets::new(elements, positions.len());
        Self { region, finest, positions, levels, sizes, tets }
    }

    /// Split until every element that may hold a part of the region is fine enough.
    pub fn run(&mut self, control: &Control<'_>) -> Result<(), Cancelled> {
        loop {
            control.check()?;
            let count = self.tets.elements.len() as u32;
            let coarse: Vec<u32> = (0..count).filter(|&e| self.is_too_coarse(e)).collect();
            if coarse.is_empty() {
                return Ok(());
            }
            for e in coarse {
                // It may have been split beside another one.
                if self.is_too_coarse(e) {
                    self.split_longest(e);
                }
            }
        }
    }

    fn is_too_coarse(&self, element: u32) -> bool {
        let corners = &self.tets.elements[element as usize];
        let length = self.longest(element).0;
        let least =
            |of: &[f64]| corners.iter().map(|&n| of[n as usize]).fold(f64::INFINITY, f64::min);
        // A level changes no faster than a point moves, so a region that all corners are farther from
        // than an edge is long does not reach into the element.
        if least(&self.levels) > length {
            return false;
        }
        length > LONGEST * least(&self.sizes)
    }

    /// The longest edge of an element; of like ones that with the lowest nodes.
    fn longest(&self, element: u32) -> (f64, [u32; 2]) {
        let length =
            |[a, b]: [u32; 2]| (self.positions[b as usize] - self.positions[a as usize]).norm();
        edges_of(&self.tets.elements[element as usize])
            .into_iter()
            .map(|edge| (length(edge), edge))
            .max_by(|p, q| p.0.total_cmp(&q.0).then(q.1.cmp(&p.1)))
            .unwrap_or((0.0, [0, 0]))
    }

    fn split_longest(&mut self, element: u32) {
        let mut path = vec![element];
        while let Some(&top) = path.last() {
            let (_, edge) = self.longest(top);
            let other = self.tets.around_edge(edge).find(|&e| self.longest(e).1 != edge);
            if let Some(other) = other {
                path.push(other);
                continue;
            }
            let [a, b] = edge.map(|n| self.positions[n as usize]);
            let middle = nalgebra::center(&a, &b);
            self.tets.split(edge);
            self.positions.push(middle);
            self.levels.push(self.region.level(&middle));
            self.sizes.push(self.region.size(&middle, self.finest));
            path.pop();
        }
    }
}
