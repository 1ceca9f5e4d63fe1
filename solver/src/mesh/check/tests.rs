use super::super::fixtures::*;
use super::*;

fn crossings_of(mesh: &TriangleMesh) -> SelfCrossings {
    let locator = SurfaceLocator::new(mesh).expect("sound indices");
    self_crossings(mesh, &locator, &Cancel::new()).expect("nobody cancels").expect("few near")
}

fn kinds(mesh: &TriangleMesh) -> Vec<FaultKind> {
    check(mesh, &CheckOptions::default()).faults.iter().map(|f| f.kind).collect()
}

#[test]
fn sound_shapes_have_no_fault_and_their_genus() {
    for (mesh, handles) in [
        (cuboid([60.0, 40.0, 30.0]), 0),
        (icosphere(50.0, 3), 0),
        (torus(40.0, 12.0, 60, 30), 1),
        (tube(20.0, 21.0, 60.0, 48), 1),
        (cylinder(10.0, 50.0, 32), 0),
    ] {
        let report = check(&mesh, &CheckOptions::default());
        assert_eq!(report.faults, vec![]);
        assert_eq!(report.genus, Some(handles));
        assert_eq!(report.bodies.len(), 1);
        approx::assert_relative_eq!(
            report.bodies[0].volume,
            mesh.signed_volume(),
            max_relative = 1e-9
        );
    }
}

#[test]
fn every_fault_is_told_at_once() {
    // An open cube beside an inverted face and a second body.
    let mut open = cuboid([20.0; 3]);
    open.faces.remove(0);
    let mut flipped = moved(&cuboid([20.0; 3]), [40.0, 0.0, 0.0]);
    flipped.faces[3].swap(0, 1);
    let found = kinds(&joined(&open, &flipped));
    assert_eq!(found, vec![FaultKind::Open, FaultKind::Orientation, FaultKind::SeveralBodies]);
}

#[test]
fn open_edges_are_counted_and_placed() {
    let mut cube = cuboid([20.0; 3]);
    cube.faces.drain(0..2);
    let report = check(&cube, &CheckOptions::default());
    let fault = report.fault(FaultKind::Open).expect("open");
    assert_eq!(fault.count, 4);
    assert_eq!(fault.place.expect("place").z, 0.0);
    assert!(fault.message.contains("4 edges"), "{}", fault.message);
}

#[test]
fn an_inside_out_body_is_told() {
    assert_eq!(kinds(&inside_out(&icosphere(20.0, 2))), vec![FaultKind::InsideOut]);
}

#[test]
fn bodies_come_with_their_sizes() {
    let two = joined(&cuboid([10.0; 3]), &moved(&cuboid([20.0; 3]), [40.0, 0.0, 0.0]));
    let report = check(&two, &CheckOptions::default());
    assert_eq!(report.bodies.iter().map(|b| b.longest_side).collect::<Vec<_>>(), vec![20.0, 10.0]);
    assert!(report.fault(FaultKind::SeveralBodies).expect("two").message.contains("20.0 mm long"));
}

#[test]
fn touching_in_an_edge_or_a_vertex_is_told() {
    let cube = cuboid([20.0; 3]);
    let mut pinched = joined(&cube, &moved(&cube, [20.0; 3]));
    for v in pinched.faces.iter_mut().flatten() {
        if *v == 8 {
            *v = 7;
        }
    }
    assert_eq!(kinds(&pinched), vec![FaultKind::PinchedVertex]);
    // A fin on an edge of the cube: three faces meet there.
    let mut fin = cube.clone();
    fin.positions.push(Point::new(10.0, -9.0, -9.0));
    fin.faces.push([0, 1, 8]);
    let found = kinds(&fin);
    assert!(found.contains(&FaultKind::NonManifoldEdge) && found.contains(&FaultKind::Open));
}

