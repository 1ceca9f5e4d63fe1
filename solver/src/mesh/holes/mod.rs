//! Holes in a surface, closed by the smoothest patch: what was not there is invented, so only small ones, and
//! each is told.

mod net;
mod patch;
mod rings;

use std::collections::{HashMap, HashSet};

pub(super) use self::net::MOST_EDGES;
use self::patch::Patch;
pub(super) use self::rings::{Rims, diameter, rims};
use super::check::{EdgeTally, at};
use super::{FaceId, Point, TriangleMesh, Vector};

/// What became of one hole.
#[derive(Clone, Copy)]
pub(super) struct Filled {
    /// Edges of its rim.
    pub edges: usize,
    /// Its diameter, mm.
    pub diameter: f64,
    /// Middle of its rim, mm.
    pub place: Point,
    /// Faces of the patch. They lie at the mesh's end, in the order of the holes.
    pub faces: usize,
}

/// Work for all holes of a mesh, at most: the cubes of their numbers of edges added up. Some ten seconds. No source.
const MOST_WORK: f64 = 3e9;

/// Fill all holes of a mesh up to a diameter (mm) and a number of edges. Holes of which no patch can be made without a
/// second face at an edge are left, and so are those beyond a limit of work.
pub(super) fn fill(mesh: &mut TriangleMesh, largest: f64, most_edges: usize) -> Vec<Filled> {
    let open = EdgeTally::new(mesh).open;
    if open.is_empty() {
        return Vec::new();
    }
    let most_edges = most_edges.min(net::MOST_EDGES);
    let mut work = 0.0;
    let mut small: Vec<Vec<u32>> = rims(&open).rings;
    small.retain(|ring| ring.len() <= most_edges && diameter(ring, mesh) <= largest);
    small.retain(|ring| {
        work += (ring.len() as f64).powi(3);
        work <= MOST_WORK
    });
    if small.is_empty() {
        return Vec::new();
    }
    let mut round = Round::new(mesh, &small);
    small.iter().filter_map(|ring| round.fill_one(mesh, ring)).collect()
}

/// Middle of a ring, mm.
pub(super) fn middle(ring: &[u32], mesh: &TriangleMesh) -> Point {
    let sum: Vector = ring.iter().map(|v| mesh.positions[*v as usize].coords).sum();
    Point::from(sum / ring.len() as f64)
}

/// What several holes that were filled are called in a report.
pub(super) fn told(filled: &[Filled]) -> Option<String> {
    let largest = filled.iter().max_by(|a, b| a.diameter.total_cmp(&b.diameter))?;
    let size = format!(
        "{:.1} mm across with {} edges near {}",
        largest.diameter,
        largest.edges,
        at(&largest.place)
    );
    let faces: usize = filled.iter().map(|f| f.faces).sum();
    Some(match filled.len() {
        1 => format!(
            "filled a hole {size} with a smooth patch of {faces} faces: what was there is not known"
        ),
        n => format!(
            "filled {n} holes with smooth patches of {faces} faces, the largest {size}: what was there is not known"
        ),
    })
}

/// What is known about the rims' surroundings.
struct Round {
    /// Faces at each vertex of a rim.
    faces_at: HashMap<u32, Vec<u32>>,
    /// Neighbours, by edges, of each vertex of a rim.
    near: HashMap<u32, HashSet<u32>>,
}

impl Round {
    fn new(mesh: &TriangleMesh, rings: &[Vec<u32>]) -> Self {
        let mut faces_at: HashMap<u32, Vec<u32>> =
            rings.iter().flatten().map(|v| (*v, Vec::new())).collect();
        let mut near: HashMap<u32, HashSet<u32>> =
            rings.iter().flatten().map(|v| (*v, HashSet::new())).collect();
        for (f, face) in mesh.faces.iter().enumerate() {
            for v in face {
                if let Some(own) = faces_at.get_mut(v) {
                    own.push(f as u32);
                    near.entry(*v).or_default().extend(face.iter().filter(|u| *u != v));
                }
            }
        }
        Self { faces_at, near }
    }

    fn fill_one(&mut self, mesh: &mut TriangleMesh, ring: &[u32]) -> Option<Filled> {
        let n = ring.len();
        let corners: Vec<Point> = ring.iter().map(|v| mesh.positions[*v as usize]).collect();
        let outer: Vec<Vector> = (0..n)
            .map(|k| {
                let (a, b) = (ring[k], ring[(k + 1) % n]);
                let face = self.faces_at[&a]
                    .iter()
                    .find(|f| mesh.faces[**f as usize].contains(&b))
                    .map(|f| mesh.area_vector(FaceId(*f)));
                face.and_then(|area| area.try_normalize(0.0)).unwrap_or_else(Vector::zeros)
            })
            .collect();
        let mut taken = HashSet::new();
        for i in 0..n {
            for j in i + 2..n {
                if (i, j) != (0, n - 1) && self.near[&ring[i]].contains(&ring[j]) {
                    taken.insert([i, j]);
                }
            }
        }
        let net = net::closed(&corners, &outer, &taken)?;
        let length: Vec<f64> = ring
            .iter()
            .zip(&corners)
            .map(|(v, p)| {
                let near = &self.near[v];
                let mut lengths: Vec<f64> =
                    near.iter().map(|u| (mesh.positions[*u as usize] - p).norm()).collect();
                // Sums do not depend on the set's order.
                lengths.sort_unstable_by(f64::total_cmp);
                lengths.iter().sum::<f64>() / lengths.len().max(1) as f64
            })
            .collect();
        let on_rim: HashSet<u32> = ring.iter().copied().collect();
        let beyond: Vec<Vec<Point>> = ring
            .iter()
            .map(|v| {
                let mut out: Vec<u32> =
                    self.near[v].iter().copied().filter(|u| !on_rim.contains(u)).collect();
                out.sort_unstable();
                out.into_iter().map(|u| mesh.positions[u as usize]).collect()
            })
            .collect();
        let mut patch = Patch::new(corners, net, length);
        patch.refine();
        patch.smooth(&beyond);
        let first = mesh.positions.len();
        mesh.positions.extend(&patch.positions[n..]);
        let name = |k: usize| if k < n { ring[k] } else { (first + k - n) as u32 };
        let faces: Vec<[u32; 3]> = patch.faces.iter().map(|f| f.map(name)).collect();
        for (f, face) in faces.iter().enumerate() {
            for v in face {
                if let Some(own) = self.faces_at.get_mut(v) {
                    own.push((mesh.faces.len() + f) as u32);
                    self.near.entry(*v).or_default().extend(face.iter().filter(|u| *u != v));
                }
            }
        }
        mesh.faces.extend(&faces);
        Some(Filled {
            edges: n,
            diameter: diameter(ring, mesh),
            place: middle(ring, mesh),
            faces: faces.len(),
        })
    }
}

#[cfg(test)]
mod tests;
