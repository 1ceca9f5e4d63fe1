//! The skin of the model with its holes filled.
//!
//! Once a bridge is cut across, the rubber on either side of the cut still goes round the model: a ring of
//! rubber may run over a limb, across the face of the cut, and back. Such rings lie on the surface of the model
//! and a web without thickness that fills the hole, the disc of the cut. So the skin is cut along the rim, and
//! either lip gets a disc of its own. What comes out is a closed surface again, with one handle
//! less; rings on it all part it in two. Of an arch the disc stands on the board, along a line that both its
//! sides share.

use std::collections::HashMap;

use super::Bridge;
use super::cap::cap;
use crate::mesh::{Point, TriangleMesh};

/// Where a hole is cut across: vertices along mesh edges, in order; the first one is not repeated.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct HolePath {
    /// The vertices.
    pub vertices: Vec<u32>,
    /// Whether the last one is joined to the first. Else both ends stand on the board.
    pub closed: bool,
}

impl HolePath {
    /// That of a bridge along mesh edges.
    pub fn of(bridge: &Bridge) -> Self {
        Self { vertices: bridge.path.clone(), closed: bridge.closed }
    }

    /// The path along steps from vertex to vertex; None where there are none.
    pub fn along(steps: &[[u32; 2]]) -> Option<Self> {
        let (first, last) = (steps.first()?[0], steps.last()?[1]);
        let starts = steps.iter().map(|step| step[0]);
        let closed = first == last;
        Some(Self { vertices: starts.chain((!closed).then_some(last)).collect(), closed })
    }
}

/// A skin with discs in its holes.
#[derive(Clone, Debug)]
pub struct Filled {
    /// The skin. Its first faces are those of the skin before, in their order; then come those of discs.
    pub mesh: TriangleMesh,
    /// How many faces are the model's.
    pub model_faces: usize,
    /// The vertex before that each vertex comes from: rims have two. None inside a disc.
    pub origins: Vec<Option<u32>>,
    /// Vertices along which discs stand on the board.
    pub on_board: Vec<u32>,
    /// Edges of each path on both lips, as pairs of vertices; none where the hole was not filled.
    pub rims: Vec<Vec<[u32; 2]>>,
}

impl Filled {
    /// Fill holes of `mesh`, those that have a path, with triangles of about `edge` mm. A hole whose path meets
    /// that of another or itself, or that no disc can be drawn on, stays as it is.
    pub fn new(mesh: &TriangleMesh, paths: &[Option<HolePath>], edge: f64) -> Self {
        let mut filled = Self::none(mesh, paths.len());
        let mut users: HashMap<u32, u32> = HashMap::new();
        for &v in paths.iter().flatten().flat_map(|path| &path.vertices) {
            *users.entry(v).or_default() += 1;
        }
        for (path, rim) in paths.iter().zip(0..) {
            let Some(path) = path else { continue };
            if path.vertices.len() >= 3 && path.vertices.iter().all(|v| users[v] == 1) {
                filled.fill(path, rim, edge);
            }
        }
        filled
    }

    /// A mesh whose `holes` all stay as they are.
    pub fn none(mesh: &TriangleMesh, holes: usize) -> Self {
        Self {
            mesh: mesh.clone(),
            model_faces: mesh.faces.len(),
            origins: (0..mesh.positions.len() as u32).map(Some).collect(),
            on_board: Vec::new(),
            rims: vec![Vec::new(); holes],
        }
    }

    /// Whether each vertex is gate: those that were before, and where discs stand on the board.
    pub fn gate(&self, before: &[bool]) -> Vec<bool> {
        let mut gate: Vec<bool> =
            self.origins.iter().map(|v| v.is_some_and(|v| before[v as usize])).collect();
        for &v in &self.on_board {
            gate[v as usize] = true;
        }
        gate
    }

    fn fill(&mut self, path: &HolePath, index: usize, edge: f64) -> Option<()> {
        let own = &path.vertices;
        let at = |v: u32| self.mesh.positions[v as usize];
        let mut outline: Vec<Point> = own.iter().map(|&v| at(v)).collect();
        let foot = if path.closed { Vec::new() } else { foot(&outline, edge) };
        outline.extend(&foot);
        let TriangleMesh { positions, faces } = cap(&outline, edge)?;
        let copies = self.part_along(path)?;
        let start = self.mesh.positions.len() as u32;
        self.on_board.extend(start..start + foot.len() as u32);
        self.push(&foot);
        let shared = start..start + foot.len() as u32;
        let inside = &positions[outline.len()..];
        for (lip, is_left) in [(own, true), (&copies, false)] {
            let first = self.mesh.positions.len() as u32;
            self.push(inside);
            let fresh = first..first + inside.len() as u32;
            let names: Vec<u32> = lip.iter().copied().chain(shared.clone()).chain(fresh).collect();
            self.mesh.faces.extend(faces.iter().map(|f| {
                let [a, b, c] = f.map(|v| names[v as usize]);
                // Faces left of the path run with it, so the disc on that lip runs against it.
                if is_left { [a, c, b] } else { [a, b, c] }
            }));
            let closing = path.closed.then(|| [lip[lip.len() - 1], lip[0]]);
            let sides = lip.windows(2).map(|w| [w[0], w[1]]).chain(closing);
            self.rims[index].extend(sides);
        }
        Some(())
    }

    fn push(&mut self, points: &[Point]) {
        self.mesh.positions.extend(points);
        self.origins.resize(self.mesh.positions.len(), None);
    }

    /// Cut the skin along a path: faces to its right get vertices of their own, the ends of an open path
    /// left out. The path's vertices as they are to the right come back; None if the path does not
    /// follow edges.
    fn part_along(&mut self, path: &HolePath) -> Option<Vec<u32>> {
        let own = &path.vertices;
        let count = own.len();
        let face_of: HashMap<[u32; 2], usize> = (0..self.mesh.faces.len())
            .flat_map(|f| {
                let [a, b, c] = self.mesh.faces[f];
                [([a, b], f), ([b, c], f), ([c, a], f)]
            })
            .collect();
        let parted = if path.closed { 0..count } else { 1..count - 1 };
        let mut moves = Vec::new();
        for k in parted.clone() {
            let (before, v, after) = (own[(k + count - 1) % count], own[k], own[(k + 1) % count]);
            // Right of the path, counter-clockwise round the vertex: from where it came to where it goes.
            let mut to = before;
            loop {
                let &face = face_of.get(&[v, to])?;
                moves.push((face, k));
                to = self.mesh.faces[face].into_iter().find(|&w| w != v && w != to)?;
                if to == after {
                    break;
                }
                if to == before {
                    return None;
                }
            }
        }
        let start = self.mesh.positions.len() as u32;
        let mut copies = own.clone();
        for (k, copy) in parted.zip(start..) {
            copies[k] = copy;
            self.mesh.positions.push(self.mesh.positions[own[k] as usize]);
            self.origins.push(self.origins[own[k] as usize]);
        }
        for (face, k) in moves {
            for corner in &mut self.mesh.faces[face] {
                if *corner == own[k] {
                    *corner = copies[k];
                }
            }
        }
        Some(copies)
    }
}

/// Points along the board from the end of an open path back to its start, at least one.
fn foot(path: &[Point], edge: f64) -> Vec<Point> {
    let (first, last) = (path[0], path[path.len() - 1]);
    let pieces = ((first - last).norm() / edge).round().max(2.0) as usize;
    (1..pieces).map(|k| last + (first - last) * (k as f64 / pieces as f64)).collect()
}

#[cfg(test)]
mod tests;
