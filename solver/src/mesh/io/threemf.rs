//! 3MF by the crate threemf: build items, components and their transforms in one mesh.

use std::io::{self, Cursor, Read};

use threemf::model::{Model, Object, Unit};
use zip::ZipArchive;

use super::{FaceCollector, LengthUnit, MeshFormat, Point, ReadError, ReadLimits, TriangleMesh};
use crate::control::Cancel;

/// Components may hold components; deeper than this is a loop or a trick.
const DEEPEST: u32 = 16;
/// Uses of objects in one file.
const MOST_USES: u32 = 10_000;

fn malformed(place: &str, reason: impl ToString) -> ReadError {
    ReadError::Malformed {
        format: MeshFormat::ThreeMf,
        place: place.to_owned(),
        reason: reason.to_string(),
    }
}

/// Unpack every part into nothing, counting: what a packed file says about its size is not to be
/// believed, and a few bytes can unpack to gigabytes.
fn check_unpacked_size(bytes: &[u8], limits: &ReadLimits) -> Result<(), ReadError> {
    let mut archive =
        ZipArchive::new(Cursor::new(bytes)).map_err(|e| malformed("as a package", e))?;
    let mut unpacked = 0;
    for k in 0..archive.len() {
        let part = archive.by_index(k).map_err(|e| malformed("as a package", e))?;
        let left = limits.max_bytes - unpacked;
        unpacked += io::copy(&mut part.take(left + 1), &mut io::sink())
            .map_err(|e| malformed("as a package", e))?;
        if unpacked > limits.max_bytes {
            return Err(ReadError::TooManyBytes { bytes: unpacked, limit: limits.max_bytes });
        }
    }
    Ok(())
}

fn unit_of(unit: &Unit) -> LengthUnit {
    match unit {
        Unit::Micron => LengthUnit::Micron,
        Unit::Millimeter => LengthUnit::Millimetre,
        Unit::Centimeter => LengthUnit::Centimetre,
        Unit::Inch => LengthUnit::Inch,
        Unit::Foot => LengthUnit::Foot,
        Unit::Meter => LengthUnit::Metre,
    }
}

/// Row-major 4 by 3 matrix for row vectors, as the format has it.
type Transform = [f64; 12];

const SAME: Transform = [1.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0];

fn apply(t: &Transform, p: [f64; 3]) -> [f64; 3] {
    std::array::from_fn(|k| p[0] * t[k] + p[1] * t[3 + k] + p[2] * t[6 + k] + t[9 + k])
}

/// First `inner`, then `outer`.
fn compose(inner: &Transform, outer: &Transform) -> Transform {
    let mut result = SAME;
    for row in 0..4 {
        for k in 0..3 {
            let mut sum = if row == 3 { outer[9 + k] } else { 0.0 };
            for j in 0..3 {
                sum += inner[3 * row + j] * outer[3 * j + k];
            }
            result[3 * row + k] = sum;
        }
    }
    result
}

fn mirrors(t: &Transform) -> bool {
    let determinant = t[0] * (t[4] * t[8] - t[5] * t[7]) - t[1] * (t[3] * t[8] - t[5] * t[6])
        + t[2] * (t[3] * t[7] - t[4] * t[6]);
    determinant < 0.0
}

pub(super) fn read(
    bytes: &[u8],
    given: Option<LengthUnit>,
    limits: &ReadLimits,
    cancel: &Cancel,
) -> Result<(TriangleMesh, LengthUnit), ReadError> {
    check_unpacked_size(bytes, limits)?;
    let models =
        threemf::read(Cursor::new(bytes)).map_err(|e| malformed("in its model part", e))?;
    let mut built = models.iter().filter(|m| !m.build.item.is_empty());
    let model = built.next().ok_or(ReadError::Empty { format: MeshFormat::ThreeMf })?;
    if built.next().is_some() {
        return Err(malformed("as a package", "more than one part has things to build"));
    }
    let file = unit_of(&model.unit);
    if let Some(given) = given.filter(|g| *g != file) {
        return Err(ReadError::UnitContradicts { given, file });
    }
    let mut gathering = Gathering {
        model,
        positions: Vec::new(),
        collector: FaceCollector::new(limits, cancel),
        uses: 0,
    };
    for item in &model.build.item {
        gathering.add(item.objectid, &item.transform.unwrap_or(SAME), 0)?;
    }
    let mesh = TriangleMesh { positions: gathering.positions, faces: gathering.collector.faces };
    Ok((mesh, file))
}

struct Gathering<'a> {
    model: &'a Model,
    positions: Vec<Point>,
    collector: FaceCollector<'a>,
    uses: u32,
}

impl<'a> Gathering<'a> {
    fn object(&self, id: usize) -> Result<&'a Object, ReadError> {
        self.model.resources.object.iter().find(|o| o.id == id).ok_or_else(|| {
            malformed("in its model part", format!("object {id} is used but not there"))
        })
    }

    fn add(&mut self, id: usize, transform: &Transform, depth: u32) -> Result<(), ReadError> {
        if depth > DEEPEST {
            return Err(malformed(
                "in its model part",
                format!("object {id} is nested more than {DEEPEST} deep"),
            ));
        }
        // Objects without faces cost time too when they are used in one another over and over.
        self.uses += 1;
        if self.uses > MOST_USES {
            return Err(malformed(
                "in its model part",
                format!("objects are used more than {MOST_USES} times"),
            ));
        }
        let object = self.object(id)?;
        if let Some(mesh) = &object.mesh {
            let triangles = (self.collector.faces.len() + mesh.triangles.triangle.len()) as u64;
            let limit = self.collector.limits.max_triangles;
            // Asked before positions grow: an object may be used any number of times.
            if triangles > limit {
                return Err(ReadError::TooManyTriangles { triangles, limit });
            }
            let offset = self.positions.len();
            let count = mesh.vertices.vertex.len();
            if (offset + count) as u64 > 3 * limit {
                return Err(malformed(
                    "in its model part",
                    format!("it holds more than {} vertices", 3 * limit),
                ));
            }
            for v in &mesh.vertices.vertex {
                self.positions.push(Point::from(apply(transform, [v.x, v.y, v.z])));
            }
            let mirrored = mirrors(transform);
            for (face, t) in mesh.triangles.triangle.iter().enumerate() {
                let mut ring = [0u32; 3];
                for (slot, v) in ring.iter_mut().zip([t.v1, t.v2, t.v3]) {
                    if v >= count {
                        return Err(ReadError::BadIndex {
                            face: face as u64,
                            vertex: v as i64,
                            count: count as u64,
                        });
                    }
                    *slot = (offset + v) as u32;
                }
                if mirrored {
                    ring.swap(1, 2);
                }
                self.collector.push(&ring, &self.positions)?;
            }
        }
        if let Some(components) = &object.components {
            for part in &components.component {
                let own = part.transform.unwrap_or(SAME);
                self.add(part.objectid, &compose(&own, transform), depth + 1)?;
            }
        }
        Ok(())
    }
}
