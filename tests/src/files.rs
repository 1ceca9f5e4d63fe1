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

/// A binary PLY file of a mesh, in single precision.
pub fn ply(mesh: &TriangleMesh) -> Vec<u8> {
    let mut bytes = format!(
        "ply\nformat binary_little_endian 1.0\nelement vertex {}\nproperty float x\nproperty float y\nproperty float z\n\
         element face {}\nproperty list uchar uint vertex_indices\nend_header\n",
        mesh.positions.len(),
        mesh.faces.len()
    )
    .into_bytes();
    for x in mesh.positions.iter().flat_map(|p| p.iter()) {
        bytes.extend((*x as f32).to_le_bytes());
    }
    for face in &mesh.faces {
        bytes.push(3);
        bytes.extend(face.iter().flat_map(|v| v.to_le_bytes()));
    }
    bytes
}
