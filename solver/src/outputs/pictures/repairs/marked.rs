//! Where on the model its changes are, and what of each a look sees.

use std::collections::HashMap;

use super::super::raster::Shot;
use crate::mesh::{Corners, Mend, MendKind, Model, TriangleMesh};

/// The model with the number of its change, and one more, at the corners of each face that changed.
pub(super) struct Marked {
    pub mesh: TriangleMesh,
    /// Of each vertex; not a number where nothing changed.
    pub values: Vec<f32>,
}

impl Marked {
    /// Of a model that was mended.
    pub fn new(model: &Model) -> Self {
        let mut mesh = model.original.clone();
        let mut values = vec![f32::NAN; mesh.positions.len()];
        let rebuilt = model.mends.iter().rposition(|mend| mend.kind == MendKind::Rebuilt);
        // Before it was rebuilt it was another surface.
        let first = rebuilt.unwrap_or(0);
        let mut changed: HashMap<[[u64; 3]; 3], usize> = HashMap::new();
        for (index, mend) in model.mends.iter().enumerate().skip(first) {
            if !matches!(mend.kind, MendKind::Within | MendKind::Beside) {
                changed.extend(mend.faces.iter().map(|face| (key(face), index)));
            }
        }
        if rebuilt.is_none() && changed.is_empty() {
            return Self { mesh, values };
        }
        for f in 0..mesh.faces.len() {
            let face = mesh.faces[f];
            let own = face.map(|v| mesh.positions[v as usize]);
            let Some(index) = changed.get(&key(&own)).copied().or(rebuilt) else { continue };
            let value = index as f32 + 1.0;
            mesh.faces[f] = face.map(|v| {
                if values[v as usize] == value {
                    return v;
                }
                // Neighbours that did not change keep the corner without a value.
                mesh.positions.push(mesh.positions[v as usize]);
                values.push(value);
                mesh.positions.len() as u32 - 1
            });
        }
        Self { mesh, values }
    }
}

/// A triangle, whichever way it runs.
fn key(face: &Corners) -> [[u64; 3]; 3] {
    let mut all = face.map(|p| [p.x, p.y, p.z].map(|x| (x + 0.0).to_bits()));
    all.sort_unstable();
    all
}

/// What a value stands for.
pub(super) fn index_of(value: f32) -> usize {
    (value.round() as usize).saturating_sub(1)
}

/// What one look saw of each change: how many samples, and their sum.
pub(super) fn tally(shot: &Shot, count: usize) -> Vec<(usize, [f64; 2])> {
    let mut all = vec![(0, [0.0; 2]); count];
    for ([x, y], value) in shot.valued() {
        if let Some((seen, sum)) = all.get_mut(index_of(value)) {
            *seen += 1;
            *sum = [sum[0] + f64::from(x), sum[1] + f64::from(y)];
        }
    }
    all
}

/// A body that was dropped.
pub(super) fn body(mend: &Mend) -> Option<TriangleMesh> {
    let gone = matches!(mend.kind, MendKind::Within | MendKind::Beside);
    (gone && !mend.faces.is_empty()).then(|| TriangleMesh {
        positions: mend.faces.as_flattened().to_vec(),
        faces: (0..mend.faces.len() as u32).map(|f| [3 * f, 3 * f + 1, 3 * f + 2]).collect(),
    })
}
