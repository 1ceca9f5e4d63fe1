use super::super::FaceId;
use super::super::fixtures::*;
use super::*;

fn faults(mesh: TriangleMesh) -> Vec<FaultKind> {
    match prepare_mesh(mesh, &PrepareOptions::default()) {
        Err(PrepareError::Unsound { faults, .. }) => faults.iter().map(|f| f.kind).collect(),
        other => panic!("{other:?}"),
    }
}

#[test]
fn sound_models_come_through_with_their_genus() {
    for (mesh, handles) in
        [(cuboid([60.0, 40.0, 30.0]), 0), (icosphere(50.0, 5), 0), (torus(40.0, 12.0, 120, 60), 1)]
    {
        let model = prepare_mesh(mesh.clone(), &PrepareOptions::default()).expect("sound");
        assert_eq!(model.genus, handles);
        assert_eq!(model.original, mesh);
        assert!(model.working_deviation <= model.allowed_deviation);
        assert!(model.repairs.is_empty());
    }
}

#[test]
fn results_come_back_on_the_original() {
    let model = prepare_mesh(icosphere(50.0, 6), &PrepareOptions::default()).expect("sound");
    assert!(model.working.faces.len() < model.original.faces.len());
    let locator = SurfaceLocator::new(&model.original).expect("locator");
    for f in 0..model.working.faces.len() as u32 {
        let [a, b, c] = model.working.corners(FaceId(f));
        let middle = nalgebra::Point3::from((a.coords + b.coords + c.coords) / 3.0);
        let hit = locator.closest(&middle);
        assert!(hit.distance <= model.working_deviation + 1e-9);
        // The normal of a sphere is its direction from the centre.
        assert!(hit.normal.dot(&hit.point.coords.normalize()) > 0.999);
        let weights = locator.weights(hit.face, &hit.point);
        let corners = model.original.corners(hit.face);
        let back = (0..3).map(|k| corners[k].coords * weights[k]).sum::<nalgebra::Vector3<f64>>();
        approx::assert_relative_eq!(back, hit.point.coords, epsilon = 1e-9);
    }
}

#[test]
fn a_ray_tells_the_face_it_meets() {
    let cube = cuboid([20.0; 3]);
    let locator = SurfaceLocator::new(&cube).expect("locator");
    let up = nalgebra::Vector3::z();
    let hit = locator.ray(&nalgebra::Point3::new(5.0, 7.0, 1.0), &(up * 3.0), 100.0).expect("top");
    approx::assert_relative_eq!(hit.distance, 19.0, max_relative = 1e-12);
    approx::assert_relative_eq!(hit.normal, up);
    assert!(cube.corners(hit.face).iter().all(|p| p.z == 20.0));
    assert!(locator.ray(&nalgebra::Point3::new(5.0, 7.0, 1.0), &up, 18.0).is_none());
}

#[test]
fn awkward_meshes_are_named() {
    let cube = || cuboid([20.0; 3]);
    assert_eq!(
        faults(joined(&cube(), &moved(&cube(), [40.0, 0.0, 0.0]))),
        vec![FaultKind::SeveralBodies]
    );
    let mut flipped = cube();
    flipped.faces[3].swap(0, 1);
    assert_eq!(faults(flipped), vec![FaultKind::Orientation]);
    let mut hollow = cube();
    hollow.positions[2].z = f64::NAN;
    assert_eq!(faults(hollow), vec![FaultKind::NotFinite]);
    assert_eq!(faults(TriangleMesh::default()), vec![FaultKind::Empty]);
}

#[test]
fn a_cube_without_a_face_or_inside_out_is_repaired_and_told() {
    let mut open = cuboid([20.0; 3]);
    open.faces.pop();
    let model = prepare_mesh(inside_out(&open), &PrepareOptions::default()).expect("repaired");
    approx::assert_relative_eq!(model.original.signed_volume(), 8000.0, max_relative = 1e-12);
    assert_eq!(model.repairs.len(), 2, "{:?}", model.repairs);
}

#[test]
fn self_crossing_must_be_accepted_by_a_person() {
    let mut folded = icosphere(50.0, 4);
    folded.positions[0] = nalgebra::Point3::from(folded.positions[0].coords * -1.3);
    let error = prepare_mesh(folded.clone(), &PrepareOptions::default()).expect_err("crosses");
    assert!(error.to_string().contains("accept_self_crossing"), "{error}");
    let options = PrepareOptions { accept_self_crossing: true, ..PrepareOptions::default() };
    let model = prepare_mesh(folded, &options).expect("accepted");
    assert!(model.warnings.iter().any(|w| w.contains("passes through itself")));
}

#[test]
fn any_thread_may_ask_a_locator() {
    fn shared<T: Send + Sync>() {}
    shared::<SurfaceLocator>();
    shared::<Model>();
}
