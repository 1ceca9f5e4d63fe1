//! A closed triangle mesh whose edges can be split, collapsed and flipped.
//!
//! Connectivity only: every operation keeps the surface a closed oriented manifold of the same
//! genus or refuses. Whether an operation is wise (lengths, normals, creases) is the caller's
//! question.

use super::super::{Point, TriangleMesh, Vector};

const DEAD: [u32; 3] = [u32::MAX; 3];

/// The two faces at an edge `a -> b` and the corners opposite it.
#[derive(Clone, Copy, Debug)]
pub(super) struct EdgeStar {
    /// Face that runs from `a` to `b`.
    pub left: u32,
    /// Face that runs from `b` to `a`.
    pub right: u32,
    /// Third corner of `left`.
    pub left_corner: u32,
    /// Third corner of `right`.
    pub right_corner: u32,
}

#[derive(Clone, Debug)]
pub(super) struct EditableMesh {
    pub positions: Vec<Point>,
    faces: Vec<[u32; 3]>,
    vertex_faces: Vec<Vec<u32>>,
}

impl EditableMesh {
    /// Copy a closed oriented mesh, leaving out vertices without a face.
    pub fn new(mesh: &TriangleMesh) -> Self {
        let mut index = vec![u32::MAX; mesh.positions.len()];
        let mut positions = Vec::with_capacity(mesh.positions.len());
        let mut faces = Vec::with_capacity(mesh.faces.len());
        for face in &mesh.faces {
            faces.push(face.map(|v| {
                let slot = &mut index[v as usize];
                if *slot == u32::MAX {
                    *slot = positions.len() as u32;
                    positions.push(mesh.positions[v as usize]);
                }
                *slot
            }));
        }
        let mut vertex_faces = vec![Vec::new(); positions.len()];
        for (f, face) in faces.iter().enumerate() {
            for &v in face {
                vertex_faces[v as usize].push(f as u32);
            }
        }
        Self { positions, faces, vertex_faces }
    }

    /// The mesh as it stands, without dead faces and vertices.
    pub fn to_mesh(&self) -> TriangleMesh {
        let mut index = vec![u32::MAX; self.positions.len()];
        let mut mesh = TriangleMesh::default();
        for (v, faces) in self.vertex_faces.iter().enumerate() {
            if !faces.is_empty() {
                index[v] = mesh.positions.len() as u32;
                mesh.positions.push(self.positions[v]);
            }
        }
        mesh.faces = self
            .faces
            .iter()
            .filter(|f| **f != DEAD)
            .map(|f| f.map(|v| index[v as usize]))
            .collect();
        mesh
    }

    pub fn vertex_count(&self) -> usize {
        self.positions.len()
    }

    pub fn is_alive(&self, vertex: u32) -> bool {
        !self.vertex_faces[vertex as usize].is_empty()
    }

    pub fn faces_of(&self, vertex: u32) -> &[u32] {
        &self.vertex_faces[vertex as usize]
    }

    pub fn valence(&self, vertex: u32) -> usize {
        self.vertex_faces[vertex as usize].len()
    }

    pub fn face(&self, face: u32) -> [u32; 3] {
        self.faces[face as usize]
    }

    /// Twice-area normal of a face, mm^2.
    pub fn area_vector(&self, face: [u32; 3]) -> Vector {
        let [a, b, c] = face.map(|v| self.positions[v as usize]);
        (b - a).cross(&(c - a))
    }

    pub fn length(&self, a: u32, b: u32) -> f64 {
        (self.positions[a as usize] - self.positions[b as usize]).norm()
    }

    /// Every undirected edge once, lower vertex first, in face order.
    pub fn edges(&self) -> Vec<[u32; 2]> {
        let mut edges = Vec::with_capacity(self.faces.len() * 3 / 2);
        for face in self.faces.iter().filter(|f| **f != DEAD) {
            for k in 0..3 {
                let (a, b) = (face[k], face[(k + 1) % 3]);
                if a < b {
                    edges.push([a, b]);
                }
            }
        }
        edges
    }

