//! A mesh as the bytes of a binary STL file, mm.

use slitwright_solver::mesh::{FaceId, TriangleMesh};
use stl_io::{Normal, Triangle, Vertex};

/// The bytes of a binary STL file.
pub fn stl_bytes(mesh: &TriangleMesh) -> std::io::Result<Vec<u8>> {
    let triangles: Vec<Triangle> = (0..mesh.faces.len())
        .map(|index| {
            let face = FaceId(index as u32);
            let normal = mesh.area_vector(face).normalize();
            Triangle {
                normal: Normal::new([normal.x as f32, normal.y as f32, normal.z as f32]),
                vertices: mesh
                    .corners(face)
                    .map(|p| Vertex::new([p.x as f32, p.y as f32, p.z as f32])),
            }
        })
        .collect();
    let mut bytes = Vec::with_capacity(84 + 50 * triangles.len());
    stl_io::write_stl(&mut bytes, triangles.iter())?;
    Ok(bytes)
}
