//! Wavefront OBJ by the crate tobj, with colours of points or of materials. Normals are passed over.

use std::cell::Cell;
use std::io::Cursor;

use super::beside::Beside;
use super::colour::{Colours, byte};
use super::mtl::{Library, MaterialId};
use super::{BETWEEN_LOOKS, Content, FaceCollector, MeshFormat, Point, ReadError, ReadLimits};
use crate::control::Cancel;
use crate::mesh::TriangleMesh;

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

/// Refuses files in which only some points have colours: the crate would give them to the wrong ones.
fn check_colours(bytes: &[u8]) -> Result<(), ReadError> {
    let (mut points, mut coloured) = (0_u64, 0_u64);
    for text in bytes.split(|b| *b == b'\n') {
        let mut words = std::str::from_utf8(text).unwrap_or_default().split_whitespace();
        if words.next() != Some("v") {
            continue;
        }
        points += 1;
        let parts = words.skip(3).filter(|word| word.parse::<f32>().is_ok()).count();
        coloured += u64::from(parts == 3);
    }
    if coloured > 0 && coloured < points {
        return Err(ReadError::Malformed {
            format: MeshFormat::Obj,
            place: "in its text".to_owned(),
            reason: format!(
                "{coloured} of its {points} points have a colour: give all of them one, or none"
            ),
        });
    }
    Ok(())
}

/// Faces with what colours them.
#[derive(Default)]
struct Coloured {
    /// Colours of all points, if they have any: shares of the full colour.
    points: Vec<[f32; 3]>,
    /// The first face of each material.
    materials: Vec<(usize, Option<MaterialId>)>,
    /// Texture coordinates of the corners of each face, while all have some.
    corners: Vec<[[f32; 2]; 3]>,
}

pub(super) fn read(
    bytes: &[u8],
    limits: &ReadLimits,
    beside: &dyn Beside,
    cancel: &Cancel,
) -> Result<Content, ReadError> {
    check_counts(bytes, limits, cancel)?;
    check_corners(bytes)?;
    check_colours(bytes)?;
    cancel.check()?;
    let mut remarks = Vec::new();
    let library = Library::of(bytes, beside, &mut remarks);
    let options =
        tobj::LoadOptions { ignore_lines: true, ignore_points: true, ..Default::default() };
    let given = Cell::new(false);
    let (models, _) = tobj::load_obj_buf(&mut Cursor::new(bytes), &options, |_| {
        // All of them at the first file that is named; each call adds to what there is.
        Ok(if given.replace(true) { Default::default() } else { library.for_tobj() })
    })
    .map_err(|error| ReadError::Malformed {
        format: MeshFormat::Obj,
        place: "in its text".to_owned(),
        reason: error.to_string(),
    })?;
    let mut positions = Vec::new();
    let mut collector = FaceCollector::new(limits, cancel);
    let mut coloured = Coloured::default();
    let textured = library.has_pictures();
    for model in &models {
        let mesh = &model.mesh;
        let offset = positions.len() as u32;
        let triples = |numbers: &[f32]| -> Vec<[f32; 3]> { numbers.as_chunks().0.to_vec() };
        positions
            .extend(triples(&mesh.positions).into_iter().map(|p| Point::from(p.map(f64::from))));
        coloured.points.extend(triples(&mesh.vertex_color));
        coloured.materials.push((collector.faces.len(), mesh.material_id.map(MaterialId)));
        let indices: Vec<u32> = mesh.indices.iter().map(|v| v + offset).collect();
        let arities = (!mesh.face_arities.is_empty()).then_some(mesh.face_arities.as_slice());
        let mut from = 0;
        let mut face = 0;
        while from < indices.len() {
            let corners = match arities {
                None => 3,
                Some(arities) => arities.get(face).map_or(0, |n| *n as usize),
            };
            let Some(ring) = indices.get(from..from + corners).filter(|ring| !ring.is_empty())
            else {
                break;
            };
            let first = collector.faces.len();
            collector.push(ring, &positions)?;
            if textured {
                let named = mesh.texcoord_indices.get(from..from + corners);
                let at = |v: u32| texture_corner(v, ring, named, &mesh.texcoords);
                coloured.corners.extend(collector.faces[first..].iter().map(|face| face.map(at)));
            }
            from += corners;
            face += 1;
        }
    }
    let mesh = TriangleMesh { positions, faces: collector.faces };
    let colours = coloured.resolve(&mesh, &library, beside, &mut remarks);
    Ok(Content { mesh, colours, remarks })
}

/// Texture coordinates of a corner of a face: those of its place in the polygon that the face is a part of. Not numbers
/// where it has none.
fn texture_corner(vertex: u32, ring: &[u32], named: Option<&[u32]>, texcoords: &[f32]) -> [f32; 2] {
    let place = ring.iter().position(|v| *v == vertex);
    let index = place.and_then(|k| named?.get(k)).map(|index| 2 * *index as usize);
    index
        .and_then(|k| texcoords.get(k..k + 2))
        // OBJ counts v upwards, pictures count rows downwards.
        .map_or([f32::NAN; 2], |uv| [uv[0], 1.0 - uv[1]])
}

impl Coloured {
    /// Colours of places. Those of points count where the file has them, else those of materials.
    fn resolve(
        self,
        mesh: &TriangleMesh,
        library: &Library,
        beside: &dyn Beside,
        remarks: &mut Vec<String>,
    ) -> Option<Colours> {
        if !self.points.is_empty() && self.points.len() == mesh.positions.len() {
            if let Some(point) = self.points.iter().position(|c| !c.iter().all(|x| x.is_finite())) {
                remarks.push(format!(
                    "the colours of the OBJ file were left out: that of its point {point} is not a number"
                ));
                return None;
            }
            // Some programs write bytes in place of shares.
            let full = self.points.iter().flatten().copied().fold(0.0, f32::max);
            let scale = if full > 1.0 { 1.0 / 255.0 } else { 1.0 };
            let points: Vec<_> = self.points.iter().map(|c| c.map(|x| byte(x * scale))).collect();
            return Some(Colours::of_vertices(mesh, &points));
        }
        library.colours(mesh, &self.materials, &self.corners, beside, remarks)
    }
}
