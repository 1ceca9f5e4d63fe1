//! Rigid motions, scalings, mirror images and shuffled numbering of a mesh.

use nalgebra::{Isometry3, Translation3, UnitQuaternion, Vector3};
use rand::seq::SliceRandom;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use slitwright_solver::mesh::{Point, TriangleMesh};

/// The mesh after a rigid motion.
pub fn moved(mesh: &TriangleMesh, motion: &Isometry3<f64>) -> TriangleMesh {
    mapped(mesh, |p| motion * p)
}

/// The mesh made larger or smaller about the origin, by a positive factor.
pub fn scaled(mesh: &TriangleMesh, factor: f64) -> TriangleMesh {
    stretched(mesh, [factor; 3])
}

/// The mesh stretched about the origin by a positive factor along each axis.
pub fn stretched(mesh: &TriangleMesh, factors: [f64; 3]) -> TriangleMesh {
    assert!(factors.iter().all(|&f| f > 0.0), "factors must be positive");
    mapped(mesh, |p| Point::new(p.x * factors[0], p.y * factors[1], p.z * factors[2]))
}

/// The mirror image in the plane x = 0, still oriented outwards.
pub fn mirrored(mesh: &TriangleMesh) -> TriangleMesh {
    let mut image = mapped(mesh, |p| Point::new(-p.x, p.y, p.z));
    for face in &mut image.faces {
        face.swap(1, 2);
    }
    image
}

/// The mesh tipped by a quarter turn about the x axis, so that what lay flat stands up (y becomes
/// z), and lifted so that its lowest point is at z = 0.
pub fn standing(mesh: &TriangleMesh) -> TriangleMesh {
    let tipped = mapped(mesh, |p| Point::new(p.x, -p.z, p.y));
    let low = tipped.bounds().map_or(0.0, |(low, _)| low.z);
    mapped(&tipped, |p| Point::new(p.x, p.y, p.z - low))
}

/// A rigid motion drawn from a seed: any rotation, and a shift of up to 100 mm along each axis.
pub fn random_motion(seed: u64) -> Isometry3<f64> {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let mut draw = |half: f64| random.random_range(-half..half);
    let shift = Translation3::new(draw(100.0), draw(100.0), draw(100.0));
    // The direction of a vector drawn from a ball about the origin is evenly spread.
    let axis = loop {
        let v = Vector3::new(draw(1.0), draw(1.0), draw(1.0));
        if (0.01..1.0).contains(&v.norm()) {
            break v.normalize();
        }
    };
    Isometry3::from_parts(shift, UnitQuaternion::new(axis * draw(std::f64::consts::PI)))
}

/// The same surface with vertices, faces and the first corner of each face in another order.
pub fn shuffled(mesh: &TriangleMesh, seed: u64) -> TriangleMesh {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let mut old: Vec<usize> = (0..mesh.positions.len()).collect();
    old.shuffle(&mut random);
    let mut new = vec![0u32; old.len()];
    for (place, &vertex) in old.iter().enumerate() {
        new[vertex] = place as u32;
    }
    let mut faces: Vec<[u32; 3]> = mesh
        .faces
        .iter()
        .map(|face| {
            let mut renamed = face.map(|v| new[v as usize]);
            renamed.rotate_left(random.random_range(0..3));
            renamed
        })
        .collect();
    faces.shuffle(&mut random);
    TriangleMesh { positions: old.iter().map(|&v| mesh.positions[v]).collect(), faces }
}

fn mapped(mesh: &TriangleMesh, map: impl Fn(&Point) -> Point) -> TriangleMesh {
    TriangleMesh { positions: mesh.positions.iter().map(map).collect(), faces: mesh.faces.clone() }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::blocks::two_footed_arch;
    use crate::measure::assert_shape;
    use crate::tubes::torus_with_edge;

    #[test]
    fn motions_keep_volume_and_topology() {
        let arch = two_footed_arch(2);
        for seed in 0..5 {
            assert_shape(&moved(&arch, &random_motion(seed)), 2, 7000.0, 1e-9);
            assert_shape(&shuffled(&arch, seed), 2, 7000.0, 1e-9);
        }
        assert_shape(&mirrored(&arch), 2, 7000.0, 1e-9);
        assert_shape(&scaled(&arch, 1.5), 2, 7000.0 * 3.375, 1e-9);
        assert_shape(&stretched(&arch, [1.0, 2.0, 0.5]), 2, 7000.0, 1e-9);
    }

    #[test]
    fn shuffling_changes_the_numbering_and_repeats_with_its_seed() {
        let arch = two_footed_arch(2);
        assert_ne!(shuffled(&arch, 1).faces, arch.faces);
        assert_ne!(shuffled(&arch, 1), shuffled(&arch, 2));
        assert_eq!(shuffled(&arch, 1), shuffled(&arch, 1));
        assert_eq!(random_motion(3), random_motion(3));
    }

    #[test]
    fn standing_torus_touches_the_board() {
        let ring = torus_with_edge(30.0, 10.0, 3.0);
        let up = standing(&ring);
        assert_shape(&up, 0, ring.signed_volume(), 1e-9);
        let (low, high) = up.bounds().expect("not empty");
        assert_eq!(low.z, 0.0);
        assert!((high.z - 80.0).abs() < 0.2);
    }
}
