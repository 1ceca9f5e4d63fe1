//! An open surface with fewer triangles.

use meshopt::SimplifyOptions;

use super::{Point, TriangleMesh};

/// The surface with about `faces` triangles or as few as a deviation of `deviation` mm allows, by quadric errors
/// (Garland & Heckbert 1997, by the crate meshopt, in single precision). Its edge stays where it is. For what is
/// shown and handed on, not for what is computed with: nothing is verified.
pub fn thinned(mesh: &TriangleMesh, faces: usize, deviation: f64) -> TriangleMesh {
    if mesh.faces.len() <= faces {
        return mesh.clone();
    }
    let positions: Vec<[f32; 3]> =
        mesh.positions.iter().map(|p| [p.x as f32, p.y as f32, p.z as f32]).collect();
    let indices: Vec<u32> = mesh.faces.iter().flatten().copied().collect();
    let locked = vec![false; positions.len()];
    let options = SimplifyOptions::ErrorAbsolute | SimplifyOptions::LockBorder;
    let kept = meshopt::simplify_with_locks_decoder(
        &indices,
        &positions,
        &locked,
        3 * faces,
        deviation as f32,
        options,
        None,
    );
    let mut number = vec![u32::MAX; mesh.positions.len()];
    let mut positions: Vec<Point> = Vec::new();
    let mut put = |v: u32| {
        if number[v as usize] == u32::MAX {
            number[v as usize] = positions.len() as u32;
            positions.push(mesh.positions[v as usize]);
        }
        number[v as usize]
    };
    let faces = kept.chunks_exact(3).map(|f| [put(f[0]), put(f[1]), put(f[2])]).collect();
    TriangleMesh { positions, faces }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A flat square of 20 x 20 cells is two triangles as far as its shape goes; with its edge kept there are at
    /// least 80 vertices on it.
    #[test]
    fn a_flat_square_keeps_its_area_and_its_edge() {
        let mut mesh = TriangleMesh::default();
        for k in 0..21 * 21 {
            mesh.positions.push(Point::new(f64::from(k % 21), f64::from(k / 21), 0.0));
        }
        for k in (0..20 * 21u32).filter(|k| k % 21 < 20) {
            mesh.faces.push([k, k + 1, k + 22]);
            mesh.faces.push([k, k + 22, k + 21]);
        }
        let thin = thinned(&mesh, 10, 0.1);
        assert!(thin.faces.len() < 200, "{}", thin.faces.len());
        assert!((thin.area() - 400.0).abs() < 1e-3, "{}", thin.area());
        assert!(thin.positions.len() >= 80);
    }
}
