//! Tetrahedra with the elements round each node, to split edges and to move nodes.

use rayon::prelude::*;

use super::solid::signed_volume;
use crate::mesh::Point;

/// Elements that can be split.
pub(super) struct Tets {
    /// Four nodes each.
    pub elements: Vec<[u32; 4]>,
    around: Vec<Vec<u32>>,
}

impl Tets {
    /// Elements over so many nodes.
    pub fn new(elements: Vec<[u32; 4]>, nodes: usize) -> Self {
        let mut around = vec![Vec::new(); nodes];
        for (e, corners) in elements.iter().enumerate() {
            for &n in corners {
                around[n as usize].push(e as u32);
            }
        }
        Self { elements, around }
    }

    fn around(&self, node: u32) -> &[u32] {
        &self.around[node as usize]
    }

    /// Elements round an edge.
    pub fn around_edge(&self, [a, b]: [u32; 2]) -> impl Iterator<Item = u32> {
        let has = move |e: &u32| self.elements[*e as usize].contains(&b);
        self.around(a).iter().copied().filter(has)
    }

    /// Move a node, unless an element round it would keep less than the share `least` of its volume or be
    /// turned inside out. Tells whether it moved.
    pub fn move_node(&self, positions: &mut [Point], node: u32, to: Point, least: f64) -> bool {
        let volumes = |positions: &[Point]| -> Vec<f64> {
            let corners = |e: &u32| self.elements[*e as usize].map(|n| positions[n as usize]);
            self.around(node).iter().map(|e| signed_volume(&corners(e))).collect()
        };
        let (before, old) = (positions[node as usize], volumes(positions));
        positions[node as usize] = to;
        let new = volumes(positions);
        let moves = new.iter().zip(old).all(|(new, old)| new * old.signum() >= least * old.abs());
        if !moves {
            positions[node as usize] = before;
        }
        moves
    }

    /// Split an edge, with all elements round it, at a new node, whose number is the next one. Of each
    /// element the half at `a` keeps the number.
    pub fn split(&mut self, [a, b]: [u32; 2]) {
        let new = self.around.len() as u32;
        let both: Vec<u32> = self.around_edge([a, b]).collect();
        self.around.push(Vec::with_capacity(2 * both.len()));
        let with_new =
            |corners: [u32; 4], old: u32| corners.map(|c| if c == old { new } else { c });
        for e in both {
            let corners = self.elements[e as usize];
            let added = self.elements.len() as u32;
            self.elements[e as usize] = with_new(corners, b);
            self.elements.push(with_new(corners, a));
            for c in corners.into_iter().filter(|&c| c != a && c != b) {
                self.around[c as usize].push(added);
            }
            let of_b = &mut self.around[b as usize];
            of_b.retain(|&other| other != e);
            of_b.push(added);
            self.around[new as usize].extend([e, added]);
        }
    }
}

/// An edge with its lower node first.
pub(super) fn sorted([a, b]: [u32; 2]) -> [u32; 2] {
    [a.min(b), a.max(b)]
}

/// Pairs of an element's corners.
const PAIRS: [[usize; 2]; 6] = [[0, 1], [0, 2], [0, 3], [1, 2], [1, 3], [2, 3]];

/// Edges of an element, lower node first.
pub(super) fn edges_of(corners: &[u32; 4]) -> [[u32; 2]; 6] {
    PAIRS.map(|[a, b]| sorted([corners[a], corners[b]]))
}

/// Edges of elements, each once, in order.
pub(super) fn edges(elements: &[[u32; 4]]) -> Vec<[u32; 2]> {
    let mut edges: Vec<[u32; 2]> = elements.iter().flat_map(edges_of).collect();
    edges.par_sort_unstable();
    edges.dedup();
    edges
}
