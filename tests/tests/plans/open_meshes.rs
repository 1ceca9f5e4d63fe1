//! Open meshes of real shapes: checks, working mesh and planning mesh.
//!
//! Where the files come from: `slitwright_tests::open`.

use slitwright_solver::mesh::{
    FaultKind, PrepareError, PrepareOptions, SurfaceLocator, Topology, TriangleMesh, genus,
    planning_mesh, prepare_mesh,
};
use slitwright_tests::open_mesh_sized;

/// Name, handles. Computed by Euler's formula on the files as they are, once beforehand and again
/// below by counting that shares no code with the crate.
const MESHES: [(&str, i64); 7] = [
    ("bunny00", 0),
    ("bull", 0),
    ("hand", 0),
    ("eight", 2),
    ("elephant", 3),
    ("refined_elephant", 3),
    ("knot1", 1),
];

/// A mesh with its longest side scaled to 150 mm.
fn load(name: &str) -> TriangleMesh {
    open_mesh_sized(name, 150.0).expect("an open mesh")
}

/// V, E and F counted anew, without the crate's own topology.
fn genus_by_counting(mesh: &TriangleMesh) -> i64 {
    let mut edges = std::collections::BTreeSet::new();
    let mut vertices = std::collections::BTreeSet::new();
    for f in &mesh.faces {
        for k in 0..3 {
            let (a, b) = (f[k], f[(k + 1) % 3]);
            edges.insert([a.min(b), a.max(b)]);
            vertices.insert(a);
        }
    }
    1 - (vertices.len() as i64 - edges.len() as i64 + mesh.faces.len() as i64) / 2
}

#[test]
fn genus_is_eulers_and_survives_decimation_and_remeshing() {
    for (name, handles) in MESHES {
        let mesh = load(name);
        assert_eq!(genus_by_counting(&mesh), handles, "{name}");
        assert_eq!(genus(&mesh), Ok(handles), "{name}");
        let options = PrepareOptions { accept_self_crossing: true, ..PrepareOptions::default() };
        let model = prepare_mesh(mesh, &options).unwrap_or_else(|e| panic!("{name}: {e}"));
        assert_eq!(model.genus, handles, "{name}");
        assert_eq!(genus_by_counting(&model.working), handles, "{name}");
        assert!(model.working_deviation <= 0.225 + 1e-9, "{name}: {}", model.working_deviation);
        let planning = planning_mesh(&model.working, 5.0).unwrap_or_else(|e| panic!("{name}: {e}"));
        assert_eq!(genus_by_counting(&planning), handles, "{name}");
    }
}

#[test]
fn planning_meshes_are_even_and_keep_the_volume() {
    for name in ["bunny00", "hand", "eight", "knot1"] {
        let options = PrepareOptions { accept_self_crossing: true, ..PrepareOptions::default() };
        let model = prepare_mesh(load(name), &options).unwrap_or_else(|e| panic!("{name}: {e}"));
        let target = 4.0;
        let mesh = planning_mesh(&model.working, target).unwrap_or_else(|e| panic!("{name}: {e}"));
        let topology = Topology::new(&mesh).expect("closed");
        let good = topology
            .edge_vertices
            .iter()
            .filter(|[a, b]| {
                let length = (mesh.positions[*a as usize] - mesh.positions[*b as usize]).norm();
                (0.6..=1.45).contains(&(length / target))
            })
            .count() as f64;
        let share = good / topology.edge_count() as f64;
        assert!(share > 0.9, "{name}: only {share:.3} of the edges are near the target");
        let volume = mesh.signed_volume() / model.original.signed_volume();
        assert!((0.97..1.01).contains(&volume), "{name}: volume ratio {volume}");
        // Vertices lie on the surface they came from.
        let locator = SurfaceLocator::new(&model.working).expect("locator");
        let off = mesh.positions.iter().map(|p| locator.closest(p).distance).fold(0.0, f64::max);
        assert!(off < 0.5 * target, "{name}: a vertex is {off} mm off the surface");
    }
}

#[test]
fn the_bulls_self_crossings_are_found() {
    // Four faces of this file cross, by pymeshlab 2025.7.post1
    // (compute_selection_by_self_intersections_per_face), which says none of hand, eight and knot1.
    let options = PrepareOptions { as_is: true, ..PrepareOptions::default() };
    let error = prepare_mesh(load("bull"), &options).expect_err("it crosses");
    let PrepareError::Unsound { faults, .. } = error else { panic!("{error}") };
    let kinds: Vec<FaultKind> = faults.iter().map(|f| f.kind).collect();
    assert_eq!(kinds, vec![FaultKind::SelfCrossing]);
    assert_eq!(faults[0].count, 4);
    assert!(faults[0].place.is_some());
}

/// The same are mended if nobody says otherwise, and told; the bull is a ball as far as Euler goes, and its volume
/// is that of its file to a thousandth: next to nothing of it crosses.
#[test]
fn the_bull_is_mended() {
    let model = prepare_mesh(load("bull"), &PrepareOptions::default()).expect("mended");
    assert_eq!(genus_by_counting(&model.original), 0);
    assert!(model.report.faults.iter().all(|f| f.kind != FaultKind::SelfCrossing));
    assert_eq!(model.report.crossings.map(|c| c.pairs), Some(0));
    let volume = model.original.signed_volume() / load("bull").signed_volume();
    assert!((volume - 1.0).abs() < 1e-3, "{volume}");
    assert_eq!(model.repairs.len(), 1, "{:?}", model.repairs);
    assert!(model.repairs[0].contains("passed through"), "{:?}", model.repairs);
}

#[test]
fn the_working_mesh_is_the_same_every_time() {
    let mesh = load("elephant");
    let options = PrepareOptions { accept_self_crossing: true, ..PrepareOptions::default() };
    let first = prepare_mesh(mesh.clone(), &options).expect("elephant");
    let second = prepare_mesh(mesh, &options).expect("elephant");
    assert_eq!(first, second);
    assert_eq!(planning_mesh(&first.working, 5.0), planning_mesh(&second.working, 5.0));
}
