//! Where the casting is poured: through the mould's base opening, or a sprue on it.

use serde::{Deserialize, Serialize};

use crate::body::Gate;
use crate::mesh::{FaceId, TriangleMesh, Vector, patches};

/// An opening narrower than this is slow to pour through and lets no air out beside what runs in, mm. Common practice,
/// no source.
pub const LEAST_OPENING: f64 = 10.0;
/// Width to which a sprue on a narrow opening widens, mm. Common practice, no source.
pub const SPRUE_TOP: f64 = 25.0;

/// The openings that the casting is poured through.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Pour {
    /// How many places of the model are gate, apart from each other.
    pub openings: u32,
    /// Area of the largest as seen along up, mm^2.
    pub area: f64,
    /// Diameter of a circle of that area, mm.
    pub width: f64,
    /// Whether it is wide enough to pour through, without a sprue.
    pub serves: bool,
}

/// The openings of a model in the mould frame.
pub(super) fn pour(model: &TriangleMesh, gate: &Gate, is_gate: &[bool]) -> Pour {
    let faces: Vec<FaceId> = (0..model.faces.len() as u32)
        .map(FaceId)
        .filter(|f| {
            let held = model.faces[f.index()].iter().all(|v| is_gate[*v as usize]);
            held && gate.holds(&model.face_middle(*f))
        })
        .collect();
    let beneath = |f: &FaceId| -0.5 * model.area_vector(*f).dot(&Vector::z());
    let mut area: Vec<f64> =
        patches(model, &faces).iter().map(|patch| patch.iter().map(beneath).sum()).collect();
    area.retain(|a| *a > 0.0);
    let largest = area.iter().copied().fold(0.0, f64::max);
    let width = 2.0 * (largest / std::f64::consts::PI).sqrt();
    Pour { openings: area.len() as u32, area: largest, width, serves: width >= LEAST_OPENING }
}
