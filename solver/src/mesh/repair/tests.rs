use super::super::FaceId;
use super::super::check::{CheckOptions, FaultKind, check};
use super::super::fixtures::*;
use super::*;

fn is_sound(mesh: &TriangleMesh) -> bool {
    check(mesh, &CheckOptions::default()).faults.is_empty()
}

fn face_count_with_normal(mesh: &TriangleMesh, normal: &Vector) -> usize {
    (0..mesh.faces.len() as u32)
        .filter(|f| mesh.area_vector(FaceId(*f)).normalize().dot(normal) > 0.999)
        .count()
}

/// Every face with corners of its own.
fn torn(mesh: &TriangleMesh) -> TriangleMesh {
    TriangleMesh {
        positions: mesh.faces.iter().flatten().map(|v| mesh.positions[*v as usize]).collect(),
        faces: (0..mesh.faces.len() as u32).map(|f| [3 * f, 3 * f + 1, 3 * f + 2]).collect(),
    }
}

/// A cup without its rim's ring: outer wall and floor, and apart from them an inner wall and floor.
fn open_hollow() -> TriangleMesh {
    let open_down = |radius: f64, height: f64| {
        let mut mesh = cylinder(radius, height, 32);
        mesh.faces.retain(|f| !f.contains(&64));
        mesh
    };
    joined(&open_down(20.0, 50.0), &inside_out(&open_down(15.0, 40.0)))
}

#[test]
fn sound_meshes_are_left_alone() {
    for mesh in [cuboid([20.0; 3]), torus(40.0, 12.0, 30, 20)] {
        let repaired = repair(mesh.clone());
        assert_eq!(repaired.mesh, mesh);
        assert!(repaired.done.is_empty() && repaired.refused.is_empty());
    }
}

#[test]
fn torn_vertices_are_welded() {
    let sphere = icosphere(40.0, 2);
    let repaired = repair(torn(&sphere));
    assert!(is_sound(&repaired.mesh));
    assert_eq!(repaired.mesh.positions.len(), sphere.positions.len());
    assert!(repaired.done[0].starts_with("welded 798 vertices"), "{:?}", repaired.done);
}

#[test]
fn double_and_empty_faces_and_loose_vertices_go() {
    let mut cube = cuboid([20.0; 3]);
    let first = cube.faces[0];
    cube.faces.push([first[1], first[2], first[0]]);
    cube.faces.push([0, 0, 1]);
    cube.positions.push(Point::new(99.0, 0.0, 0.0));
    let repaired = repair(cube);
    assert_eq!(repaired.mesh, cuboid([20.0; 3]));
    assert_eq!(repaired.done.len(), 3, "{:?}", repaired.done);
}

#[test]
fn an_inside_out_body_is_turned() {
    let repaired = repair(inside_out(&icosphere(40.0, 2)));
    assert!(repaired.mesh.signed_volume() > 0.0);
    assert_eq!(repaired.done.len(), 1);
}

#[test]
fn a_flat_open_base_is_capped() {
    // A box whose base is missing; its rim has vertices in the middle of straight sides.
    let mut mesh = divided(&cuboid([60.0, 40.0, 30.0]));
    mesh.faces.retain(|f| f.iter().any(|v| mesh.positions[*v as usize].z > 0.0));
    let repaired = repair(mesh);
    assert!(is_sound(&repaired.mesh));
    approx::assert_relative_eq!(repaired.mesh.signed_volume(), 72_000.0, max_relative = 1e-12);
    assert!(repaired.done[0].contains("2400.0 mm^2"), "{:?}", repaired.done);
    assert!(face_count_with_normal(&repaired.mesh, &-Vector::z()) > 0);
}

#[test]
fn an_inside_out_open_body_is_capped_and_turned() {
    let mut cube = inside_out(&cuboid([20.0; 3]));
    cube.faces.drain(0..2);
    let repaired = repair(cube);
    assert!(is_sound(&repaired.mesh));
    approx::assert_relative_eq!(repaired.mesh.signed_volume(), 8000.0, max_relative = 1e-12);
}

#[test]
fn a_hollow_base_is_capped_solid() {
    let repaired = repair(open_hollow());
    assert!(is_sound(&repaired.mesh), "{:?}", repaired.refused);
    // Area of the regular polygon with 32 corners: n r^2 sin(2 pi / n) / 2.
    let area = 16.0 * 400.0 * (std::f64::consts::TAU / 32.0).sin();
    approx::assert_relative_eq!(repaired.mesh.signed_volume(), 50.0 * area, max_relative = 1e-9);
    assert!(repaired.done.iter().any(|d| d.contains("hollow")), "{:?}", repaired.done);
}

#[test]
fn a_wall_open_at_its_end_gets_a_ring() {
    // The tube without its lower ring: both rims belong to one sheet, so it stays a tube.
    let mut mesh = tube(15.0, 20.0, 50.0, 32);
    let volume = mesh.signed_volume();
    mesh.faces.retain(|f| f.iter().any(|v| mesh.positions[*v as usize].z > 0.0));
    let repaired = repair(mesh);
    assert!(is_sound(&repaired.mesh), "{:?}", repaired.refused);
    approx::assert_relative_eq!(repaired.mesh.signed_volume(), volume, max_relative = 1e-9);
}

#[test]
fn two_flat_openings_are_both_capped() {
    let mut mesh = cylinder(20.0, 50.0, 32);
    let volume = mesh.signed_volume();
    mesh.faces.retain(|f| !f.contains(&64) && !f.contains(&65));
    let repaired = repair(mesh);
    assert!(is_sound(&repaired.mesh));
    approx::assert_relative_eq!(repaired.mesh.signed_volume(), volume, max_relative = 1e-9);
}

#[test]
fn an_opening_that_is_not_flat_is_refused() {
    let mut sphere = icosphere(40.0, 3);
    // Faces of a bent region round one side.
    sphere.faces.retain(|f| {
        f.iter().any(|v| {
            let p = sphere.positions[*v as usize];
            p.x < 20.0 + 0.2 * p.y.abs()
        })
    });
    let repaired = repair(sphere);
    assert!(repaired.refused[0].contains("not flat"), "{:?}", repaired.refused);
    let report = check(&repaired.mesh, &CheckOptions::default());
    assert!(report.fault(FaultKind::Open).is_some());
}

#[test]
fn a_flipped_face_is_not_repaired() {
    let mut cube = cuboid([20.0; 3]);
    cube.faces[3].swap(0, 1);
    let repaired = repair(cube);
    assert!(!is_sound(&repaired.mesh));
}
