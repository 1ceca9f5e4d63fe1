//! Holes filled, with areas and lengths known in closed form.

use std::f64::consts::{PI, TAU};

use super::super::shapes::torus;
use super::*;
use crate::bridges::find_bridges;
use crate::mesh::{Topology, Vector};

/// A torus with the disc in its hole is a sphere by Euler's count, and its area is that of the torus,
/// 4 pi^2 R r, and twice that of the disc, pi (R - r)^2 (textbook).
#[test]
fn a_filled_torus_is_a_sphere_with_the_discs_area_twice() {
    let (big, small) = (30.0, 10.0);
    let mesh = torus(big, small, 96, 32, 0.0);
    let topology = Topology::new(&mesh).expect("closed");
    let board = (Point::new(0.0, 0.0, -50.0), Vector::z());
    let bridges = find_bridges(&mesh, &topology, &[], board).expect("bridges").bridges;
    let filled = Filled::new(&mesh, &[Some(HolePath::of(&bridges[0]))], 2.5);
    let skin = Topology::new(&filled.mesh).expect("closed and oriented");
    assert_eq!(skin.euler_characteristic(), 2);
    assert_eq!(skin.bodies().1, 1);
    let area = 4.0 * PI * PI * big * small + 2.0 * PI * (big - small).powi(2);
    approx::assert_relative_eq!(filled.mesh.area(), area, max_relative = 0.01);
    approx::assert_relative_eq!(
        filled.mesh.signed_volume(),
        mesh.signed_volume(),
        max_relative = 1e-6
    );
    // Either lip has the whole rim.
    let length: f64 = filled.rims[0]
        .iter()
        .map(|pair| {
            let [a, b] = pair.map(|v| filled.mesh.positions[v as usize]);
            (b - a).norm()
        })
        .sum();
    approx::assert_relative_eq!(length, 2.0 * TAU * (big - small), max_relative = 0.01);
    // Faces of the model are in their places, and every vertex knows where it comes from.
    assert_eq!(filled.model_faces, mesh.faces.len());
    for (before, after) in mesh.faces.iter().zip(&filled.mesh.faces) {
        assert_eq!(after.map(|v| filled.origins[v as usize]), before.map(Some));
    }
}

/// An arch on a board: a torus with its lower half pressed flat. The disc is half a disc, both its sides share a
/// line on the board, and Euler's count stays, as the hole is none of the model alone.
#[test]
fn a_filled_arch_stands_on_the_board_along_one_line() {
    let (big, small) = (30.0, 10.0);
    let whole = torus(big, small, 96, 32, 0.0);
    // Turned to stand upright; what is below the board is cut away flat by moving it on to the board.
    let positions: Vec<Point> =
        whole.positions.iter().map(|p| Point::new(p.x, p.z, p.y.max(-0.001))).collect();
    let faces = whole.faces.iter().map(|&[a, b, c]| [a, c, b]).collect();
    let mesh = TriangleMesh { positions, faces };
    // The line along the tube that runs nearest to the hole, as far as it is above the board.
    let out = |v: usize| mesh.positions[v].x.hypot(mesh.positions[v].z);
    let line = (0..32).min_by(|&j, &k| out(j).total_cmp(&out(k))).expect("lines");
    let above = |v: &u32| mesh.positions[*v as usize].z > -0.0005;
    let turn = |v: u32| {
        let p = mesh.positions[v as usize];
        p.z.atan2(p.x)
    };
    let mut inner: Vec<u32> = (0..96).map(|i| i * 32 + line as u32).filter(above).collect();
    inner.sort_by(|&a, &b| turn(a).total_cmp(&turn(b)));
    let path = HolePath { vertices: inner, closed: false };
    let filled = Filled::new(&mesh, &[Some(path)], 2.5);
    let skin = Topology::new(&filled.mesh).expect("closed and oriented");
    assert_eq!(skin.euler_characteristic(), 0);
    let added = filled.mesh.area() - mesh.area();
    approx::assert_relative_eq!(added, PI * (big - small).powi(2), max_relative = 0.01);
    assert!(!filled.on_board.is_empty());
    assert!(filled.on_board.iter().all(|&v| filled.mesh.positions[v as usize].z.abs() < 1e-9));
}

/// Two holes whose cuts meet stay as they are: which lip of one the other would lie on is not clear.
#[test]
fn holes_whose_cuts_meet_are_left_open() {
    let mesh = torus(30.0, 10.0, 96, 32, 0.0);
    let path = HolePath { vertices: (0..96).map(|k| k * 32).collect(), closed: true };
    let alone = Filled::new(&mesh, &[Some(path.clone()), None], 2.5);
    assert!(!alone.rims[0].is_empty() && alone.rims[1].is_empty());
    let both = Filled::new(&mesh, &[Some(path.clone()), Some(path)], 2.5);
    assert_eq!(both.mesh.faces, mesh.faces);
    assert!(both.rims.iter().all(Vec::is_empty));
}
