//! Parts of one side that do not hang together with the rest of it.
//!
//! Such an island would be cut out as a lens of rubber. The far half of the nearer of two horns is one, seen along
//! both: as much of it as there is looks the other way, so that giving it to the side round it hooks a whole half of
//! the horn. Cheaper as a rule is a strip of skin that leads from the island to the rest of its side: it costs border
//! on both sides of it, and what it crosses looks the wrong way. Each island gets what costs less, the largest first.

use std::collections::BinaryHeap;

use super::Surface;
use crate::girth::paths::Nearest;
use crate::mesh::FaceId;
use crate::union_find::UnionFind;

/// Islands that are looked at one by one, the largest ones; the others change sides.
const MOST: usize = 16;
/// An island smaller than a square of so many edges changes sides: no strip to it pays.
const LEAST_EDGES: f64 = 2.0;

/// What labels cost: the border's length, weighed, and area on the wrong side.
pub(super) struct Price<'a> {
    pub surface: &'a Surface,
    /// Area of each face, mm^2.
    pub areas: &'a [f64],
    /// What each face costs on the front and on the back, mm.
    pub wrong: &'a [[f64; 2]],
}

impl Price<'_> {
    /// Join every island to a side. The area that changed sides for want of a strip, mm^2.
    pub fn join_islands(&self, front: &mut Vec<bool>) -> f64 {
        let least = (LEAST_EDGES * self.surface.mean_edge()).powi(2);
        // No strip crosses another one.
        let mut laid = vec![false; front.len()];
        let mut flipped = 0.0;
        for _ in 0..MOST {
            let parts = Parts::of(self.surface, self.areas, front);
            let Some(island) = parts.largest_island().filter(|i| parts.area[*i] > least) else {
                break;
            };
            let (mut given, mut strip) = (front.clone(), front.clone());
            let side = front[island];
            let area = parts.area[island];
            parts.flip(island, &mut given);
            let way = self.way(&parts, island, front, &laid);
            let is_joined = way.is_some_and(|way| {
                for face in way {
                    strip[face as usize] = side;
                }
                self.cost_without_islands(&strip) < self.cost_without_islands(&given)
            });
            if is_joined {
                for (f, laid) in laid.iter_mut().enumerate() {
                    *laid |= strip[f] != front[f];
                }
                *front = strip;
            } else {
                *front = given;
                flipped += area;
            }
        }
        flipped + self.flip_islands(front)
    }

    /// What labels cost once every island has changed sides.
    fn cost_without_islands(&self, front: &[bool]) -> f64 {
        let mut front = front.to_vec();
        self.flip_islands(&mut front);
        self.cost(&front)
    }

    fn cost(&self, front: &[bool]) -> f64 {
        self.border(front) + self.undercut(front)
    }

    /// What the border costs, mm.
    pub fn border(&self, front: &[bool]) -> f64 {
        (0u32..)
            .zip(&self.surface.topology.edge_faces)
            .filter(|(_, [a, b])| front[*a as usize] != front[*b as usize])
            .map(|(edge, _)| self.surface.edge_cost(edge))
            .sum()
    }

    /// What area on the wrong side costs, mm.
    pub fn undercut(&self, front: &[bool]) -> f64 {
        front.iter().zip(self.wrong).map(|(&f, w)| w[usize::from(!f)]).sum()
    }

    /// Give all islands to the side round them; the area that changed sides.
    fn flip_islands(&self, front: &mut [bool]) -> f64 {
        let mut changed = 0.0;
        // What an island was given to may join two parts: a few rounds settle it.
        for _ in 0..8 {
            let parts = Parts::of(self.surface, self.areas, front);
            let islands = parts.islands();
            if islands.is_empty() {
                break;
            }
            for island in islands {
                changed += parts.area[island];
                parts.flip(island, front);
            }
        }
        changed
    }

    /// The faces of the cheapest strip from an island to the rest of its side, three or four faces wide. None where all ways
    /// are barred.
    fn way(&self, parts: &Parts, island: usize, front: &[bool], laid: &[bool]) -> Option<Vec<u32>> {
        let surface = self.surface;
        let (mesh, topology) = (&surface.mesh, &surface.topology);
        let side = front[island];
        let goal = parts.main[usize::from(side)]?;
        let middle = |f: u32| mesh.face_middle(FaceId(f));
        let mut best = vec![f64::INFINITY; front.len()];
        let mut from = vec![u32::MAX; front.len()];
        let mut heap = BinaryHeap::new();
        for f in (0..front.len()).filter(|&f| parts.root[f] == island) {
            best[f] = 0.0;
            heap.push(Nearest(0.0, f as u32));
        }
        let mut end = None;
        while let Some(Nearest(cost, face)) = heap.pop() {
            if cost > best[face as usize] {
                continue;
            }
            if parts.root[face as usize] == goal {
                end = Some(face);
                break;
            }
            for &edge in &topology.face_edges[face as usize] {
                let [a, b] = topology.edge_faces[edge as usize];
                let next = if a == face { b } else { a };
                let k = next as usize;
                if laid[k] {
                    continue;
                }
                let own = front[k] == side;
                // Border on both sides of the strip, as dear as the edges that it crosses.
                let [u, v] = topology.edge_vertices[edge as usize].map(|v| v as usize);
                let length = (mesh.positions[u] - mesh.positions[v]).norm();
                let dear = surface.edge_cost(edge) / length.max(1e-300);
                let step = (middle(face) - middle(next)).norm();
                let price =
                    if own { 0.0 } else { 2.0 * dear * step + self.wrong[k][usize::from(!side)] };
                if cost + price < best[k] {
                    best[k] = cost + price;
                    from[k] = face;
                    heap.push(Nearest(best[k], next));
                }
            }
        }
        let mut way = Vec::new();
        let mut face = end?;
        while from[face as usize] != u32::MAX {
            face = from[face as usize];
            if front[face as usize] != side {
                way.push(face);
            }
        }
        // A strip of one face would be smoothed away.
        let mut near = vec![false; mesh.positions.len()];
        for &f in &way {
            for v in mesh.faces[f as usize] {
                near[v as usize] = true;
            }
        }
        let wide = (0..front.len() as u32).filter(|&f| {
            let k = f as usize;
            front[k] != side && !laid[k] && mesh.faces[k].iter().any(|&v| near[v as usize])
        });
        Some(wide.collect())
    }
}

