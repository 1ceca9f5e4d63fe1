//! How much the seams of a plan's cuts show.

use super::answer::Cut;
use crate::mesh::{Point, SurfaceLocator, TriangleMesh};
use crate::sheets::{SheetError, SheetSettings, seam_visibility};

/// How much a seam shows anywhere on a model.
pub(super) struct Show {
    surface: SurfaceLocator,
    visibility: Vec<f64>,
}

impl Show {
    pub(super) fn new(mesh: &TriangleMesh) -> Result<Self, SheetError> {
        // The reach over which ridges are looked at when cuts are weighed.
        let reach = SheetSettings::default().wedge_reach;
        Ok(Self { surface: SurfaceLocator::new(mesh)?, visibility: seam_visibility(mesh, reach)? })
    }

    /// Length of cuts times how much they show, mm.
    pub(super) fn of_cuts(&self, cuts: &[Cut]) -> f64 {
        // A sum over nothing is -0.0.
        0.0 + cuts.iter().flat_map(|cut| &cut.branches).map(|b| self.along(b)).sum::<f64>()
    }

    /// Length of a line times how much it shows, mm.
    fn along(&self, line: &[Point]) -> f64 {
        let piece = |pair: &[Point]| {
            let hit = self.surface.closest(&nalgebra::center(&pair[0], &pair[1]));
            let weights = self.surface.weights(hit.face, &hit.point);
            let corners = self.surface.face(hit.face);
            let seen: f64 =
                corners.iter().zip(weights).map(|(&v, w)| w * self.visibility[v as usize]).sum();
            (pair[1] - pair[0]).norm() * seen
        };
        line.windows(2).map(piece).sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mesh::fixtures::{cuboid, divided};

    /// On the flat of a box a seam shows all along, on its edge not at all: the edge is a square ridge.
    #[test]
    fn seams_show_on_flats_and_hide_on_edges() {
        let mesh = divided(&divided(&divided(&cuboid([40.0, 40.0, 40.0]))));
        let show = Show::new(&mesh).expect("a plain mesh");
        let (low, high) = mesh.bounds().expect("not empty");
        let middle = nalgebra::center(&low, &high);
        let at = |x: f64, y: f64| Point::new(middle.x + x, middle.y + y, high.z);
        let line =
            |y: f64| -> Vec<Point> { (0..=20).map(|k| at(-8.0 + 0.8 * f64::from(k), y)).collect() };
        let (flat, ridge) = (show.along(&line(0.0)), show.along(&line(20.0)));
        assert!((flat - 16.0).abs() < 0.5, "{flat}");
        assert!(ridge < 0.35 * flat, "{ridge}");
    }
}
