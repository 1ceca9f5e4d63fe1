//! Spheres and ellipsoids about the origin.

use std::collections::HashMap;
use std::f64::consts::PI;

use slitwright_solver::mesh::{Point, TriangleMesh};

use crate::motion::stretched;
use crate::revolution::surface_of_revolution;

/// A regular icosahedron whose faces are divided in four `level` times, vertices on the sphere:
/// 20 * 4^level nearly equilateral faces.
pub fn icosphere(radius: f64, level: u32) -> TriangleMesh {
    let mut mesh = icosahedron();
    for _ in 0..level {
        mesh = divided(&mesh);
    }
    for p in &mut mesh.positions {
        *p = Point::from(p.coords.normalize() * radius);
    }
    mesh
}

fn icosahedron() -> TriangleMesh {
    let g = (1.0 + 5.0f64.sqrt()) / 2.0;
    let corners = [
        [-1.0, g, 0.0],
        [1.0, g, 0.0],
        [-1.0, -g, 0.0],
        [1.0, -g, 0.0],
        [0.0, -1.0, g],
        [0.0, 1.0, g],
        [0.0, -1.0, -g],
        [0.0, 1.0, -g],
        [g, 0.0, -1.0],
        [g, 0.0, 1.0],
        [-g, 0.0, -1.0],
        [-g, 0.0, 1.0],
    ];
    let faces = [
        [0, 11, 5],
        [0, 5, 1],
        [0, 1, 7],
        [0, 7, 10],
        [0, 10, 11],
        [1, 5, 9],
        [5, 11, 4],
        [11, 10, 2],
        [10, 7, 6],
        [7, 1, 8],
        [3, 9, 4],
        [3, 4, 2],
        [3, 2, 6],
        [3, 6, 8],
        [3, 8, 9],
        [4, 9, 5],
        [2, 4, 11],
        [6, 2, 10],
        [8, 6, 7],
        [9, 8, 1],
    ];
    TriangleMesh {
        positions: corners.map(|c| Point::from(Point::from(c).coords.normalize())).to_vec(),
        faces: faces.to_vec(),
    }
}

/// Each face in four, new vertices pushed out to the unit sphere.
fn divided(mesh: &TriangleMesh) -> TriangleMesh {
    let mut positions = mesh.positions.clone();
    let mut middles: HashMap<[u32; 2], u32> = HashMap::new();
    let mut faces = Vec::with_capacity(mesh.faces.len() * 4);
    for &[a, b, c] in &mesh.faces {
        let [ab, bc, ca] = [[a, b], [b, c], [c, a]].map(|[p, q]| {
            *middles.entry([p.min(q), p.max(q)]).or_insert_with(|| {
                let sum = positions[p as usize].coords + positions[q as usize].coords;
                positions.push(Point::from(sum.normalize()));
                positions.len() as u32 - 1
            })
        });
        faces.extend([[a, ab, ca], [ab, b, bc], [ca, bc, c], [ab, bc, ca]]);
    }
    TriangleMesh { positions, faces }
}

/// A sphere of meridians and parallels, poles on the z axis.
pub fn uv_sphere(radius: f64, meridians: usize, parallels: usize) -> TriangleMesh {
    let profile: Vec<_> = (0..=parallels)
        .map(|k| {
            let angle = PI * k as f64 / parallels as f64;
            let r = if k == 0 || k == parallels { 0.0 } else { radius * angle.sin() };
            (r, -radius * angle.cos())
        })
        .collect();
    surface_of_revolution(&profile, meridians)
}

/// An ellipsoid with the given half-axes, from an icosphere stretched.
pub fn ellipsoid(half_axes: [f64; 3], level: u32) -> TriangleMesh {
    stretched(&icosphere(1.0, level), half_axes)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::{assert_even, assert_shape};

    #[test]
    fn icosphere_has_its_closed_form_and_converges() {
        let exact = 4.0 / 3.0 * PI * 8000.0;
        let mesh = icosphere(20.0, 4);
        assert_eq!(mesh.faces.len(), 20 * 256);
        assert_shape(&mesh, 2, exact, 0.003);
        assert_even(&mesh, 20.0 * 1.0515 / 16.0, 0.8, 1.3);
        let error = |level| exact - icosphere(20.0, level).signed_volume();
        let ratio = error(3) / error(4);
        assert!((3.5..4.5).contains(&ratio), "halving the edge divides the error by {ratio}");
    }

    #[test]
    fn uv_sphere_and_ellipsoid_have_their_closed_forms() {
        assert_shape(&uv_sphere(20.0, 96, 48), 2, 4.0 / 3.0 * PI * 8000.0, 0.004);
        assert_shape(&ellipsoid([10.0, 20.0, 30.0], 4), 2, 4.0 / 3.0 * PI * 6000.0, 0.003);
    }
}
