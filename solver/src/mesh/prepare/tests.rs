use super::super::FaceId;
use super::super::fixtures::*;
use super::*;

/// Nothing is mended that could change the shape.
fn as_is() -> PrepareOptions {
    PrepareOptions { as_is: true, ..PrepareOptions::default() }
}

fn mended(mesh: TriangleMesh) -> Model {
    prepare_mesh(mesh, &PrepareOptions::default()).unwrap_or_else(|error| panic!("{error}"))
}

fn faults(mesh: TriangleMesh) -> Vec<FaultKind> {
    match prepare_mesh(mesh, &as_is()) {
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
    let error = prepare_mesh(folded.clone(), &as_is()).expect_err("crosses");
    assert!(error.to_string().contains("accept_self_crossing"), "{error}");
    let options = PrepareOptions { accept_self_crossing: true, ..PrepareOptions::default() };
    let model = prepare_mesh(folded, &options).expect("accepted");
    assert!(model.warnings().iter().any(|w| w.contains("passes through itself")));
}

/// Every fifteenth face each missing, turned over and there twice: patches, turns and drops make it the ball that it
/// was, without a grid. Its own volume is known to rounding.
#[test]
fn a_ball_with_many_faults_is_mended_face_by_face() {
    let ball = icosphere(50.0, 5);
    let mut torn = TriangleMesh { positions: ball.positions.clone(), faces: Vec::new() };
    for (k, face) in ball.faces.iter().enumerate() {
        let [a, b, c] = *face;
        match k * 7 % 15 {
            2 => {}
            7 => torn.faces.push([a, c, b]),
            11 => torn.faces.extend([*face, [b, c, a]]),
            13 if k % 2 == 0 => torn.faces.extend([*face, [a, c, b]]),
            _ => torn.faces.push(*face),
        }
    }
    let model = mended(torn);
    approx::assert_relative_eq!(
        model.original.signed_volume(),
        ball.signed_volume(),
        max_relative = 5e-3
    );
    assert_eq!((model.genus, model.original.faces.len()), (0, ball.faces.len()));
    let told = model.repairs.join("\n");
    for words in ["there twice", "back to back", "the other way than their neighbours"] {
        assert!(told.contains(words), "{told}");
    }
    assert!(!told.contains("rebuilt"), "{told}");
}

/// Two balls that overlap are rebuilt as one, and the report says so. What they share is a lens: see the tests of
/// rebuilding.
#[test]
fn shells_that_overlap_are_joined_and_told() {
    let (r, d): (f64, f64) = (30.0, 36.0);
    let model = mended(joined(&icosphere(r, 4), &moved(&icosphere(r, 4), [d, 0.0, 0.0])));
    let pi = std::f64::consts::PI;
    let lens = pi * (4.0 * r + d) * (2.0 * r - d).powi(2) / 12.0;
    let exact = 8.0 / 3.0 * pi * r.powi(3) - lens;
    approx::assert_relative_eq!(model.original.signed_volume(), exact, max_relative = 5e-3);
    assert_eq!((model.genus, model.report.bodies.len()), (0, 1));
    let [told] = &model.repairs[..] else { panic!("{:?}", model.repairs) };
    for words in ["rebuilt:", "none of the faces is kept", "mm off", "of 2 bodies"] {
        assert!(told.contains(words), "{told}");
    }
}

/// A torus with a shell within its tube and a crumb beside it is the torus: 2 pi^2 R r^2, to what its faces leave out.
#[test]
fn shells_within_and_crumbs_are_dropped_and_told() {
    let ring = torus(40.0, 12.0, 120, 60);
    for inner in [torus(40.0, 6.0, 60, 20), inside_out(&torus(40.0, 6.0, 60, 20))] {
        let crumb = moved(&cuboid([2.0; 3]), [0.0, 0.0, 30.0]);
        let model = mended(joined(&joined(&ring, &inner), &crumb));
        assert_eq!((model.genus, model.original.faces.len()), (1, ring.faces.len()));
        let exact = 2.0 * std::f64::consts::PI.powi(2) * 40.0 * 144.0;
        approx::assert_relative_eq!(model.original.signed_volume(), exact, max_relative = 5e-3);
        let told = model.repairs.join("\n");
        assert!(told.contains("a shell within the body") && told.contains("a crumb"), "{told}");
    }
}

/// A rod stuck into a ball, open at the end that is within: no hole for anybody who looks from outside. The rod is
/// as thick as its 64 sides make it, and 20 mm of it stick out beyond a ball of 30 mm: a little more at its rim, by the
/// cap's height 30 - sqrt(30^2 - 10^2).
#[test]
fn an_arm_that_is_open_within_the_body_is_joined() {
    let mut arm = moved(&cylinder(10.0, 40.0, 64), [0.0, 0.0, 10.0]);
    arm.faces.retain(|f| !f.contains(&128));
    let model = mended(joined(&icosphere(30.0, 5), &arm));
    let pi = std::f64::consts::PI;
    let cap = 30.0 - 800f64.sqrt();
    let rod = pi * 100.0 * (20.0 + cap) - pi * cap * cap * (90.0 - cap) / 3.0;
    let exact = 36_000.0 * pi + rod;
    approx::assert_relative_eq!(model.original.signed_volume(), exact, max_relative = 5e-3);
    assert_eq!(model.genus, 0);
}

/// Two cubes that are apart are refused with sizes and places, and a large opening with its own.
#[test]
fn what_nobody_can_guess_is_refused_with_place_and_size() {
    let cube = || cuboid([20.0; 3]);
    let refused = |mesh| {
        let error = prepare_mesh(mesh, &PrepareOptions::default()).expect_err("refused");
        error.to_string()
    };
    let words = refused(joined(&cube(), &moved(&cube(), [40.0, 0.0, 0.0])));
    for expected in ["2 separate bodies", "8.00 cm^3", "about (10.0, 10.0, 10.0) mm", "about (50.0"]
    {
        assert!(words.contains(expected), "{words}");
    }
    let mut open = icosphere(30.0, 3);
    let bent = |p: &nalgebra::Point3<f64>| p.z > 15.0 + 0.3 * p.x.abs();
    open.faces.retain(|f| !f.iter().all(|v| bent(&open.positions[*v as usize])));
    let words = refused(open.clone());
    for expected in
        ["mm across and not flat", "% of the way up in z", "holes up to 3.0 mm are filled"]
    {
        assert!(words.contains(expected), "{words}");
    }
    // A person may say that larger ones are to be filled.
    let options = PrepareOptions { largest_hole: Some(60.0), ..PrepareOptions::default() };
    let model = prepare_mesh(open, &options).expect("filled");
    assert!(model.repairs[0].contains("filled a hole"), "{:?}", model.repairs);
}

#[test]
fn options_that_are_no_lengths_are_refused() {
    for value in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        for options in [
            PrepareOptions { largest_hole: Some(value), ..PrepareOptions::default() },
            PrepareOptions { rebuild_deviation: Some(value), ..PrepareOptions::default() },
        ] {
            let error = prepare_mesh(cuboid([20.0; 3]), &options).expect_err("no length");
            assert!(matches!(error, PrepareError::BadLength { .. }), "{error}");
        }
    }
}

