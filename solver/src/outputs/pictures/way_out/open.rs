//! Rubber of a frame as a mesh to look at: whole, or with one half taken away.

use std::array::from_fn;

use crate::mesh::{Point, TriangleMesh, Vector};
use crate::trial::TrialReport;

/// A plane through the rubber at rest; what lies on the side of its normal is taken away.
#[derive(Clone, Copy, Debug)]
pub(super) struct Plane {
    pub through: Point,
    pub normal: Vector,
}

impl Plane {
    fn height(&self, point: &Point) -> f64 {
        (point - self.through).dot(&self.normal)
    }
}

/// Rubber to look at, with a value at every vertex: positive ones, turned negative on the cut face so
/// that it can be told from the skins.
#[derive(Default)]
pub(super) struct Rubber {
    pub mesh: TriangleMesh,
    pub values: Vec<f32>,
}

/// A corner of a part: its height over the plane at rest, its place now and its value.
#[derive(Clone, Copy)]
struct Corner {
    height: f64,
    place: Point,
    value: f32,
}

impl Corner {
    fn is_kept(&self) -> bool {
        self.height <= 0.0
    }

    fn on_cut_face(self) -> Self {
        Self { value: -self.value, ..self }
    }

    /// Where the edge to a corner on the plane's other side meets the plane.
    fn toward(&self, other: &Self) -> Self {
        let t = self.height / (self.height - other.height);
        Self {
            height: 0.0,
            place: self.place + (other.place - self.place) * t,
            value: self.value + (other.value - self.value) * t as f32,
        }
    }
}

/// The rubber's surface in a frame, one vertex a node.
pub(super) fn whole(report: &TrialReport, frame: usize, values: &[f32]) -> Rubber {
    let mesh = TriangleMesh {
        positions: report.frames[frame].positions.clone(),
        faces: report.surface.clone(),
    };
    Rubber { mesh, values: values.to_vec() }
}

/// The rubber in a frame without what lay beyond the plane at rest, its cut face closed. The plane
/// cuts rubber, not the picture: it goes with the rubber where that is drawn.
pub(super) fn opened(report: &TrialReport, frame: usize, values: &[f32], plane: &Plane) -> Rubber {
    let rest = &report.frames[0].positions;
    let now = &report.frames[frame].positions;
    let corners: Vec<Corner> = rest
        .iter()
        .zip(now)
        .zip(values)
        .map(|((rest, &place), &value)| Corner { height: plane.height(rest), place, value })
        .collect();
    let mut rubber = Rubber::default();
    for face in &report.surface {
        rubber.add_kept(&face.map(|n| corners[n as usize]));
    }
    for element in &report.elements {
        rubber.add_section(element.map(|n| corners[n as usize]));
    }
    rubber
}

impl Rubber {
    fn add(&mut self, outline: &[Corner]) {
        let first = self.mesh.positions.len() as u32;
        for corner in outline {
            self.mesh.positions.push(corner.place);
            self.values.push(corner.value);
        }
        for k in 2..outline.len() as u32 {
            self.mesh.faces.push([first, first + k - 1, first + k]);
        }
    }

    /// The part of a triangle that is kept.
    fn add_kept(&mut self, face: &[Corner; 3]) {
        let mut outline = Vec::with_capacity(4);
        for k in 0..3 {
            let (from, to) = (face[k], face[(k + 1) % 3]);
            if from.is_kept() {
                outline.push(from);
            }
            if from.is_kept() != to.is_kept() {
                outline.push(from.toward(&to));
            }
        }
        self.add(&outline);
    }

    /// Where the plane cuts an element: nothing, a triangle or a quadrangle.
    fn add_section(&mut self, element: [Corner; 4]) {
        let (kept, gone): (Vec<Corner>, Vec<Corner>) =
            element.iter().partition(|corner| corner.is_kept());
        match (kept.as_slice(), gone.as_slice()) {
            ([one], others) | (others, [one]) if others.len() == 3 => {
                let outline: [Corner; 3] = from_fn(|k| one.toward(&others[k]));
                self.add(&outline.map(Corner::on_cut_face));
            }
            ([a, b], [c, d]) => {
                let outline = [a.toward(c), a.toward(d), b.toward(d), b.toward(c)];
                self.add(&outline.map(Corner::on_cut_face));
            }
            _ => {}
        }
    }
}

/// A value for every node: the mean of what its elements have, weighed by their volume at rest.
pub(super) fn at_nodes(report: &TrialReport, of_elements: &[f64]) -> Vec<f32> {
    let rest = &report.frames[0].positions;
    let mut sums = vec![[0.0f64; 2]; rest.len()];
    for (nodes, &value) in report.elements.iter().zip(of_elements) {
        let [a, b, c, d] = nodes.map(|n| rest[n as usize]);
        let volume = (b - a).cross(&(c - a)).dot(&(d - a)).abs();
        for &node in nodes {
            let sum = &mut sums[node as usize];
            sum[0] += volume * value;
            sum[1] += volume;
        }
    }
    sums.into_iter()
        .map(|[sum, volume]| if volume > 0.0 { (sum / volume) as f32 } else { 0.0 })
        .collect()
}
