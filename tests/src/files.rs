//! Shapes as the bytes of a file.

use std::fmt::Write as _;

use slitwright_solver::mesh::TriangleMesh;

/// An OFF file of a mesh, every digit kept.
pub fn off(mesh: &TriangleMesh) -> Vec<u8> {
    let mut text = format!("OFF\n{} {} 0\n", mesh.positions.len(), mesh.faces.len());
    // Writing to a string cannot fail.
    for p in &mesh.positions {
        let _ = writeln!(text, "{} {} {}", p.x, p.y, p.z);
    }
    for [a, b, c] in &mesh.faces {
        let _ = writeln!(text, "3 {a} {b} {c}");
    }
    text.into_bytes()
}
