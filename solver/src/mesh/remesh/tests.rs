use super::super::fixtures::{cuboid, cylinder, icosphere, moved, torus, tube};
use super::*;

fn edge_shares(mesh: &TriangleMesh, target: f64) -> Vec<f64> {
    let topology = Topology::new(mesh).expect("closed");
    let mut shares: Vec<f64> = topology
        .edge_vertices
        .iter()
        .map(|[a, b]| (mesh.positions[*a as usize] - mesh.positions[*b as usize]).norm() / target)
        .collect();
    shares.sort_by(f64::total_cmp);
    shares
}

fn check_even(mesh: &TriangleMesh, target: f64) {
    let shares = edge_shares(mesh, target);
    let good = shares.iter().filter(|s| (0.6..=1.45).contains(*s)).count();
    let share = good as f64 / shares.len() as f64;
    assert!(share > 0.95, "only {share} of the edges are near the target");
}

fn euler(mesh: &TriangleMesh) -> i64 {
    Topology::new(mesh).expect("closed").euler_characteristic()
}

#[test]
fn a_box_keeps_edges_and_volume_exactly() {
    let mesh = planning_mesh(&cuboid([60.0, 40.0, 30.0]), 6.0).expect("remesh");
    assert_eq!(euler(&mesh), 2);
    check_even(&mesh, 6.0);
    // A box whose creases survive has its own volume and area (closed form).
    approx::assert_relative_eq!(mesh.signed_volume(), 72_000.0, max_relative = 1e-9);
    approx::assert_relative_eq!(mesh.area(), 10_800.0, max_relative = 1e-9);
    for f in 0..mesh.faces.len() as u32 {
        let n = mesh.area_vector(super::super::FaceId(f)).normalize().abs();
        assert!(n.max() > 1.0 - 1e-9, "face {f} lies across an edge of the box");
    }
}

#[test]
fn coarse_and_fine_spheres_come_out_even() {
    for levels in [2, 3, 6] {
        let sphere = icosphere(50.0, levels);
        let mesh = planning_mesh(&sphere, 6.0).expect("remesh");
        assert_eq!(euler(&mesh), 2);
        check_even(&mesh, 6.0);
        // Inscribed triangles of 6 mm edges lose about (edge / radius)^2 / 8 of the volume.
        approx::assert_relative_eq!(
            mesh.signed_volume(),
            sphere.signed_volume(),
            max_relative = 0.01
        );
    }
}

#[test]
fn a_torus_keeps_its_handle() {
    let mesh = planning_mesh(&torus(40.0, 12.0, 120, 60), 6.0).expect("remesh");
    assert_eq!(euler(&mesh), 0);
    check_even(&mesh, 6.0);
}

#[test]
fn a_thin_ring_keeps_its_round() {
    // The wire's section is 6.3 mm round, the target 5 mm: without care it would be a triangle.
    let wire = torus(40.0, 1.0, 300, 24);
    let mesh = planning_mesh(&wire, 5.0).expect("remesh");
    assert_eq!(euler(&mesh), 0);
    assert!(edge_shares(&mesh, 5.0)[0] > 0.1);
    // A triangle in the circle has 0.41 of its area, a square 0.64 (regular polygons).
    assert!(
        mesh.signed_volume() > 0.5 * wire.signed_volume(),
        "only {} of the wire is left",
        mesh.signed_volume() / wire.signed_volume()
    );
}

#[test]
fn a_thin_rod_of_long_faces_keeps_its_round() {
    let rod = cylinder(3.0, 80.0, 48);
    let mesh = planning_mesh(&rod, 5.0).expect("remesh");
    assert_eq!(euler(&mesh), 2);
    // A hexagon in the circle has 0.83 of its area.
    assert!(mesh.signed_volume() > 0.75 * rod.signed_volume());
    let (low, high) = mesh.bounds().expect("not empty");
    approx::assert_abs_diff_eq!(low.z, 0.0, epsilon = 1e-9);
    approx::assert_abs_diff_eq!(high.z, 80.0, epsilon = 1e-9);
}

#[test]
fn the_rim_of_a_flat_base_stays() {
    let mesh = planning_mesh(&cylinder(30.0, 50.0, 96), 5.0).expect("remesh");
    check_even(&mesh, 5.0);
    let base: f64 = (0..mesh.faces.len() as u32)
        .map(|f| mesh.area_vector(super::super::FaceId(f)))
        .filter(|a| a.normalize().z < -0.999)
        .map(|a| 0.5 * a.norm())
        .sum();
    // The polygon with edges of about 5 mm in a circle of 30 mm has 0.995 of its area.
    approx::assert_relative_eq!(base, std::f64::consts::PI * 900.0, max_relative = 0.015);
}

#[test]
fn a_tube_with_thin_walls_stays_a_tube() {
    let mesh = planning_mesh(&tube(20.0, 21.0, 60.0, 64), 5.0).expect("remesh");
    assert_eq!(euler(&mesh), 0);
    assert!(mesh.signed_volume() > 0.0);
}

#[test]
fn two_bodies_stay_two() {
    let two = super::super::fixtures::joined(
        &cuboid([20.0; 3]),
        &moved(&cuboid([20.0; 3]), [40.0, 0.0, 0.0]),
    );
    assert_eq!(euler(&planning_mesh(&two, 5.0).expect("remesh")), 4);
}

#[test]
fn the_same_input_gives_the_same_output() {
    let input = torus(40.0, 9.0, 90, 40);
    assert_eq!(planning_mesh(&input, 5.0), planning_mesh(&input, 5.0));
}

#[test]
fn bad_input_is_refused() {
    let mut open = cuboid([20.0; 3]);
    assert_eq!(planning_mesh(&open, 0.0), Err(RemeshError::BadTarget(0.0)));
    assert!(matches!(planning_mesh(&open, 1e-3), Err(RemeshError::TooFine { .. })));
    open.faces.pop();
    assert!(matches!(planning_mesh(&open, 5.0), Err(RemeshError::Topology(_))));
    // Two cubes that share one corner only.
    let cube = cuboid([20.0; 3]);
    let mut pinched = super::super::fixtures::joined(&cube, &moved(&cube, [20.0, 20.0, 20.0]));
    for face in &mut pinched.faces {
        for v in face {
            if *v == 8 {
                *v = 7;
            }
        }
    }
    assert_eq!(planning_mesh(&pinched, 5.0), Err(RemeshError::PinchedVertex(7)));
}
