//! Wavefront OBJ by the crate tobj. Materials, normals and texture coordinates are passed over.

use std::io::Cursor;

use super::{FaceCollector, MeshFormat, Point, ReadError, ReadLimits, TriangleMesh};

/// Triangles that the face lines ask for, counted before anything is set aside for them.
fn triangles_asked(bytes: &[u8]) -> u64 {
    bytes
        .split(|b| *b == b'\n')
        .map(|line| line.trim_ascii_start())
        .filter(|line| line.starts_with(b"f ") || line.starts_with(b"f\t"))
        .map(|line| {
            let words = line.split(u8::is_ascii_whitespace).filter(|w| !w.is_empty()).count();
            (words as u64).saturating_sub(3)
        })
        .sum()
}

pub(super) fn read(bytes: &[u8], limits: &ReadLimits) -> Result<TriangleMesh, ReadError> {
    let triangles = triangles_asked(bytes);
    if triangles > limits.max_triangles {
        return Err(ReadError::TooManyTriangles { triangles, limit: limits.max_triangles });
    }
    let options =
        tobj::LoadOptions { ignore_lines: true, ignore_points: true, ..Default::default() };
    let (models, _) = tobj::load_obj_buf(&mut Cursor::new(bytes), &options, |_| {
        // A material file tells nothing about the shape.
        Ok(Default::default())
    })
    .map_err(|error| ReadError::Malformed {
        format: MeshFormat::Obj,
        place: "in its text".to_owned(),
        reason: error.to_string(),
    })?;
    let mut positions = Vec::new();
    let mut collector = FaceCollector::new(limits);
    for model in &models {
        let mesh = &model.mesh;
        let offset = positions.len() as u32;
        positions.extend(
            mesh.positions
                .chunks_exact(3)
                .map(|p| Point::new(f64::from(p[0]), f64::from(p[1]), f64::from(p[2]))),
        );
        let indices: Vec<u32> = mesh.indices.iter().map(|v| v + offset).collect();
        if mesh.face_arities.is_empty() {
            for ring in indices.chunks_exact(3) {
                collector.push(ring, &positions)?;
            }
            continue;
        }
        let mut rest = &indices[..];
        for &corners in &mesh.face_arities {
            let Some((ring, tail)) = rest.split_at_checked(corners as usize) else { break };
            collector.push(ring, &positions)?;
            rest = tail;
        }
    }
    Ok(TriangleMesh { positions, faces: collector.faces })
}
