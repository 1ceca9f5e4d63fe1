//! PLY, ASCII and binary, by the crate ply-rs-bw. Positions, faces and colours of vertices are kept; how opaque these are
//! is passed over.

use std::io::Cursor;

use ply_rs_bw::parser::{ParseError, Parser, Reader};
use ply_rs_bw::ply::{
    ElementDef, Encoding, Header, Property, PropertyAccess, PropertyAccessResult, PropertyType,
    ScalarType,
};

use super::colour::{Colours, byte};
use super::{Content, FaceCollector, MeshFormat, Point, ReadError, ReadLimits, TriangleMesh};
use crate::control::Cancel;

/// A vertex: its coordinates and its colour, as far as they were there.
struct Vertex {
    place: [Option<f64>; 3],
    colour: [Option<u8>; 3],
}

/// A colour's part: bytes as they are; numbers with a point are shares of the full colour (common practice, no source).
fn colour_part(property: &Property) -> Option<u8> {
    let whole = |x: i64| x.clamp(0, 255) as u8;
    match *property {
        Property::UChar(x) => Some(x),
        Property::Char(x) => Some(whole(x.into())),
        Property::Short(x) => Some(whole(x.into())),
        Property::Int(x) => Some(whole(x.into())),
        Property::UInt(x) => Some(whole(x.into())),
        // All of its range.
        Property::UShort(x) => Some((x / 257) as u8),
        Property::Float(x) if x.is_finite() => Some(byte(x)),
        Property::Double(x) if x.is_finite() => Some(byte(x as f32)),
        _ => None,
    }
}

impl PropertyAccess for Vertex {
    fn new() -> Self {
        Self { place: [None; 3], colour: [None; 3] }
    }
    fn set_property(&mut self, name: &str, property: Property) -> PropertyAccessResult {
        let slot = match name {
            "x" => 0,
            "y" => 1,
            "z" => 2,
            "red" | "green" | "blue" => {
                let slot = usize::from(name != "red") + usize::from(name == "blue");
                self.colour[slot] = colour_part(&property);
                return PropertyAccessResult::Set;
            }
            _ => return PropertyAccessResult::Ignored,
        };
        self.place[slot] = match property {
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

/// Elements that are taken from the reader at a time.
const AT_ONCE: usize = 50_000;

/// Hands out each element of a kind, and looks now and then whether anybody still waits.
fn each<E: PropertyAccess>(
    reader: &mut Reader<Cursor<&[u8]>>,
    element: &ElementDef,
    header: &Header,
    cancel: &Cancel,
    mut take: impl FnMut(E) -> Result<(), ReadError>,
) -> Result<(), ReadError> {
    let mut some = element.clone();
    let mut left = element.count;
    while left > 0 {
        cancel.check()?;
        some.count = left.min(AT_ONCE);
        left -= some.count;
        let own = Parser::<E>::new().read_payload_for_element(reader, &some, header);
        own.map_err(malformed)?.into_iter().try_for_each(&mut take)?;
    }
    Ok(())
}

pub(super) fn read(
    bytes: &[u8],
    limits: &ReadLimits,
    cancel: &Cancel,
) -> Result<Content, ReadError> {
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
    let mut positions: Vec<Point> = Vec::new();
    let mut colours = Vec::new();
    // The first vertex whose colour is not there.
    let mut uncoloured = None;
    // The corners of all polygons, and where each ends: faces may come before the vertices.
    let (mut corners, mut ends) = (Vec::new(), Vec::new());
    for element in header.elements.values() {
        match element.name.as_str() {
            "vertex" => {
                let parts = ["red", "green", "blue"];
                let coloured = parts.iter().all(|part| element.properties.contains_key(*part));
                each(&mut reader, element, &header, cancel, |vertex: Vertex| {
                    if coloured {
                        if vertex.colour.contains(&None) {
                            uncoloured.get_or_insert(positions.len());
                        }
                        colours.push(vertex.colour.map(Option::unwrap_or_default));
                    }
                    let [Some(x), Some(y), Some(z)] = vertex.place else {
                        return Err(ReadError::Malformed {
                            format: MeshFormat::Ply,
                            place: "in the header".to_owned(),
                            reason: "element `vertex` needs the properties x, y and z".to_owned(),
                        });
                    };
                    positions.push(Point::new(x, y, z));
                    Ok(())
                })?;
            }
            "face" => {
                each(&mut reader, element, &header, cancel, |Face(own)| {
                    corners.extend_from_slice(&own);
                    ends.push(corners.len());
                    Ok(())
                })?;
            }
            _ => {
                each(&mut reader, element, &header, cancel, |Other| Ok(()))?;
            }
        }
    }
    let mut collector = FaceCollector::new(limits, cancel);
    let mut ring = Vec::new();
    let mut first = 0;
    for (face, &end) in ends.iter().enumerate() {
        ring.clear();
        for &vertex in &corners[std::mem::replace(&mut first, end)..end] {
            ring.push(u32::try_from(vertex).map_err(|_| ReadError::BadIndex {
                face: face as u64,
                vertex,
                count: positions.len() as u64,
            })?);
        }
        collector.push(&ring, &positions)?;
    }
    let mesh = TriangleMesh { positions, faces: collector.faces };
    if let Some(vertex) = uncoloured {
        let words = format!(
            "the colours of the PLY file were left out: that of vertex {vertex} is not a number"
        );
        return Ok(Content { remarks: vec![words], ..Content::plain(mesh) });
    }
    let colours = (!colours.is_empty()).then(|| Colours::of_vertices(&mesh, &colours));
    Ok(Content { colours, ..Content::plain(mesh) })
}
