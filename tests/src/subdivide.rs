//! The same surface with more triangles.

use std::collections::BTreeMap;

use nalgebra::center;
use slitwright_solver::mesh::TriangleMesh;

/// Every edge halved and every face cut in four: the surface stays, point for point.
pub fn with_edges_halved(mesh: &TriangleMesh) -> TriangleMesh {
    let mut positions = mesh.positions.clone();
    let mut middles = BTreeMap::new();
    let mut middle = |a: u32, b: u32| {
        *middles.entry([a.min(b), a.max(b)]).or_insert_with(|| {
            let point = center(&mesh.positions[a as usize], &mesh.positions[b as usize]);
            positions.push(point);
            positions.len() as u32 - 1
        })
    };
    let mut faces = Vec::with_capacity(4 * mesh.faces.len());
    for &[a, b, c] in &mesh.faces {
        let [ab, bc, ca] = [middle(a, b), middle(b, c), middle(c, a)];
        faces.extend([[a, ab, ca], [ab, b, bc], [ca, bc, c], [ab, bc, ca]]);
    }
    TriangleMesh { positions, faces }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::assert_shape;
    use crate::torus;

    #[test]
    fn a_halved_torus_is_the_same_torus() {
        let coarse = torus(20.0, 8.0, 24, 12);
        let fine = with_edges_halved(&coarse);
        assert_eq!(fine.faces.len(), 4 * coarse.faces.len());
        assert_shape(&fine, 0, coarse.signed_volume(), 1e-9);
    }
}
