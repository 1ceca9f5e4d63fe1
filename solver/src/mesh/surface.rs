//! A triangle mesh: positions in millimetres and faces, nothing else.

use nalgebra::{Isometry3, Point3, Vector3};
use serde::{Deserialize, Serialize};

/// A point in space, mm.
pub type Point = Point3<f64>;
/// A direction or offset, mm unless it is a unit vector.
pub type Vector = Vector3<f64>;

/// Index of a vertex.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct VertexId(pub u32);

/// Index of a face.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct FaceId(pub u32);

impl VertexId {
    /// As an index into a slice.
    pub fn index(self) -> usize {
        self.0 as usize
    }
}

impl FaceId {
    /// As an index into a slice.
    pub fn index(self) -> usize {
        self.0 as usize
    }
}

/// Positions (mm) and faces (counter-clockwise seen from outside).
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct TriangleMesh {
    /// Vertex positions, mm.
    pub positions: Vec<Point>,
    /// Faces as three vertex indices, counter-clockwise seen from outside.
    pub faces: Vec<[u32; 3]>,
}

impl TriangleMesh {
    /// The same mesh in another frame.
    pub fn moved(&self, by: &Isometry3<f64>) -> Self {
        Self {
            positions: self.positions.iter().map(|p| by * p).collect(),
            faces: self.faces.clone(),
        }
    }

    /// Some of the faces, by their numbers, with only the vertices that they use.
    pub fn faces_where(&self, takes: &dyn Fn(usize) -> bool) -> Self {
        let mut number = vec![u32::MAX; self.positions.len()];
        let mut taken = Self::default();
        for (_, face) in self.faces.iter().enumerate().filter(|(f, _)| takes(*f)) {
            let corners = face.map(|v| {
                if number[v as usize] == u32::MAX {
                    number[v as usize] = taken.positions.len() as u32;
                    taken.positions.push(self.positions[v as usize]);
                }
                number[v as usize]
            });
            taken.faces.push(corners);
        }
        taken
    }

    /// The three corners of a face.
    pub fn corners(&self, face: FaceId) -> [Point; 3] {
        self.faces[face.index()].map(|v| self.positions[v as usize])
    }
    /// Middle of a face, mm.
    pub fn face_middle(&self, face: FaceId) -> Point {
        let [a, b, c] = self.corners(face);
        Point::from((a.coords + b.coords + c.coords) / 3.0)
    }
    /// Twice-area normal of a face, mm^2: its length is twice the face's area.
    pub fn area_vector(&self, face: FaceId) -> Vector {
        let [a, b, c] = self.corners(face);
        (b - a).cross(&(c - a))
    }
    /// Area of a face, mm^2.
    pub fn face_area(&self, face: FaceId) -> f64 {
        0.5 * self.area_vector(face).norm()
    }
    /// Sum of all faces' twice-area normals, mm^2: across a disc, whatever its bulge.
    pub fn area_vector_sum(&self) -> Vector {
        (0..self.faces.len() as u32).map(|f| self.area_vector(FaceId(f))).sum()
    }
    /// Area of the whole surface, mm^2.
    pub fn area(&self) -> f64 {
        (0..self.faces.len()).map(|f| self.face_area(FaceId(f as u32))).sum()
    }
    /// Volume enclosed, mm^3, by the divergence theorem; negative for an inside-out closed mesh.
    pub fn signed_volume(&self) -> f64 {
        (0..self.faces.len())
            .map(|f| {
                let [a, b, c] = self.corners(FaceId(f as u32));
                a.coords.dot(&b.coords.cross(&c.coords)) / 6.0
            })
            .sum()
    }
    /// Centre of mass of the solid of even density that a closed mesh encloses, by the divergence theorem:
    /// exact but for rounding. `None` where it encloses nothing.
    pub fn centre_of_mass(&self) -> Option<Point> {
        // About a corner of the box round it, so that nothing cancels far from the origin.
        let (origin, _) = self.bounds()?;
        let (mut volume, mut moment) = (0.0, Vector::zeros());
        for face in (0..self.faces.len()).map(|f| FaceId(f as u32)) {
            let [a, b, c] = self.corners(face).map(|p| p - origin);
            let six = a.dot(&b.cross(&c));
            volume += six;
            moment += (a + b + c) * (six / 4.0);
        }
        let centre = origin + moment / volume;
        (volume > 0.0 && centre.iter().all(|x| x.is_finite())).then_some(centre)
    }
    /// Drop vertices that no face uses. How many there were.
    pub(crate) fn drop_unused(&mut self) -> usize {
        let mut index = vec![u32::MAX; self.positions.len()];
        for &v in self.faces.iter().flatten() {
            index[v as usize] = 0;
        }
        let before = self.positions.len();
        let mut next = 0;
        for slot in index.iter_mut().filter(|slot| **slot == 0) {
            *slot = next;
            next += 1;
        }
        if next as usize == before {
            return 0;
        }
        let mut at = 0;
        self.positions.retain(|_| {
            at += 1;
            index[at - 1] != u32::MAX
        });
        for v in self.faces.iter_mut().flatten() {
            *v = index[*v as usize];
        }
        before - next as usize
    }
    /// Area-weighted unit normal at every vertex; zero where a vertex has no face.
    pub fn vertex_normals(&self) -> Vec<Vector> {
        let mut normals = vec![Vector::zeros(); self.positions.len()];
        for (index, face) in self.faces.iter().enumerate() {
            let area = self.area_vector(FaceId(index as u32));
            for &v in face {
                normals[v as usize] += area;
            }
        }
        for normal in &mut normals {
            let length = normal.norm();
            if length > 0.0 {
                *normal /= length;
            }
        }
        normals
    }
    /// Corners of the axis-aligned bounding box, or `None` for an empty mesh.
    pub fn bounds(&self) -> Option<(Point, Point)> {
        let first = *self.positions.first()?;
        Some(self.positions.iter().fold((first, first), |(low, high), p| (low.inf(p), high.sup(p))))
    }
    /// Twice the greatest distance of a vertex from the surface's middle, mm: a size that does not
    /// change when the mesh is turned. 0 for an empty mesh.
    pub fn span(&self) -> f64 {
        let mut middle = Vector::zeros();
        let mut total = 0.0;
        for face in (0..self.faces.len()).map(|f| FaceId(f as u32)) {
            let area = self.face_area(face);
            let [a, b, c] = self.corners(face);
            middle += (a.coords + b.coords + c.coords) * (area / 3.0);
            total += area;
        }
        let middle = Point::from(middle / total.max(1e-300));
        2.0 * self.positions.iter().map(|p| (p - middle).norm()).fold(0.0, f64::max)
    }
    /// Longest side of the axis-aligned bounding box, mm; 0 for an empty mesh.
    pub fn longest_side(&self) -> f64 {
        self.bounds().map_or(0.0, |(low, high)| (high - low).max())
    }
}

/// A unit vector square to a unit vector.
pub fn square_to(unit: &Vector) -> Vector {
    let guess = if unit.x.abs() < 0.9 { Vector::x() } else { Vector::y() };
    unit.cross(&guess).normalize()
}
