//! Wavefront OBJ by the crate tobj. Materials, normals and texture coordinates are passed over.

use std::io::Cursor;

use super::{BETWEEN_LOOKS, FaceCollector, MeshFormat, Point, ReadError, ReadLimits, TriangleMesh};
use crate::control::Cancel;

/// Refuses more triangles, or corners of one face, than may be: counted before anything is set aside
/// for them.
fn check_counts(bytes: &[u8], limits: &ReadLimits, cancel: &Cancel) -> Result<(), ReadError> {
    let faces = bytes
        .split(|b| *b == b'\n')
        .map(|line| line.trim_ascii_start())
        .filter(|line| line.starts_with(b"f ") || line.starts_with(b"f\t"));
    let mut triangles = 0;
    for (face, line) in (0..).zip(faces) {
        if face % BETWEEN_LOOKS == 0 {
            cancel.check()?;
        }
        let words = line.split(u8::is_ascii_whitespace).filter(|w| !w.is_empty()).count() as u64;
        super::check_corners(face, words.saturating_sub(1), limits)?;
        triangles += words.saturating_sub(3);
    }
    if triangles > limits.max_triangles {
        return Err(ReadError::TooManyTriangles { triangles, limit: limits.max_triangles });
    }
    Ok(())
}

/// Refuses corners that are counted back from the last point to before the first, and those of a
/// number that no file of this length can reach. The crate takes the former for numbers next to the
/// greatest there is, and overflows on both.
fn check_corners(bytes: &[u8]) -> Result<(), ReadError> {
    let size = bytes.len() as u64;
    // Points, texture coordinates, normals: in the order in which a corner names them.
    let mut counts = [0_u64; 3];
    for (line, text) in (1..).zip(bytes.split(|b| *b == b'\n')) {
        let malformed = |reason: String| ReadError::Malformed {
            format: MeshFormat::Obj,
            place: format!("in line {line}"),
            reason,
        };
        // The crate refuses what is no text by itself, and parts words in this same way.
        let mut words = std::str::from_utf8(text).unwrap_or_default().split_whitespace();
        match words.next() {
            Some("v") => counts[0] += 1,
            Some("vt") => counts[1] += 1,
            Some("vn") => counts[2] += 1,
            Some("f" | "l" | "p") => {
                for (number, count) in words.flat_map(|word| word.split('/').zip(counts)) {
                    let back = number.strip_prefix('-').and_then(|it| it.parse::<u64>().ok());
                    if back.is_some_and(|back| back > count) {
                        return Err(malformed(format!(
                            "{number} is counted back from {count} that there are"
                        )));
                    }
                    // What is named may still follow, so only the length tells.
                    if number.parse().is_ok_and(|ahead: u64| ahead > size) {
                        return Err(malformed(format!(
                            "{number} is named, which the file is too short to hold; export it again"
                        )));
                    }
                }
            }
            _ => {}
        }
    }
    Ok(())
}

pub(super) fn read(
    bytes: &[u8],
    limits: &ReadLimits,
    cancel: &Cancel,
) -> Result<TriangleMesh, ReadError> {
    check_counts(bytes, limits, cancel)?;
    check_corners(bytes)?;
    cancel.check()?;
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
    let mut collector = FaceCollector::new(limits, cancel);
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