#[test]
fn crossing_faces_are_found_and_touching_ones_are_not() {
    // Two cubes that share a corner region: closed form, their faces cross along a hexagonal rim.
    let cube = cuboid([20.0; 3]);
    let crossed = joined(&cube, &moved(&cube, [9.0, 8.0, 7.0]));
    let report = check(&crossed, &CheckOptions::default());
    assert!(report.fault(FaultKind::SelfCrossing).is_some());
    let apart = joined(&cube, &moved(&cube, [21.0, 0.0, 0.0]));
    assert_eq!(check(&apart, &CheckOptions::default()).crossings, Some(SelfCrossings::default()));
}

#[test]
fn neighbours_that_fold_through_each_other_cross() {
    // A sphere with one vertex pushed through the far side: its faces pass through others.
    let mut folded = icosphere(50.0, 3);
    folded.positions[0] = Point::from(folded.positions[0].coords * -1.3);
    let report = check(&folded, &CheckOptions::default());
    let crossings = report.crossings.expect("searched");
    // The five faces at the vertex are pushed; all of them pierce the far side.
    assert!(crossings.faces > 5, "{crossings:?}");
    // One vertex pulled over its neighbour within a flat grid: flat faces overlap.
    let mut fan = TriangleMesh {
        positions: [[0.0, 0.0], [20.0, 0.0], [20.0, 20.0], [0.0, 20.0], [10.0, 10.0]]
            .map(|p| Point::new(p[0], p[1], 0.0))
            .to_vec(),
        faces: vec![[0, 1, 4], [1, 2, 4], [2, 3, 4], [3, 0, 4]],
    };
    assert_eq!(crossings_of(&fan).pairs, 0);
    fan.positions[4] = Point::new(10.0, 25.0, 0.0);
    assert!(crossings_of(&fan).pairs > 0);
}

#[test]
fn crossings_do_not_depend_on_how_the_mesh_lies() {
    let cube = icosphere(20.0, 2);
    let crossed = joined(&cube, &moved(&cube, [9.0, 8.0, 7.0]));
    let count = crossings_of(&crossed);
    let turn = nalgebra::Rotation3::from_euler_angles(0.3, 1.1, -0.7);
    let mut turned = crossed.clone();
    for p in &mut turned.positions {
        *p = turn * *p;
    }
    turned.faces.reverse();
    let again = crossings_of(&turned);
    assert_eq!((count.pairs, count.faces), (again.pairs, again.faces));
    assert!(count.pairs > 0);
}

#[test]
fn faces_without_area_are_counted() {
    let mut cube = cuboid([20.0; 3]);
    cube.positions.push(Point::new(10.0, 0.0, 0.0));
    cube.faces.push([0, 8, 1]);
    let report = check(&cube, &CheckOptions::default());
    assert_eq!(report.fault(FaultKind::DegenerateFace).expect("one").count, 1);
}

#[test]
fn thin_walls_are_measured() {
    // A tube whose wall is 1 mm: chords of 96 sides take 0.01 mm off at most.
    let mesh = divided(&tube(20.0, 21.0, 60.0, 96));
    let options = CheckOptions { working_resolution: Some(1.5) };
    let thin = check(&mesh, &options).thin.expect("thin");
    approx::assert_relative_eq!(thin.least, 1.0, max_relative = 0.02);
    assert!(thin.area_share > 0.9, "{thin:?}");
    assert_eq!(check(&mesh, &CheckOptions { working_resolution: Some(0.5) }).thin, None);
}

#[test]
fn what_cannot_be_searched_is_told_too() {
    assert_eq!(kinds(&TriangleMesh::default()), vec![FaultKind::Empty]);
    let mut cube = cuboid([20.0; 3]);
    cube.positions[3].z = f64::NAN;
    assert_eq!(kinds(&cube), vec![FaultKind::NotFinite]);
    cube.faces[0][0] = 99;
    assert_eq!(kinds(&cube), vec![FaultKind::BadIndex]);
}