#[test]
fn any_thread_may_ask_a_locator() {
    fn shared<T: Send + Sync>() {}
    shared::<SurfaceLocator>();
    shared::<Model>();
}

/// A plan tells places by height and side; whoever only checks a file has coordinates.
#[test]
fn places_of_mild_faults_can_be_told_in_words() {
    let mut folded = icosphere(50.0, 4);
    folded.positions[0] = nalgebra::Point3::from(folded.positions[0].coords * -1.3);
    let options = PrepareOptions { accept_self_crossing: true, ..PrepareOptions::default() };
    let model = prepare_mesh(folded, &options).expect("accepted");
    let placed = model.warnings_placed(|p| format!("{:.0} mm from the middle", p.coords.norm()));
    let [told] = &placed[..] else { panic!("{placed:?}") };
    let stem = told.split("the first near ").nth(1).expect("ends with a place");
    assert!(stem.ends_with("mm from the middle") && !stem.contains('('), "{told}");
    assert_eq!(model.warnings().len(), 1);
    assert!(model.warnings()[0].ends_with(") mm"), "{:?}", model.warnings());
}

/// Balls of 20 and 12 mm apart: the larger one holds 82 % of the volume.
#[test]
fn of_several_bodies_the_larger_is_taken_unless_another_is_named() {
    let both = || joined(&icosphere(20.0, 4), &moved(&icosphere(12.0, 4), [60.0, 0.0, 0.0]));
    let volume = |radius: f64| 4.0 / 3.0 * std::f64::consts::PI * radius.powi(3);
    let named = |bodies: &[u32]| {
        let options = PrepareOptions { bodies: bodies.to_vec(), ..PrepareOptions::default() };
        prepare_mesh(both(), &options)
    };
    for (bodies, radius, words) in [
        (vec![], 20.0, "took body 1 of 2, most of the volume"),
        (vec![2], 12.0, "took body 2 of 2, as was asked for"),
    ] {
        let model = named(&bodies).expect("one of them");
        let held = model.original.signed_volume();
        approx::assert_relative_eq!(held, volume(radius), max_relative = 0.01);
        assert!(model.repairs[0].contains(words), "{:?}", model.repairs);
    }
    for bodies in [vec![3], vec![0], vec![1, 7]] {
        let error = named(&bodies).expect_err("not there");
        assert!(matches!(error, PrepareError::NoSuchBody { count: 2, .. }), "{error}");
    }
    // Both are two bodies, which no mould takes.
    assert!(named(&[1, 2]).expect_err("two").to_string().contains("2 separate bodies"));
    let as_is = prepare_mesh(both(), &as_is()).expect_err("two");
    assert!(as_is.to_string().contains("2 separate bodies"), "{as_is}");
    let alone = PrepareOptions { bodies: vec![2], ..PrepareOptions::default() };
    let error = prepare_mesh(icosphere(20.0, 3), &alone).expect_err("not there");
    assert!(matches!(error, PrepareError::NoSuchBody { number: 2, count: 1 }), "{error}");
}