/// The parts of both sides that hang together.
struct Parts {
    /// For each face the face that stands for its part.
    root: Vec<usize>,
    /// Area of the part that a face stands for, mm^2.
    area: Vec<f64>,
    /// The largest part of the back and of the front.
    main: [Option<usize>; 2],
}

impl Parts {
    fn of(surface: &Surface, areas: &[f64], front: &[bool]) -> Self {
        let mut joined = UnionFind::new(front.len());
        for &[a, b] in &surface.topology.edge_faces {
            if front[a as usize] == front[b as usize] {
                joined.join(a as usize, b as usize);
            }
        }
        let root: Vec<usize> = (0..front.len()).map(|f| joined.root(f)).collect();
        let mut area = vec![0.0; front.len()];
        for (f, &root) in root.iter().enumerate() {
            area[root] += areas[f];
        }
        let largest = |side: bool| {
            (0..front.len())
                .filter(|&f| root[f] == f && front[f] == side)
                .max_by(|&a, &b| area[a].total_cmp(&area[b]).then(b.cmp(&a)))
        };
        let main = [largest(false), largest(true)];
        Self { root, area, main }
    }

    /// The parts that are not the largest of their side.
    fn islands(&self) -> Vec<usize> {
        let roots = (0..self.root.len()).filter(|&f| self.root[f] == f);
        roots.filter(|&f| !self.main.contains(&Some(f))).collect()
    }

    fn largest_island(&self) -> Option<usize> {
        let islands = self.islands().into_iter();
        islands.max_by(|&a, &b| self.area[a].total_cmp(&self.area[b]).then(b.cmp(&a)))
    }

    fn flip(&self, island: usize, front: &mut [bool]) {
        for (f, front) in front.iter_mut().enumerate() {
            if self.root[f] == island {
                *front = !*front;
            }
        }
    }
}
