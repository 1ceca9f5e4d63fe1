//! Reading mesh files: bytes to triangles in millimetres.

mod beside;
mod colour;
mod error;
mod faces;
mod format;
mod gltf;
mod mtl;
mod obj;
mod off;
mod ply;
mod soup;
mod stl;
mod texture;
mod threemf;
mod unit;

pub use self::beside::{Alone, Beside};
use self::colour::Colours;
pub use self::error::ReadError;
use self::faces::{BETWEEN_LOOKS, FaceCollector, check_corners};
pub use self::format::MeshFormat;
pub use self::unit::LengthUnit;
use super::paint::Paint;
use super::project::first_not_finite;
use super::{Point, TriangleMesh};
use crate::control::Cancel;

/// How much a file may hold. Checked before memory is set aside for it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ReadLimits {
    /// Bytes of the file, and of its unpacked content for packed formats. 2 GB by default.
    pub max_bytes: u64,
    /// Triangles, after polygons are divided. 5 million by default.
    pub max_triangles: u64,
    /// Corners of one polygon. 10,000 by default: a base as round as that is closed by a few times
    /// fewer, and dividing one takes a time that grows faster than its corners.
    pub max_corners: u64,
    /// A model whose longest side is shorter is taken for a mistake in the unit, mm. 5 by default.
    pub least_side: f64,
    /// A model whose longest side is longer is taken for a mistake in the unit, mm. 3000 by
    /// default.
    pub greatest_side: f64,
}

impl Default for ReadLimits {
    fn default() -> Self {
        Self {
            max_bytes: 2_000_000_000,
            max_triangles: 5_000_000,
            max_corners: 10_000,
            least_side: 5.0,
            greatest_side: 3000.0,
        }
    }
}

/// What a format's reader makes of a file, in the file's own unit.
struct Content {
    mesh: TriangleMesh,
    colours: Option<Colours>,
    /// What a person should know, a sentence each.
    remarks: Vec<String>,
}

impl Content {
    /// Nothing but a mesh.
    fn plain(mesh: TriangleMesh) -> Self {
        Self { mesh, colours: None, remarks: Vec::new() }
    }
}

/// A file that was read, in millimetres.
pub(super) struct ReadFile {
    pub mesh: TriangleMesh,
    /// Its colours, if it has more than one.
    pub paint: Option<Paint>,
    /// What a person should know about it, a sentence each.
    pub remarks: Vec<String>,
}

/// Words of a file in a length that can be shown.
fn shown(words: &str) -> String {
    const MOST: usize = 120;
    match words.char_indices().nth(MOST) {
        None => words.to_owned(),
        Some((end, _)) => format!("{}...", &words[..end]),
    }
}

/// Read a mesh file; positions come out in millimetres.
///
/// `unit` says what the file's numbers count. 3MF carries its own: there it may be left out, and must agree if given. glTF
/// has metres by its specification: there it may be left out too, and counts if given, since many programs write what they
/// have. Nothing is welded or repaired here, but STL, which has no shared vertices, gets one vertex for equal coordinates.
pub fn read(
    bytes: &[u8],
    format: MeshFormat,
    unit: Option<LengthUnit>,
    limits: &ReadLimits,
) -> Result<TriangleMesh, ReadError> {
    Ok(read_with(bytes, format, unit, limits, &Alone, &Cancel::new())?.mesh)
}

/// [`read`] with colours, and what stands beside the file, until someone cancels.
pub(super) fn read_with(
    bytes: &[u8],
    format: MeshFormat,
    unit: Option<LengthUnit>,
    limits: &ReadLimits,
    beside: &dyn Beside,
    cancel: &Cancel,
) -> Result<ReadFile, ReadError> {
    if bytes.len() as u64 > limits.max_bytes {
        return Err(ReadError::TooManyBytes { bytes: bytes.len() as u64, limit: limits.max_bytes });
    }
    if let Some(found) = MeshFormat::sniff(bytes).filter(|f| *f != format) {
        return Err(ReadError::OtherFormat { given: format, found });
    }
    let (content, unit) = match format {
        MeshFormat::ThreeMf => {
            let (mesh, unit) = threemf::read(bytes, unit, limits, cancel)?;
            (Content::plain(mesh), unit)
        }
        _ => {
            let unit = unit.or(format.own_unit()).ok_or(ReadError::UnitMissing { format })?;
            let content = match format {
                MeshFormat::Stl => Content::plain(stl::read(bytes, limits, cancel)?),
                MeshFormat::Obj => obj::read(bytes, limits, beside, cancel)?,
                MeshFormat::Ply => ply::read(bytes, limits, cancel)?,
                MeshFormat::Gltf => gltf::read(bytes, limits, cancel)?,
                _ => Content::plain(off::read(bytes, limits, cancel)?),
            };
            (content, unit)
        }
    };
    let Content { mut mesh, colours, mut remarks } = content;
    if mesh.faces.is_empty() {
        return Err(ReadError::Empty { format });
    }
    if let Some(vertex) = first_not_finite(&mesh.positions) {
        return Err(ReadError::NotFinite { vertex });
    }
    let scale = unit.millimetres();
    if scale != 1.0 {
        for p in &mut mesh.positions {
            *p = Point::from(p.coords * scale);
        }
    }
    let longest_side = mesh.longest_side();
    if !(limits.least_side..=limits.greatest_side).contains(&longest_side) {
        return Err(ReadError::ImplausibleSize {
            longest_side,
            unit,
            least: limits.least_side,
            greatest: limits.greatest_side,
        });
    }
    let paint = colours.and_then(|own| Paint::on(&mesh, &own.spots, &own.colours));
    let left = stl::bytes_after_the_end(bytes);
    if format == MeshFormat::Stl && left > 0 {
        remarks.push(format!(
            "the file goes on for {left} bytes after the last triangle that its header counts; they were not read: see whether all of the model is there"
        ));
    }
    Ok(ReadFile { mesh, paint, remarks })
}

#[cfg(test)]
mod coloured;
#[cfg(test)]
mod tests;
