//! What every shape's own test asks of it.

use slitwright_solver::mesh::{FaceId, Topology, TriangleMesh};

/// Closed, oriented outwards, of one body, with the Euler characteristic and the volume expected.
pub fn assert_shape(mesh: &TriangleMesh, euler: i64, volume: f64, relative: f64) {
    let topology = Topology::new(mesh).expect("closed and oriented");
    assert_eq!(topology.euler_characteristic(), euler, "Euler characteristic");
    assert_eq!(topology.bodies().1, 1, "bodies");
    let found = mesh.signed_volume();
    assert!(
        (found - volume).abs() <= relative * volume,
        "volume {found} mm^3, expected {volume} within {relative}"
    );
}

/// Every edge lies between `low` and `high` times the length asked for, and no triangle is a
/// sliver: its smallest height is at least a quarter of its longest side.
pub fn assert_even(mesh: &TriangleMesh, edge: f64, low: f64, high: f64) {
    for face in 0..mesh.faces.len() {
        let id = FaceId(face as u32);
        let [a, b, c] = mesh.corners(id);
        let sides = [(b - a).norm(), (c - b).norm(), (a - c).norm()];
        for side in sides {
            assert!(
                side >= low * edge && side <= high * edge,
                "face {face} has a side of {side} mm for an edge length of {edge} mm"
            );
        }
        let longest = sides.into_iter().fold(0.0, f64::max);
        let height = 2.0 * mesh.face_area(id) / longest;
        assert!(height >= 0.25 * longest, "face {face} is a sliver: sides {sides:?}");
    }
}
