//! What forces must satisfy whatever the deformation.

use super::shapes::block;
use crate::mesh::{Point, Vector};
use crate::trial::{Elastic, Material, Workspace};

/// A strong, uneven deformation.
fn bent(p: &Point) -> Point {
    let (x, y, z) = (p.x, p.y, p.z);
    Point::new(
        1.4 * x + 0.3 * (2.0 * y).sin() + 0.1 * x * z,
        0.8 * y - 0.2 * x * x + 0.15 * (3.0 * z).cos(),
        0.9 * z + 0.25 * x * y + 0.1 * (x + y).sin(),
    )
}

#[test]
fn forces_balance_and_have_no_moment() {
    let solid = block([3, 2, 4], |[x, y, z]| Point::new(x, 0.7 * y, 1.3 * z));
    let elastic = Elastic::new(&solid, Material::with_shear(0.4));
    let x: Vec<Point> = solid.nodes.iter().map(bent).collect();
    let forces = elastic.forces(&x, &mut Workspace::default());
    let size: f64 = forces.iter().map(|f| f.norm()).sum();
    let sum: Vector = forces.iter().sum();
    let moment: Vector = forces.iter().zip(&x).map(|(f, p)| p.coords.cross(f)).sum();
    assert!(size > 1.0, "the deformation must load the body: {size}");
    assert!(sum.norm() < 1e-12 * size && moment.norm() < 1e-12 * size, "{sum} {moment}");
}

/// Also where elements are inside out.
#[test]
fn forces_are_minus_the_slope_of_the_energy() {
    let solid = block([2, 2, 2], Point::from);
    let elastic = Elastic::new(&solid, Material::with_shear(0.4));
    for fold in [0.0, 1.6] {
        let mut x: Vec<Point> = solid.nodes.iter().map(bent).collect();
        x[13].x -= fold;
        let forces = elastic.forces(&x, &mut Workspace::default());
        let scale = forces.iter().map(|f| f.norm()).fold(0.0, f64::max);
        for n in 0..x.len() {
            for axis in 0..3 {
                let mut energy = |by: f64| {
                    let before = x[n][axis];
                    x[n][axis] += by;
                    let energy = elastic.energy(&x);
                    x[n][axis] = before;
                    energy
                };
                let step = 1e-5;
                let slope = (energy(step) - energy(-step)) / (2.0 * step);
                assert!((slope + forces[n][axis]).abs() < 1e-7 * scale, "{n} {axis} {fold}");
            }
        }
    }
}

/// Turning and moving a body strains nothing.
#[test]
fn rigid_motions_are_free() {
    let solid = block([2, 2, 2], Point::from);
    let elastic = Elastic::new(&solid, Material::with_shear(0.4));
    let turn = nalgebra::Rotation3::from_euler_angles(0.4, -1.1, 2.0);
    let x: Vec<Point> =
        solid.nodes.iter().map(|p| turn * p + Vector::new(3.0, -2.0, 7.0)).collect();
    let forces = elastic.forces(&x, &mut Workspace::default());
    assert!(forces.iter().all(|f| f.norm() < 1e-12));
    assert!(elastic.stretches(&x).iter().all(|l| (l - 1.0).abs() < 1e-9));
}
