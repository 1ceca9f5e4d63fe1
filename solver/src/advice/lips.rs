//! Lips that can slide on each other: where a cut is long, and its faces are flat and narrow.

use serde::{Deserialize, Serialize};

use crate::sheets::Sheet;

/// A cut shorter than this keeps its lips together by itself, mm. Common practice, no source.
const LONG: f64 = 60.0;
/// Lips slide where a cut is at least so many times as long as it is deep. Common practice, no source.
const NARROW: f64 = 4.0;
/// Share of a sheet's area that points one way in a flat one: that of a sheet bent by 30 degrees to either side, evenly.
const FLAT: f64 = 0.955;
/// Distance between keys, mm. Common practice, no source.
pub const KEY_EVERY: f64 = 40.0;

/// A cut whose lips want keys.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct SlidingLips {
    /// The cut, 1, 2, 3 in knife order.
    pub cut: u32,
    /// Length of the sheet along the model, mm.
    pub length: f64,
    /// Its mean depth, mm.
    pub depth: f64,
}

/// Whether the lips of a cut's sheet want keys.
pub(super) fn sliding(cut: u32, sheet: &Sheet) -> Option<SlidingLips> {
    let (length, depth) = (sheet.length, sheet.area / sheet.length.max(1e-9));
    // Both are twice as large as the area.
    let (one_way, all) = (sheet.mesh.area_vector_sum().norm(), 2.0 * sheet.mesh.area());
    let is_flat = one_way >= FLAT * all && all > 0.0;
    (is_flat && length >= LONG && length >= NARROW * depth).then_some(SlidingLips {
        cut,
        length,
        depth,
    })
}

#[cfg(test)]
mod tests {
    use approx::assert_relative_eq;

    use super::*;
    use crate::mesh::{Point, TriangleMesh, Vector};

    /// A sheet 120 mm long and `deep` mm deep, whose course bends by `bend` radians in all.
    fn sheet(deep: f64, bend: f64) -> Sheet {
        let mut mesh = TriangleMesh::default();
        let mut at = Point::origin();
        for k in 0..=12u32 {
            mesh.positions.extend([at, at + Vector::z() * deep]);
            let angle = bend * f64::from(k) / 12.0;
            at += Vector::new(angle.cos(), angle.sin(), 0.0) * 10.0;
        }
        for k in (0..24).step_by(2) {
            mesh.faces.extend([[k, k + 2, k + 3], [k, k + 3, k + 1]]);
        }
        Sheet {
            stations: Vec::new(),
            listed: Vec::new(),
            closed: false,
            area: mesh.area(),
            mesh,
            columns: 2,
            outer: Vec::new(),
            length: 120.0,
            foot: [None; 2],
        }
    }

    #[test]
    fn long_flat_and_narrow_lips_slide() {
        let found = sliding(3, &sheet(12.0, 0.0)).expect("slides");
        assert_eq!((found.cut, found.length), (3, 120.0));
        assert_relative_eq!(found.depth, 12.0, max_relative = 1e-9);
        assert!(sliding(1, &sheet(12.0, 0.8)).is_some(), "hardly bent");
        for (other, why) in [(sheet(31.0, 0.0), "deep"), (sheet(12.0, 2.0), "bent")] {
            assert_eq!(sliding(1, &other), None, "{why}");
        }
        let short = Sheet { length: 50.0, ..sheet(5.0, 0.0) };
        assert_eq!(sliding(1, &short), None, "short");
    }
}
