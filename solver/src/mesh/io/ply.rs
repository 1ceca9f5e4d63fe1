//! PLY, ASCII and binary, by the crate ply-rs-bw. Only positions and faces are kept.

use std::io::Cursor;

use ply_rs_bw::parser::{ParseError, Parser, Reader};
use ply_rs_bw::ply::{
    ElementDef, Encoding, Property, PropertyAccess, PropertyAccessResult, PropertyType, ScalarType,
};

use super::{FaceCollector, MeshFormat, Point, ReadError, ReadLimits, TriangleMesh};
use crate::control::Cancel;

/// A vertex: its coordinates, as far as they were there.
struct Vertex([Option<f64>; 3]);

impl PropertyAccess for Vertex {
    fn new() -> Self {
        Self([None; 3])
    }
    fn set_property(&mut self, name: &str, property: Property) -> PropertyAccessResult {
        let slot = match name {
            "x" => 0,
            "y" => 1,
            "z" => 2,
            _ => return PropertyAccessResult::Ignored,
        };
        self.0[slot] = match property {
            Property::Char(x) => Some(f64::from(x)),
            Property::UChar(x) => Some(f64::from(x)),
            Property::Short(x) => Some(f64::from(x)),
            Property::UShort(x) => Some(f64::from(x)),
            Property::Int(x) => Some(f64::from(x)),
            Property::UInt(x) => Some(f64::from(x)),
            Property::Float(x) => Some(f64::from(x)),
            Property::Double(x) => Some(x),
            _ => return PropertyAccessResult::UnsupportedType,
        };
        PropertyAccessResult::Set
    }
}

/// A polygon's vertex indices as they stand in the file.
struct Face(Vec<i64>);

impl PropertyAccess for Face {
    fn new() -> Self {
        Self(Vec::new())
    }
    fn set_property(&mut self, name: &str, property: Property) -> PropertyAccessResult {
        if !matches!(name, "vertex_indices" | "vertex_index") {
            return PropertyAccessResult::Ignored;
        }
        fn wide<T: Into<i64>>(list: Vec<T>) -> Vec<i64> {
            list.into_iter().map(Into::into).collect()
        }
        self.0 = match property {
            Property::ListChar(list) => wide(list),
            Property::ListUChar(list) => wide(list),
            Property::ListShort(list) => wide(list),
            Property::ListUShort(list) => wide(list),
            Property::ListInt(list) => wide(list),
            Property::ListUInt(list) => wide(list),
            _ => return PropertyAccessResult::UnsupportedType,
        };
        PropertyAccessResult::Set
    }
}

/// Anything else the file may hold.
struct Other;

impl PropertyAccess for Other {
    fn new() -> Self {
        Self
    }
}

fn malformed(error: ParseError) -> ReadError {
    ReadError::Malformed {
        format: MeshFormat::Ply,
        place: error.line().map_or("in its data".to_owned(), |line| format!("at line {line}")),
        reason: error.to_string(),
    }
}

fn scalar_bytes(scalar: &ScalarType) -> u64 {
    match scalar {
        ScalarType::Char | ScalarType::UChar => 1,
        ScalarType::Short | ScalarType::UShort => 2,
        ScalarType::Int | ScalarType::UInt | ScalarType::Float => 4,
        ScalarType::Double => 8,
    }
}

/// The fewest bytes that one element of a kind can take.
fn least_bytes(element: &ElementDef, encoding: &Encoding) -> u64 {
    element
        .properties
        .values()
        .map(|property| match (encoding, &property.data_type) {
            // A digit and a space or line end.
            (Encoding::Ascii, _) => 2,
            (_, PropertyType::Scalar(scalar)) => scalar_bytes(scalar),
            (_, PropertyType::List(count, _)) => scalar_bytes(count),
        })
        .sum::<u64>()
        .max(1)
}

pub(super) fn read(
    bytes: &[u8],
    limits: &ReadLimits,
    cancel: &Cancel,
) -> Result<TriangleMesh, ReadError> {
    let mut reader = Reader::new(Cursor::new(bytes));
    let header = Parser::<Other>::new().read_header(&mut reader).map_err(malformed)?;
    let size = bytes.len() as u64;
    for element in header.elements.values() {
        let count = element.count as u64;
        // One byte of grace: the last line may lack its end.
        if count.saturating_mul(least_bytes(element, &header.encoding)) > size + 1 {
            return Err(ReadError::CountsDoNotFit {
                format: MeshFormat::Ply,
                what: format!("elements `{}`", element.name),
                count,
                bytes: size,
            });
        }
        if element.name == "face" && count > limits.max_triangles {
            return Err(ReadError::TooManyTriangles {
                triangles: count,
                limit: limits.max_triangles,
            });
        }
    }
    let mut positions = Vec::new();
    let mut polygons = Vec::new();
    for element in header.elements.values() {
        match element.name.as_str() {
            "vertex" => {
                let vertices = Parser::<Vertex>::new()
                    .read_payload_for_element(&mut reader, element, &header)
                    .map_err(malformed)?;
                positions.reserve_exact(vertices.len());
                for vertex in vertices {
                    let [Some(x), Some(y), Some(z)] = vertex.0 else {
                        return Err(ReadError::Malformed {
                            format: MeshFormat::Ply,
                            place: "in the header".to_owned(),
                            reason: "element `vertex` needs the properties x, y and z".to_owned(),
                        });
                    };
                    positions.push(Point::new(x, y, z));
                }
            }
            "face" => {
                polygons = Parser::<Face>::new()
                    .read_payload_for_element(&mut reader, element, &header)
                    .map_err(malformed)?;
            }
            _ => {
                Parser::<Other>::new()
                    .read_payload_for_element(&mut reader, element, &header)
                    .map_err(malformed)?;
            }
        }
    }
    let mut collector = FaceCollector::new(limits, cancel);
    let mut ring = Vec::new();
    for (face, polygon) in polygons.iter().enumerate() {
        ring.clear();
        for &vertex in &polygon.0 {
            ring.push(u32::try_from(vertex).map_err(|_| ReadError::BadIndex {
                face: face as u64,
                vertex,
                count: positions.len() as u64,
            })?);
        }
        collector.push(&ring, &positions)?;
    }
    Ok(TriangleMesh { positions, faces: collector.faces })
}
