//! STL, binary and ASCII, by the crate stl_io.

use std::io::Cursor;

use super::soup::Soup;
use super::{BETWEEN_LOOKS, MeshFormat, ReadError, ReadLimits, TriangleMesh};
use crate::control::Cancel;

const HEADER: usize = 84;
const RECORD: usize = 50;

/// Length in bytes that the header of a binary file asks for.
fn binary_length(bytes: &[u8]) -> Option<u64> {
    let count = bytes.get(80..HEADER)?;
    let count = u32::from_le_bytes(count.try_into().ok()?);
    Some(HEADER as u64 + RECORD as u64 * u64::from(count))
}

fn starts_solid(bytes: &[u8]) -> bool {
    bytes.trim_ascii_start().get(..5).is_some_and(|w| w.eq_ignore_ascii_case(b"solid"))
}

/// Some binary files start with the word `solid` too, so an ASCII file also has to be text.
fn is_ascii(bytes: &[u8]) -> bool {
    starts_solid(bytes)
        && binary_length(bytes) != Some(bytes.len() as u64)
        && !bytes.iter().take(1024).any(|b| *b == 0)
}

pub(super) fn looks_like(bytes: &[u8]) -> bool {
    is_ascii(bytes) || binary_length(bytes) == Some(bytes.len() as u64)
}

/// Bytes of a binary file beyond the triangles that its header counts.
pub(super) fn bytes_after_the_end(bytes: &[u8]) -> u64 {
    if is_ascii(bytes) {
        return 0;
    }
    let counted = binary_length(bytes).unwrap_or_default();
    (bytes.len() as u64).saturating_sub(counted)
}

pub(super) fn read(
    bytes: &[u8],
    limits: &ReadLimits,
    cancel: &Cancel,
) -> Result<TriangleMesh, ReadError> {
    let mut soup = Soup::default();
    if is_ascii(bytes) {
        for solid in solids(bytes) {
            read_part(&solid, limits, cancel, &mut soup)?;
        }
    } else {
        let found = bytes.len() as u64;
        let expected = binary_length(bytes).ok_or(ReadError::Truncated {
            format: MeshFormat::Stl,
            expected: HEADER as u64,
            found,
        })?;
        if found < expected {
            return Err(ReadError::Truncated { format: MeshFormat::Stl, expected, found });
        }
        // The reader takes whatever starts with `solid ` for text.
        if bytes.starts_with(b"solid ") {
            let mut copy = bytes.to_vec();
            copy[..5].fill(b' ');
            read_part(&copy, limits, cancel, &mut soup)?;
        } else {
            read_part(bytes, limits, cancel, &mut soup)?;
        }
    }
    Ok(soup.into_mesh())
}

/// The solids of an ASCII file, each with a header line that the reader accepts: the name may be
/// left out in the file, and several solids may follow one another.
fn solids(bytes: &[u8]) -> Vec<Vec<u8>> {
    let mut parts: Vec<Vec<u8>> = Vec::new();
    for line in bytes.split_inclusive(|b| *b == b'\n') {
        let line = line.to_ascii_lowercase();
        if starts_solid(&line) {
            parts.push(b"solid part\n".to_vec());
        } else if let Some(part) = parts.last_mut() {
            part.extend_from_slice(&line);
        }
    }
    parts
}

fn read_part(
    bytes: &[u8],
    limits: &ReadLimits,
    cancel: &Cancel,
    soup: &mut Soup,
) -> Result<(), ReadError> {
    let mut cursor = Cursor::new(bytes);
    let malformed = |facet: usize, error: std::io::Error| ReadError::Malformed {
        format: MeshFormat::Stl,
        place: format!("at facet {facet}"),
        reason: error.to_string(),
    };
    let reader = stl_io::create_stl_reader(&mut cursor).map_err(|e| malformed(0, e))?;
    for triangle in reader {
        let triangle = triangle.map_err(|e| malformed(soup.triangles(), e))?;
        if (soup.triangles() as u64).is_multiple_of(BETWEEN_LOOKS) {
            cancel.check()?;
        }
        if soup.triangles() as u64 >= limits.max_triangles {
            return Err(ReadError::TooManyTriangles {
                triangles: soup.triangles() as u64 + 1,
                limit: limits.max_triangles,
            });
        }
        soup.push(triangle.vertices.map(|v| v.0));
    }
    Ok(())
}