    /// Neighbours of a vertex, each once.
    pub fn neighbours(&self, vertex: u32) -> impl Iterator<Item = u32> + '_ {
        self.vertex_faces[vertex as usize].iter().map(move |&f| {
            let face = self.faces[f as usize];
            if face[0] == vertex {
                face[1]
            } else if face[1] == vertex {
                face[2]
            } else {
                face[0]
            }
        })
    }

    pub fn are_neighbours(&self, a: u32, b: u32) -> bool {
        self.neighbours(a).any(|v| v == b)
    }

    /// The faces at an edge, or `None` if there is no such edge (any more).
    pub fn edge_star(&self, a: u32, b: u32) -> Option<EdgeStar> {
        let (mut left, mut right) = (None, None);
        for &f in &self.vertex_faces[a as usize] {
            let face = self.faces[f as usize];
            for k in 0..3 {
                if face[k] == a {
                    if face[(k + 1) % 3] == b {
                        left = Some((f, face[(k + 2) % 3]));
                    } else if face[(k + 2) % 3] == b {
                        right = Some((f, face[(k + 1) % 3]));
                    }
                }
            }
        }
        let ((left, left_corner), (right, right_corner)) = (left?, right?);
        Some(EdgeStar { left, right, left_corner, right_corner })
    }

    fn replace(&mut self, face: u32, old: u32, new: u32) {
        for v in &mut self.faces[face as usize] {
            if *v == old {
                *v = new;
            }
        }
    }

    fn detach(&mut self, vertex: u32, face: u32) {
        // Order of the remaining faces is kept: results must not depend on how a vector is
        // compacted.
        self.vertex_faces[vertex as usize].retain(|&f| f != face);
    }

    /// Put a vertex at `point` on the edge; returns it.
    pub fn split(&mut self, a: u32, b: u32, star: EdgeStar, point: Point) -> u32 {
        let middle = self.positions.len() as u32;
        self.positions.push(point);
        self.vertex_faces.push(Vec::with_capacity(6));
        for (face, corner) in [(star.left, star.left_corner), (star.right, star.right_corner)] {
            let new = self.faces.len() as u32;
            self.faces.push(self.faces[face as usize]);
            self.replace(face, b, middle);
            self.replace(new, a, middle);
            self.detach(b, face);
            self.vertex_faces[b as usize].push(new);
            self.vertex_faces[corner as usize].push(new);
            self.vertex_faces[middle as usize].extend([face, new]);
        }
        middle
    }

    /// Whether pulling `gone` onto `kept` leaves a closed manifold of the same genus: the link
    /// condition (Dey, Edelsbrunner, Guha, Nekhayev, "Topology preserving edge contraction",
    /// 1999), with three faces at least left at every corner.
    pub fn may_collapse(&self, gone: u32, kept: u32, star: EdgeStar) -> bool {
        let common = self.neighbours(gone).filter(|&v| self.are_neighbours(kept, v)).count();
        common == 2
            && star.left_corner != star.right_corner
            && self.valence(star.left_corner) > 3
            && self.valence(star.right_corner) > 3
            && self.valence(gone) + self.valence(kept) > 6
    }

    /// Pull `gone` onto `kept`. The caller has asked [`Self::may_collapse`].
    pub fn collapse(&mut self, gone: u32, kept: u32, star: EdgeStar) {
        for (face, corner) in [(star.left, star.left_corner), (star.right, star.right_corner)] {
            self.detach(kept, face);
            self.detach(corner, face);
            self.faces[face as usize] = DEAD;
        }
        for face in std::mem::take(&mut self.vertex_faces[gone as usize]) {
            if self.faces[face as usize] != DEAD {
                self.replace(face, gone, kept);
                self.vertex_faces[kept as usize].push(face);
            }
        }
    }

    /// Whether the edge can give way to the one between its opposite corners.
    pub fn may_flip(&self, a: u32, b: u32, star: EdgeStar) -> bool {
        self.valence(a) > 3
            && self.valence(b) > 3
            && star.left_corner != star.right_corner
            && !self.are_neighbours(star.left_corner, star.right_corner)
    }

    /// The two faces that a flip would make.
    pub fn flipped(a: u32, b: u32, star: EdgeStar) -> [[u32; 3]; 2] {
        let (c, d) = (star.left_corner, star.right_corner);
        [[a, d, c], [d, b, c]]
    }

    /// Replace edge `a b` by the one between its opposite corners. The caller has asked
    /// [`Self::may_flip`].
    pub fn flip(&mut self, a: u32, b: u32, star: EdgeStar) {
        let [left, right] = Self::flipped(a, b, star);
        self.faces[star.left as usize] = left;
        self.faces[star.right as usize] = right;
        self.detach(a, star.right);
        self.detach(b, star.left);
        self.vertex_faces[star.right_corner as usize].push(star.left);
        self.vertex_faces[star.left_corner as usize].push(star.right);
    }
}
