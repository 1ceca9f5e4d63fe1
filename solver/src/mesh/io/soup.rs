//! Shared vertices for formats that repeat coordinates with every triangle.

use std::collections::HashMap;

use super::super::{Point, TriangleMesh};

/// Gives equal coordinates one vertex, in order of first use.
#[derive(Default)]
pub(super) struct Soup {
    mesh: TriangleMesh,
    seen: HashMap<[u32; 3], u32>,
}

impl Soup {
    pub fn triangles(&self) -> usize {
        self.mesh.faces.len()
    }

    pub fn push(&mut self, corners: [[f32; 3]; 3]) {
        let face = corners.map(|corner| {
            // Adding zero makes -0 and +0 one.
            let key = corner.map(|x| (x + 0.0).to_bits());
            *self.seen.entry(key).or_insert_with(|| {
                let [x, y, z] = corner.map(f64::from);
                self.mesh.positions.push(Point::new(x, y, z));
                self.mesh.positions.len() as u32 - 1
            })
        });
        self.mesh.faces.push(face);
    }

    pub fn into_mesh(self) -> TriangleMesh {
        self.mesh
    }
}
