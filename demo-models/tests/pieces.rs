//! Every demo piece is what a mould maker would be handed: closed, in one body, standing flat.

use std::sync::OnceLock;

use demo_models::{Piece, pieces, stl};
use slitwright_solver::mesh::{FaceId, Topology, TriangleMesh};

/// Every piece with its mesh, made once for all tests.
fn meshed() -> &'static [(Piece, TriangleMesh)] {
    static MESHED: OnceLock<Vec<(Piece, TriangleMesh)>> = OnceLock::new();
    MESHED.get_or_init(|| {
        let meshed = |piece: Piece| {
            let mesh = piece.mesh().unwrap_or_else(|error| panic!("{}: {error}", piece.name));
            (piece, mesh)
        };
        pieces().into_iter().map(meshed).collect()
    })
}

fn with_mesh(check: impl Fn(&Piece, &TriangleMesh)) {
    assert_eq!(meshed().len(), 7);
    for (piece, mesh) in meshed() {
        check(piece, mesh);
    }
}

fn named(name: &str) -> &'static (Piece, TriangleMesh) {
    let found = meshed().iter().find(|(piece, _)| piece.name == name);
    found.unwrap_or_else(|| panic!("there is no {name}"))
}

/// Genus by Euler's formula V - E + F = 2 - 2 g.
#[test]
fn pieces_are_closed_in_one_body_and_have_their_holes() {
    with_mesh(|piece, mesh| {
        let topology = Topology::new(mesh).unwrap_or_else(|e| panic!("{}: {e}", piece.name));
        assert_eq!(topology.bodies().1, 1, "{}: bodies", piece.name);
        let euler = topology.euler_characteristic();
        assert_eq!(euler, 2 - 2 * i64::from(piece.holes), "{}: Euler characteristic", piece.name);
        assert!(mesh.signed_volume() > 0.0, "{}: inside out", piece.name);
    });
}

#[test]
fn pieces_stand_flat_on_the_board() {
    with_mesh(|piece, mesh| {
        let (low, _) = mesh.bounds().expect("not empty");
        assert_eq!(low.z, 0.0, "{}: lowest point", piece.name);
        let on_board = |&face: &FaceId| mesh.corners(face).iter().all(|p| p.z == 0.0);
        let standing: Vec<_> = (0..mesh.faces.len() as u32).map(FaceId).filter(on_board).collect();
        let area: f64 = standing.iter().map(|&f| mesh.face_area(f)).sum();
        assert!(area > 200.0, "{}: stands on {area} mm^2", piece.name);
        for face in standing {
            assert!(
                mesh.area_vector(face).z < 0.0,
                "{}: base face {face:?} upside down",
                piece.name
            );
        }
    });
}

#[test]
fn pieces_have_a_print_size_and_a_fair_number_of_triangles() {
    with_mesh(|piece, mesh| {
        let longest = mesh.longest_side();
        assert!((100.0..=250.0).contains(&longest), "{}: {longest} mm", piece.name);
        let count = mesh.faces.len();
        assert!((20_000..=120_000).contains(&count), "{}: {count} triangles", piece.name);
    });
}

/// No needle, and no fold: each face looks the way the shape's own gradient does.
#[test]
fn pieces_are_smooth() {
    with_mesh(|piece, mesh| {
        for index in 0..mesh.faces.len() as u32 {
            let corners = mesh.corners(FaceId(index));
            let sides = [0, 1, 2].map(|k| (corners[(k + 1) % 3] - corners[k]).norm());
            let longest = sides.into_iter().fold(0.0, f64::max);
            let height = mesh.area_vector(FaceId(index)).norm() / longest;
            let middle = corners[0] + ((corners[1] - corners[0]) + (corners[2] - corners[0])) / 3.0;
            assert!(height > 0.08 * longest, "{}: needle at {middle}", piece.name);
            if middle.z == 0.0 {
                continue;
            }
            let normal = mesh.area_vector(FaceId(index)).normalize();
            let outward = piece.solid.gradient(middle).normalize();
            let agree = normal.dot(&outward);
            assert!(agree > 0.7, "{}: fold at {middle}, cosine {agree}", piece.name);
        }
    });
}

#[test]
fn two_runs_write_the_same_bytes() {
    with_mesh(|piece, mesh| {
        let first = stl::stl_bytes(mesh).expect("writes");
        let again = stl::stl_bytes(&piece.mesh().expect("meshes")).expect("writes");
        assert!(first == again, "{}: two runs differ", piece.name);
        assert_eq!(first.len(), 84 + 50 * mesh.faces.len(), "{}: file size", piece.name);
    });
}

/// The plinth's sections only shrink upwards: nothing holds it in its mould.
#[test]
fn plinth_narrows_all_the_way_up() {
    let (_, mesh) = named("plinth");
    for index in 0..mesh.faces.len() as u32 {
        let face = FaceId(index);
        let base = mesh.corners(face).iter().all(|p| p.z == 0.0);
        let normal = mesh.area_vector(face).normalize();
        assert!(base || normal.z > 0.05, "undercut at {}: normal {normal}", mesh.corners(face)[0]);
    }
}

/// The near-bridge of the dancer stays open, and stays narrow.
#[test]
fn dancer_has_a_gap_of_two_to_three_millimetres() {
    let (dancer, _) = named("dancer");
    // From inside the plait's tip straight to the back, through air.
    let steps = 2000;
    let inside = |k: usize| {
        let y = 18.3 - 14.0 * k as f64 / f64::from(steps);
        dancer.solid.at([0.0, y, 115.0].into()) < 0.0
    };
    let air: Vec<usize> = (0..=steps as usize).filter(|&k| !inside(k)).collect();
    let gap = 14.0 * air.len() as f64 / f64::from(steps);
    assert!((2.0..3.0).contains(&gap), "gap of {gap} mm");
    assert_eq!(air[air.len() - 1] - air[0] + 1, air.len(), "one gap only");
}

#[test]
fn every_request_is_json_and_names_a_mould() {
    for piece in pieces() {
        let request: serde_json::Value =
            serde_json::from_str(piece.request).unwrap_or_else(|e| panic!("{}: {e}", piece.name));
        assert!(request["mould"].is_object(), "{}: no mould", piece.name);
        assert_eq!(request["budget"]["targetGap"], 0.05, "{}: target gap", piece.name);
        assert_eq!(request["budget"]["timeLimitSeconds"], 60.0, "{}: time limit", piece.name);
    }
}
