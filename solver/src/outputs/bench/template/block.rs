//! The net of a box: left, front, right and back in a row, top and underside at the front.

use super::flat::{Border, Flat, ON, shorter};
use crate::mesh::{Point, Vector};

/// A face of the box and where it lies on the net.
#[derive(Clone, Copy, Debug)]
struct Face {
    /// The axis that it is square to, and where on it.
    axis: usize,
    value: f64,
    outward: Vector,
    /// Lower left corner, seen from outside.
    corner: Point,
    right: Vector,
    above: Vector,
    size: [f64; 2],
    /// Where that corner lies on the net.
    place: Flat,
}

impl Face {
    fn flat(&self, p: &Point) -> Flat {
        let offset = p - self.corner;
        [self.place[0] + offset.dot(&self.right), self.place[1] + offset.dot(&self.above)]
    }

    fn holds(&self, p: &Point) -> bool {
        let offset = p - self.corner;
        let along = [offset.dot(&self.right), offset.dot(&self.above)];
        (p[self.axis] - self.value).abs() <= ON
            && (0..2).all(|k| (-ON..=self.size[k] + ON).contains(&along[k]))
    }
}

/// A box laid flat.
pub(super) struct Block {
    low: Point,
    high: Point,
    faces: Vec<Face>,
}

impl Block {
    pub fn new(low: Point, high: Point, front: &Vector, underside: bool) -> Self {
        // Counter-clockwise seen from above is to the right seen from outside.
        let round = [-Vector::y(), Vector::x(), Vector::y(), -Vector::x()];
        let first = (0..4).max_by(|&a, &b| round[a].dot(front).total_cmp(&round[b].dot(front)));
        let first = first.unwrap_or(0);
        let height = high.z - low.z;
        let face = |outward: Vector, right: Vector, place: Flat| {
            let axis = outward.iamax();
            let value = if outward[axis] > 0.0 { high[axis] } else { low[axis] };
            let above = outward.cross(&right);
            // The corner that lies least along both directions.
            let mut corner = low;
            corner[axis] = value;
            for way in [right, above] {
                let k = way.iamax();
                corner[k] = if way[k] > 0.0 { low[k] } else { high[k] };
            }
            let extent = high - low;
            let size = [right, above].map(|way| extent[way.iamax()]);
            Face { axis, value, outward, corner, right, above, size, place }
        };
        let mut faces = Vec::new();
        let mut x = 0.0;
        for k in [3, 0, 1, 2] {
            let outward = round[(first + k) % 4];
            let own = face(outward, Vector::z().cross(&outward), [x, 0.0]);
            x += own.size[0];
            faces.push(own);
        }
        let (start, right) = (faces[1].place[0], faces[1].right);
        faces.push(face(Vector::z(), right, [start, height]));
        if underside {
            let mut below = face(-Vector::z(), right, [start, 0.0]);
            below.place[1] = -below.size[1];
            faces.push(below);
        }
        Self { low, high, faces }
    }

    fn on(&self, p: &Point) -> impl Iterator<Item = &Face> {
        self.faces.iter().filter(move |face| face.holds(p))
    }

    pub fn at(&self, p: &Point) -> Option<Flat> {
        self.on(p).next().map(|face| face.flat(p))
    }

    pub fn way(&self, a: &Point, b: &Point) -> Option<Vec<[Flat; 2]>> {
        let mut best = None;
        for from in self.on(a) {
            for to in self.on(b) {
                best = shorter(best, self.over(from, a, to, b));
            }
        }
        best
    }

    /// On one face, or over the edge between two.
    fn over(&self, from: &Face, a: &Point, to: &Face, b: &Point) -> Option<Vec<[Flat; 2]>> {
        if from.axis == to.axis {
            return (from.value == to.value).then(|| vec![[from.flat(a), from.flat(b)]]);
        }
        // Turned into one plane about their edge, the way is straight.
        let edge = 3 - from.axis - to.axis;
        let (before, after) = ((a[to.axis] - to.value).abs(), (b[from.axis] - from.value).abs());
        let share = if before + after > 0.0 { before / (before + after) } else { 0.5 };
        let mut crossing = *a;
        crossing[from.axis] = from.value;
        crossing[to.axis] = to.value;
        let along = a[edge] + (b[edge] - a[edge]) * share;
        crossing[edge] = along.clamp(self.low[edge], self.high[edge]);
        Some(vec![[from.flat(a), from.flat(&crossing)], [to.flat(&crossing), to.flat(b)]])
    }

    pub fn borders(&self) -> Vec<Border> {
        let mut borders = Vec::new();
        for (k, face) in self.faces.iter().enumerate() {
            let ([x, y], [w, h]) = (face.place, face.size);
            let corners = [[x, y], [x + w, y], [x + w, y + h], [x, y + h]];
            // Sides of a face: below, right, above, left.
            for side in 0..4 {
                let fold = match (k, side) {
                    (0..3, 1) | (1, 2) => true,
                    (1, 0) => self.faces.len() > 5,
                    // Drawn by the face before.
                    (1..4, 3) | (4, 0) | (5, 2) => continue,
                    _ => false,
                };
                borders.push(Border { points: vec![corners[side], corners[(side + 1) % 4]], fold });
            }
        }
        borders
    }

    pub fn walls(&self) -> [f64; 2] {
        let base = self.faces[..4].iter().map(|face| face.size[0]).sum();
        [base, self.high.z - self.low.z]
    }

    pub fn names(&self) -> Vec<(Flat, Vector)> {
        let upper_left = |face: &Face| [face.place[0], face.place[1] + face.size[1]];
        self.faces.iter().map(|face| (upper_left(face), face.outward)).collect()
    }
}
