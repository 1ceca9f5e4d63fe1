//! A body of tetrahedra at rest.

use std::collections::HashMap;

use crate::mesh::{Point, Vector};
use crate::union_find::UnionFind;

/// Which skin of the rubber a node was laid on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Skin {
    /// Inside the rubber.
    None,
    /// The model.
    Model,
    /// The outside.
    Outside,
    /// The board that the mould stands on.
    Board,
}

/// Tetrahedra at rest, mm. Corners of an element are ordered so that its volume is positive.
#[derive(Clone, Debug, Default)]
pub struct Solid {
    /// Positions at rest, mm.
    pub nodes: Vec<Point>,
    /// Skin of each node.
    pub skins: Vec<Skin>,
    /// Four nodes an element.
    pub elements: Vec<[u32; 4]>,
}

/// The three corners of the face opposite each corner, outward for an element of positive volume.
pub(super) const FACES: [[usize; 3]; 4] = [[1, 2, 3], [0, 3, 2], [0, 1, 3], [0, 2, 1]];

impl Solid {
    /// Corners of an element, mm.
    pub fn corners(&self, element: usize) -> [Point; 4] {
        self.elements[element].map(|n| self.nodes[n as usize])
    }

    /// Middle of an element, mm.
    pub fn middle(&self, element: usize) -> Point {
        let [a, b, c, d] = self.corners(element);
        Point::from((a.coords + b.coords + c.coords + d.coords) / 4.0)
    }

    /// Volume of an element, mm^3.
    pub fn volume(&self, element: usize) -> f64 {
        signed_volume(&self.corners(element))
    }

    /// Volume of the whole, mm^3.
    pub fn total_volume(&self) -> f64 {
        (0..self.elements.len()).map(|e| self.volume(e)).sum()
    }

    /// Pairs of elements that share a face, each with the face's corner number in the first.
    pub(super) fn shared_faces(&self) -> Vec<(u32, u32)> {
        let mut open: HashMap<[u32; 3], u32> = HashMap::with_capacity(2 * self.elements.len());
        let mut pairs = Vec::with_capacity(2 * self.elements.len());
        for (e, corners) in self.elements.iter().enumerate() {
            for face in FACES {
                let key = face_key(corners, face);
                match open.remove(&key) {
                    Some(other) => pairs.push((other, e as u32)),
                    None => {
                        open.insert(key, e as u32);
                    }
                }
            }
        }
        pairs
    }

    /// The piece of each element, by one of the piece's elements: what hangs together face by face.
    fn piece_of_elements(&self) -> Vec<usize> {
        let mut pieces = UnionFind::new(self.elements.len());
        for (a, b) in self.shared_faces() {
            pieces.join(a as usize, b as usize);
        }
        (0..self.elements.len()).map(|e| pieces.root(e)).collect()
    }

    /// Pieces that hang together face by face.
    pub fn pieces(&self) -> usize {
        self.piece_of_elements().iter().enumerate().filter(|&(e, &root)| e == root).count()
    }

    /// What is left without crumbs: elements that hang together with little else, as clipping may leave
    /// them where rubber is thinner than the lattice. `least` is the share of the whole from which a piece
    /// is none.
    pub(super) fn without_crumbs(self, least: f64) -> Self {
        let roots = self.piece_of_elements();
        let mut volumes = vec![0.0; self.elements.len()];
        for (e, &root) in roots.iter().enumerate() {
            volumes[root] += self.volume(e);
        }
        let least = least * self.total_volume();
        self.with(|e| volumes[roots[e]] >= least)
    }

    /// The elements that are told, with their nodes.
    pub(super) fn with(&self, is_kept: impl Fn(usize) -> bool) -> Self {
        let kept = (0..self.elements.len()).filter(|&e| is_kept(e));
        let mut elements: Vec<[u32; 4]> = kept.map(|e| self.elements[e]).collect();
        let mut used: Vec<u32> = elements.iter().flatten().copied().collect();
        used.sort_unstable();
        used.dedup();
        let number = |n: u32| used.binary_search(&n).map_or(0, |k| k as u32);
        elements.iter_mut().for_each(|e| *e = e.map(number));
        Self {
            nodes: used.iter().map(|&n| self.nodes[n as usize]).collect(),
            skins: used.iter().map(|&n| self.skins[n as usize]).collect(),
            elements,
        }
    }

    /// Faces of one element only, counter-clockwise from outside, in the order of elements.
    pub fn surface(&self) -> Vec<[u32; 3]> {
        surface(&self.elements)
    }

    /// Smallest and greatest angle between two faces of an element, degrees.
    pub fn dihedral_range(&self) -> (f64, f64) {
        let mut range = (180.0f64, 0.0f64);
        for e in 0..self.elements.len() {
            let p = self.corners(e);
            let normals = FACES.map(|[a, b, c]| (p[b] - p[a]).cross(&(p[c] - p[a])).normalize());
            for i in 0..4 {
                for j in 0..i {
                    let angle = (-normals[i].dot(&normals[j])).clamp(-1.0, 1.0).acos().to_degrees();
                    range = (range.0.min(angle), range.1.max(angle));
                }
            }
        }
        range
    }
}

/// [`Solid::surface`] of elements.
pub(super) fn surface(elements: &[[u32; 4]]) -> Vec<[u32; 3]> {
    let mut count: HashMap<[u32; 3], u8> = HashMap::with_capacity(2 * elements.len());
    for corners in elements {
        for face in FACES {
            *count.entry(face_key(corners, face)).or_default() += 1;
        }
    }
    let faces = elements.iter().flat_map(|c| FACES.map(|f| (c, f)));
    faces
        .filter(|(c, f)| count.get(&face_key(c, *f)) == Some(&1))
        .map(|(c, f)| f.map(|k| c[k]))
        .collect()
}

/// Volume of a tetrahedron, mm^3; negative if it is inside out.
pub(super) fn signed_volume(p: &[Point; 4]) -> f64 {
    (p[1] - p[0]).cross(&(p[2] - p[0])).dot(&(p[3] - p[0])) / 6.0
}

/// Longest edge between corners, mm.
pub(super) fn longest_edge(corners: &[Point]) -> f64 {
    let lengths = corners
        .iter()
        .enumerate()
        .flat_map(|(k, p)| corners[..k].iter().map(move |q| (p - q).norm()));
    lengths.fold(0.0, f64::max)
}

/// Gradients (1/mm) of the shape functions of corners 1, 2 and 3; that of corner 0 is minus their
/// sum.
pub(super) fn gradients(p: &[Point; 4]) -> [Vector; 3] {
    let (a, b, c) = (p[1] - p[0], p[2] - p[0], p[3] - p[0]);
    let whole = a.cross(&b).dot(&c);
    [b.cross(&c) / whole, c.cross(&a) / whole, a.cross(&b) / whole]
}

fn face_key(corners: &[u32; 4], face: [usize; 3]) -> [u32; 3] {
    let mut key = face.map(|k| corners[k]);
    key.sort_unstable();
    key
}
