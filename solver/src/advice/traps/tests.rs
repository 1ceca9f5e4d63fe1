//! Traps with depth and volume in closed form.

use approx::assert_relative_eq;

use super::*;
use crate::mesh::fixtures::{icosphere, moved, torus};

const WALL: fn(usize) -> Border = |_| Border::Wall;

fn found(
    mesh: &TriangleMesh,
    up: Vector,
    space: Space,
    border: &dyn Fn(usize) -> Border,
) -> Vec<Trap> {
    let locator = SurfaceLocator::new(mesh).expect("a mesh");
    traps(mesh, &locator, &up, space, border, 0.5)
}

/// A block 20 mm wide along y whose top runs through the points given, x and z; its bottom is at z = 0.
fn ridges(top: &[[f64; 2]]) -> TriangleMesh {
    let mut mesh = TriangleMesh::default();
    for &[x, z] in top {
        for (y, z) in [(0.0, 0.0), (20.0, 0.0), (20.0, z), (0.0, z)] {
            mesh.positions.push(Point::new(x, y, z));
        }
    }
    let mut quad = |a: u32, b: u32, c: u32, d: u32| mesh.faces.extend([[a, b, c], [a, c, d]]);
    let last = 4 * (top.len() as u32 - 1);
    quad(0, 3, 2, 1);
    quad(last, last + 1, last + 2, last + 3);
    for k in (0..last).step_by(4) {
        for side in 0..4 {
            let (a, b) = (k + side, k + (side + 1) % 4);
            quad(a, b, b + 4, a + 4);
        }
    }
    mesh
}

/// Peaks of 30 mm at x = 15 and of 40 mm at x = 45, with a valley of 15 mm between.
pub(in crate::advice) fn two_peaks() -> TriangleMesh {
    ridges(&[[0.0, 10.0], [15.0, 30.0], [30.0, 15.0], [45.0, 40.0], [60.0, 10.0]])
}

/// A box of 40 x 40 x 30 with a pit of 20 x 20 in its bottom, 20 deep.
pub(in crate::advice) fn pitted() -> TriangleMesh {
    let mut mesh = TriangleMesh::default();
    for (low, high, z) in
        [(0.0, 40.0, 0.0), (0.0, 40.0, 30.0), (10.0, 30.0, 0.0), (10.0, 30.0, 20.0)]
    {
        for (x, y) in [(low, low), (high, low), (high, high), (low, high)] {
            mesh.positions.push(Point::new(x, y, z));
        }
    }
    let mut quad = |a: u32, b: u32, c: u32, d: u32| mesh.faces.extend([[a, b, c], [a, c, d]]);
    quad(4, 5, 6, 7);
    quad(12, 15, 14, 13);
    for k in 0..4 {
        let next = (k + 1) % 4;
        quad(k, next, 4 + next, 4 + k);
        quad(8 + k, 12 + k, 12 + next, 8 + next);
        quad(k, 8 + k, 8 + next, next);
    }
    mesh
}

#[test]
fn the_test_shapes_are_sound() {
    assert_relative_eq!(pitted().signed_volume(), 40e3, max_relative = 1e-12);
    // 20 mm wide; trapezia of 300, 337.5, 412.5 and 375 mm^2.
    assert_relative_eq!(two_peaks().signed_volume(), 20.0 * 1425.0, max_relative = 1e-12);
    for mesh in [pitted(), two_peaks()] {
        assert_eq!(crate::mesh::genus(&mesh), Ok(0));
    }
}

/// Where the higher peak breathes, the lower one keeps what is above the valley: a triangle of 26.25 x 15 mm, 20 wide.
#[test]
fn a_peak_beside_one_that_breathes_traps_what_is_above_the_valley() {
    let mesh = two_peaks();
    let border = |v: usize| if mesh.positions[v].z > 39.0 { Border::Open } else { Border::Wall };
    let found = found(&mesh, Vector::z(), Space::Within, &border);
    let [trap] = &found[..] else { panic!("{found:?}") };
    assert_relative_eq!(trap.depth, 15.0, epsilon = 1e-12);
    assert_relative_eq!(trap.volume, 0.5 * 26.25 * 15.0 * 20.0, max_relative = 1e-12);
    assert_eq!((trap.place.x, trap.place.z, trap.is_shut), (15.0, 30.0, false));
}

/// Where the space breathes at its bottom alone, the higher peak keeps everything, the lower one what is above the valley.
#[test]
fn peaks_that_do_not_breathe_are_both_told() {
    let mesh = two_peaks();
    let border = |v: usize| if mesh.positions[v].z == 0.0 { Border::Open } else { Border::Wall };
    let found = found(&mesh, Vector::z(), Space::Within, &border);
    let [whole, part] = &found[..] else { panic!("{found:?}") };
    assert_relative_eq!(whole.depth, 40.0, epsilon = 1e-12);
    assert_relative_eq!(whole.volume, mesh.signed_volume(), max_relative = 1e-12);
    assert_relative_eq!(part.depth, 15.0, epsilon = 1e-12);
    // Turned over, its bottom is the highest, and all of it breathes.
    assert!(self::found(&mesh, -Vector::z(), Space::Within, &border).is_empty());
}

