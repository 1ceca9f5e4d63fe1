//! OFF, the object file format in ASCII. Colours and normals after the coordinates are passed
//! over.

use super::{FaceCollector, MeshFormat, Point, ReadError, ReadLimits, TriangleMesh};
use crate::control::Cancel;

fn malformed(line: usize, reason: impl Into<String>) -> ReadError {
    ReadError::Malformed {
        format: MeshFormat::Off,
        place: format!("at line {line}"),
        reason: reason.into(),
    }
}

pub(super) fn read(
    bytes: &[u8],
    limits: &ReadLimits,
    cancel: &Cancel,
) -> Result<TriangleMesh, ReadError> {
    let text = std::str::from_utf8(bytes)
        .map_err(|e| malformed(0, format!("not text from byte {} on", e.valid_up_to())))?;
    // Lines with something on them, numbered as an editor does.
    let mut lines = text.lines().enumerate().filter_map(|(k, line)| {
        let line = line.split('#').next().unwrap_or("").trim();
        (!line.is_empty()).then_some((k + 1, line))
    });
    let end = || malformed(text.lines().count(), "the file ends here, but more should follow");
    let (at, first) = lines.next().ok_or(ReadError::Empty { format: MeshFormat::Off })?;
    let mut words = first.split_whitespace();
    let header = words.next().unwrap_or("");
    if !matches!(header, "OFF" | "COFF" | "NOFF" | "CNOFF") {
        return Err(malformed(at, format!("starts with `{header}` and not with OFF")));
    }
    let rest: Vec<&str> = words.collect();
    if rest.contains(&"BINARY") {
        return Err(malformed(at, "binary OFF is not read: save it as ASCII"));
    }
    let (at, counts) = if rest.is_empty() {
        let (at, line) = lines.next().ok_or_else(end)?;
        (at, line.split_whitespace().collect())
    } else {
        (at, rest)
    };
    let count = |k: usize, what: &str| -> Result<u64, ReadError> {
        counts.get(k).and_then(|w| w.parse().ok()).ok_or_else(|| {
            malformed(at, format!("the number of {what} is missing or not a number"))
        })
    };
    let (vertices, polygons) = (count(0, "vertices")?, count(1, "faces")?);
    let size = bytes.len() as u64;
    // The shortest vertex is `0 0 0` and the shortest face `3 0 1 2`, each with a line end.
    for (what, count, least) in [("vertices", vertices, 6), ("faces", polygons, 8)] {
        if count.saturating_mul(least) > size + 1 {
            return Err(ReadError::CountsDoNotFit {
                format: MeshFormat::Off,
                what: what.to_owned(),
                count,
                bytes: size,
            });
        }
    }
    if polygons > limits.max_triangles {
        return Err(ReadError::TooManyTriangles {
            triangles: polygons,
            limit: limits.max_triangles,
        });
    }
    let mut positions = Vec::with_capacity(vertices as usize);
    for _ in 0..vertices {
        let (at, line) = lines.next().ok_or_else(end)?;
        let mut point = Point::origin();
        let mut words = line.split_whitespace();
        for x in point.iter_mut() {
            let word = words.next().ok_or_else(|| malformed(at, "a vertex needs three numbers"))?;
            *x = word.parse().map_err(|_| malformed(at, format!("`{word}` is not a number")))?;
        }
        positions.push(point);
    }
    let mut collector = FaceCollector::new(limits, cancel);
    let mut ring = Vec::new();
    for _ in 0..polygons {
        let (at, line) = lines.next().ok_or_else(end)?;
        let mut words = line.split_whitespace();
        let corners: usize = words
            .next()
            .and_then(|w| w.parse().ok())
            .ok_or_else(|| malformed(at, "a face starts with the number of its corners"))?;
        ring.clear();
        // Words run out long before a hostile number of corners does.
        for k in 0..corners {
            let word = words.next().ok_or_else(|| {
                malformed(at, format!("the face has {k} corners where it says {corners}"))
            })?;
            let vertex: u32 = word
                .parse()
                .map_err(|_| malformed(at, format!("`{word}` is not a vertex index")))?;
            ring.push(vertex);
        }
        collector.push(&ring, &positions)?;
    }
    Ok(TriangleMesh { positions, faces: collector.faces })
}