/// A groove that is open at both ends traps nothing, whichever way up.
#[test]
fn grooves_let_air_out_at_their_ends() {
    for up in [Vector::z(), -Vector::z(), Vector::x()] {
        assert_eq!(found(&two_peaks(), up, Space::Round, &WALL), []);
    }
}

/// A pit from below is a bell: rubber that rises round the box shuts air in there, all of it.
#[test]
fn a_bell_keeps_its_air() {
    let mesh = pitted();
    let found_open = found(&mesh, Vector::z(), Space::Round, &WALL);
    let [trap] = &found_open[..] else { panic!("{found_open:?}") };
    assert_relative_eq!(trap.depth, 20.0, epsilon = 1e-12);
    assert_relative_eq!(trap.volume, 8e3, max_relative = 1e-12);
    assert!((trap.place.z, trap.is_shut) == (20.0, false));
    // On the board the pit is shut: nothing gets in.
    let border = |v: usize| if mesh.positions[v].z == 0.0 { Border::Shut } else { Border::Wall };
    assert!(found(&mesh, Vector::z(), Space::Round, &border)[0].is_shut);
    // Turned over it is a bowl.
    assert_eq!(found(&mesh, -Vector::z(), Space::Round, &WALL), []);
}

/// The ceiling of the pit is a patch of surface of its own as the level goes down, and has the solid above it: it is no
/// place for air within the box.
#[test]
fn a_ceiling_with_the_space_above_it_is_no_trap() {
    let mesh = pitted();
    let border = |v: usize| if mesh.positions[v].z == 0.0 { Border::Open } else { Border::Wall };
    let within = found(&mesh, Vector::z(), Space::Within, &border);
    let [trap] = &within[..] else { panic!("{within:?}") };
    assert_relative_eq!(trap.depth, 30.0, epsilon = 1e-12);
    assert_relative_eq!(trap.volume, 40e3, max_relative = 1e-12);
}

/// A ball that breathes below 20 mm of its 60 keeps the cap above: pi h^2 (3 r - h) / 3 with h = 40 mm, and its top in
/// the middle. Poured the other way round it keeps nothing, and nothing stays round it.
#[test]
fn a_ball_keeps_a_cap() {
    let mesh = moved(&icosphere(30.0, 5), [0.0, 0.0, 30.0]);
    let border = |v: usize| if mesh.positions[v].z <= 20.0 { Border::Open } else { Border::Wall };
    let own = found(&mesh, Vector::z(), Space::Within, &border);
    let [trap] = &own[..] else { panic!("{own:?}") };
    assert_relative_eq!(trap.depth, 40.0, epsilon = 1.0);
    let h = trap.depth;
    let cap = std::f64::consts::PI * h * h * (90.0 - h) / 3.0;
    assert_relative_eq!(trap.volume, cap, max_relative = 3e-3);
    assert!((trap.place - Point::new(0.0, 0.0, 60.0)).norm() < 2.0);
    assert_eq!(found(&mesh, -Vector::z(), Space::Within, &border), []);
    assert_eq!(found(&mesh, Vector::z(), Space::Round, &WALL), []);
}

/// The top of a ring that lies is level all round: where it breathes in one place it breathes everywhere. One that stands
/// has one top, and air passes through its hole.
#[test]
fn what_is_level_is_one_place() {
    let lying = torus(30.0, 8.0, 48, 16);
    let top = (0..lying.positions.len()).find(|&v| lying.positions[v].z > 7.9).expect("a top");
    let border = |v: usize| if v == top { Border::Open } else { Border::Wall };
    assert_eq!(found(&lying, Vector::z(), Space::Within, &border), []);
    let bottom = |v: usize| if lying.positions[v].x < -37.9 { Border::Open } else { Border::Wall };
    let standing = found(&lying, Vector::x(), Space::Within, &bottom);
    let [trap] = &standing[..] else { panic!("{standing:?}") };
    assert_relative_eq!(trap.volume, lying.signed_volume(), max_relative = 1e-6);
    assert_eq!(found(&lying, Vector::x(), Space::Round, &WALL), []);
    assert_eq!(found(&lying, Vector::z(), Space::Round, &WALL), []);
}

/// What is shallower than asked for is left out.
#[test]
fn shallow_traps_are_left_out() {
    let mesh = two_peaks();
    let locator = SurfaceLocator::new(&mesh).expect("a mesh");
    let border = |v: usize| if mesh.positions[v].z > 39.0 { Border::Open } else { Border::Wall };
    for (least, count) in [(14.9, 1), (15.1, 0)] {
        let own = traps(&mesh, &locator, &Vector::z(), Space::Within, &border, least);
        assert_eq!(own.len(), count);
    }
}
