//! Reading mesh files: bytes to triangles in millimetres.

mod beside;
mod colour;
mod gltf;
mod mtl;
mod obj;
mod off;
mod ply;
mod soup;
mod stl;
mod texture;
mod threemf;

use std::fmt;

pub use self::beside::{Alone, Beside};
use self::colour::Colours;
use super::paint::Paint;
use super::polygon;
use super::project::first_not_finite;
use super::{Point, TriangleMesh};
use crate::control::{Cancel, Cancelled};

/// A file format for meshes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum MeshFormat {
    /// Stereolithography, binary or ASCII.
    Stl,
    /// Wavefront OBJ.
    Obj,
    /// Polygon file format, ASCII or binary.
    Ply,
    /// Object file format, ASCII.
    Off,
    /// 3D Manufacturing Format.
    ThreeMf,
    /// glTF 2.0: GLB, or a document that holds its numbers itself.
    Gltf,
}

impl MeshFormat {
    /// Every format, for messages and tests.
    pub const ALL: [Self; 6] =
        [Self::Stl, Self::Obj, Self::Ply, Self::Off, Self::ThreeMf, Self::Gltf];

    /// The usual file name extension.
    pub fn extension(self) -> &'static str {
        match self {
            Self::Stl => "stl",
            Self::Obj => "obj",
            Self::Ply => "ply",
            Self::Off => "off",
            Self::ThreeMf => "3mf",
            Self::Gltf => "glb",
        }
    }

    /// The unit that files of the format have where nobody gives another: glTF's is the metre (section 3.4 of its
    /// specification). 3MF files say themselves.
    fn own_unit(self) -> Option<LengthUnit> {
        (self == Self::Gltf).then_some(LengthUnit::Metre)
    }

    /// Whether somebody has to say what the numbers count.
    pub fn needs_unit(self) -> bool {
        !matches!(self, Self::ThreeMf | Self::Gltf)
    }

    /// By the extension of a file name or path.
    pub fn from_file_name(name: &str) -> Result<Self, ReadError> {
        let extension = name.rsplit_once('.').map_or("", |(_, e)| e).to_ascii_lowercase();
        Self::ALL
            .into_iter()
            .find(|f| f.extension() == extension || (*f == Self::Gltf && extension == "gltf"))
            .ok_or_else(|| ReadError::UnknownFormat { name: name.to_owned() })
    }

    /// By the first bytes of the content, where they tell.
    pub fn sniff(bytes: &[u8]) -> Option<Self> {
        if bytes.starts_with(b"PK\x03\x04") {
            Some(Self::ThreeMf)
        } else if bytes.starts_with(b"glTF") {
            Some(Self::Gltf)
        } else if bytes.starts_with(b"ply\n") || bytes.starts_with(b"ply\r") {
            Some(Self::Ply)
        } else if [&b"OFF"[..], b"COFF", b"NOFF", b"CNOFF"].iter().any(|h| bytes.starts_with(h)) {
            Some(Self::Off)
        } else if stl::looks_like(bytes) {
            Some(Self::Stl)
        } else {
            None
        }
    }
}

impl fmt::Display for MeshFormat {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Stl => "STL",
            Self::Obj => "OBJ",
            Self::Ply => "PLY",
            Self::Off => "OFF",
            Self::ThreeMf => "3MF",
            Self::Gltf => "glTF",
        })
    }
}

/// What a file's numbers count.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum LengthUnit {
    /// 0.001 mm.
    Micron,
    /// 1 mm.
    Millimetre,
    /// 10 mm.
    Centimetre,
    /// 1000 mm.
    Metre,
    /// 25.4 mm.
    Inch,
    /// 304.8 mm.
    Foot,
}

impl LengthUnit {
    /// Every unit, smallest first.
    pub const ALL: [Self; 6] =
        [Self::Micron, Self::Millimetre, Self::Centimetre, Self::Inch, Self::Foot, Self::Metre];

    /// How many millimetres one unit is. The inch is 25.4 mm by definition (the international
    /// yard and pound agreement of 1959).
    pub fn millimetres(self) -> f64 {
        match self {
            Self::Micron => 0.001,
            Self::Millimetre => 1.0,
            Self::Centimetre => 10.0,
            Self::Metre => 1000.0,
            Self::Inch => 25.4,
            Self::Foot => 304.8,
        }
    }

    /// By its symbol or name: `mm`, `cm`, `m`, `in`, `ft`, `um`, or the word, in either spelling.
    pub fn from_name(name: &str) -> Result<Self, ReadError> {
        match name.trim().to_ascii_lowercase().as_str() {
            "um" | "micron" | "microns" | "micrometre" | "micrometer" => Ok(Self::Micron),
            "mm" | "millimetre" | "millimetres" | "millimeter" | "millimeters" => {
                Ok(Self::Millimetre)
            }
            "cm" | "centimetre" | "centimetres" | "centimeter" | "centimeters" => {
                Ok(Self::Centimetre)
            }
            "m" | "metre" | "metres" | "meter" | "meters" => Ok(Self::Metre),
            "in" | "inch" | "inches" => Ok(Self::Inch),
            "ft" | "foot" | "feet" => Ok(Self::Foot),
            _ => Err(ReadError::UnknownUnit { name: name.to_owned() }),
        }
    }
}

impl fmt::Display for LengthUnit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Micron => "microns",
            Self::Millimetre => "millimetres",
            Self::Centimetre => "centimetres",
            Self::Metre => "metres",
            Self::Inch => "inches",
            Self::Foot => "feet",
        })
    }
}

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

/// A file could not be read.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ReadError {
    /// The extension is none of the known ones.
    #[error(
        "file name `{name}` has no known mesh extension: use stl, obj, ply, off, 3mf, glb or gltf"
    )]
    UnknownFormat {
        /// Name as given.
        name: String,
    },
    /// No such unit.
    #[error("unit `{name}` is not known: use mm, cm, m, in, ft or um")]
    UnknownUnit {
        /// Name as given.
        name: String,
    },
    /// The content is of another format than said.
    #[error(
        "the file is given as {given} but its content looks like {found}: give the right format or file name"
    )]
    OtherFormat {
        /// Format as given.
        given: MeshFormat,
        /// Format by the content.
        found: MeshFormat,
    },
    /// Nobody said what the numbers count.
    #[error(
        "unit: {format} files do not carry a unit: say whether the numbers are mm, cm, m, in, ft or um"
    )]
    UnitMissing {
        /// Format of the file.
        format: MeshFormat,
    },
    /// The unit given is not the file's own.
    #[error(
        "unit: given as {given}, but the file says {file}: leave the unit out or correct one of them"
    )]
    UnitContradicts {
        /// Unit as given.
        given: LengthUnit,
        /// Unit in the file.
        file: LengthUnit,
    },
    /// The size makes no sense for a casting model.
    #[error("wrong units? {}", implausible(*.longest_side, *.unit, *.least, *.greatest))]
    ImplausibleSize {
        /// Longest side with the unit used, mm.
        longest_side: f64,
        /// Unit used.
        unit: LengthUnit,
        /// Least longest side accepted, mm.
        least: f64,
        /// Greatest longest side accepted, mm.
        greatest: f64,
    },
    /// Too many bytes.
    #[error(
        "the file holds {bytes} bytes (unpacked), more than the limit of {limit}: decimate the model first"
    )]
    TooManyBytes {
        /// Bytes found (at least).
        bytes: u64,
        /// The limit.
        limit: u64,
    },
    /// Too many triangles.
    #[error(
        "the file holds {triangles} triangles or more, the limit is {limit}: decimate the model first"
    )]
    TooManyTriangles {
        /// Triangles found (at least).
        triangles: u64,
        /// The limit.
        limit: u64,
    },
    /// A polygon with too many corners.
    #[error(
        "face {face} has {corners} corners, the limit for one face is {limit}: export the model as triangles"
    )]
    TooManyCorners {
        /// Index of the face.
        face: u64,
        /// Its corners.
        corners: u64,
        /// The limit.
        limit: u64,
    },
    /// Nobody waits for the mesh any more.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
    /// The file ends early.
    #[error(
        "the {format} file ends early: {expected} bytes are needed for what it says it holds, {found} are there; copy or export it again"
    )]
    Truncated {
        /// Format of the file.
        format: MeshFormat,
        /// Bytes needed.
        expected: u64,
        /// Bytes there.
        found: u64,
    },
    /// A count in the header cannot be true.
    #[error(
        "the {format} file says it holds {count} {what}, which cannot fit in its {bytes} bytes; export it again"
    )]
    CountsDoNotFit {
        /// Format of the file.
        format: MeshFormat,
        /// What is counted.
        what: String,
        /// The count.
        count: u64,
        /// Bytes there.
        bytes: u64,
    },
    /// Not valid for its format.
    #[error("the {format} file is not valid {place}: {reason}")]
    Malformed {
        /// Format of the file.
        format: MeshFormat,
        /// Where: `at line 12`, `in the header`.
        place: String,
        /// What is wrong.
        reason: String,
    },
    /// The file holds no triangle.
    #[error("the {format} file holds no faces: export the model as a surface mesh")]
    Empty {
        /// Format of the file.
        format: MeshFormat,
    },
    /// A coordinate is NaN or infinite.
    #[error(
        "vertex {vertex} has a coordinate that is not a finite number: repair the model where it was made"
    )]
    NotFinite {
        /// Index of the first such vertex.
        vertex: u32,
    },
    /// A face names a vertex that the file does not hold.
    #[error("face {face} names vertex {vertex}, but there are {count} vertices")]
    BadIndex {
        /// Index of the face.
        face: u64,
        /// Vertex index as found.
        vertex: i64,
        /// Number of vertices.
        count: u64,
    },
    /// A polygon cannot be divided into triangles.
    #[error(
        "face {face} with {corners} corners has fewer than three or crosses itself, so it cannot be divided into triangles"
    )]
    BadPolygon {
        /// Index of the face.
        face: u64,
        /// Number of corners.
        corners: usize,
    },
}

fn implausible(longest: f64, unit: LengthUnit, least: f64, greatest: f64) -> String {
    let raw = longest / unit.millimetres();
    let others: Vec<String> = LengthUnit::ALL
        .into_iter()
        .filter(|u| (least..=greatest).contains(&(raw * u.millimetres())))
        .map(|u| format!("{} mm if the file counts {u}", figure(raw * u.millimetres())))
        .collect();
    let advice = if others.is_empty() {
        "no usual unit gives a sensible size: scale the model".to_owned()
    } else {
        format!("it would be {}", others.join(", "))
    };
    format!(
        "Taken as {unit}, the longest side is {} mm; a model between {least} and {greatest} mm is expected; {advice}",
        figure(longest)
    )
}

/// Four significant figures, without a tail of noise.
fn figure(value: f64) -> String {
    if value == 0.0 || !value.is_finite() {
        return value.to_string();
    }
    let decimals = (3 - value.abs().log10().floor() as i32).clamp(0, 12) as usize;
    let text = format!("{value:.decimals$}");
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
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

/// How many polygons are collected between two looks at whether anybody still waits for them.
const BETWEEN_LOOKS: u64 = 1024;

/// Collects polygons as triangles, minding the limit.
struct FaceCollector<'a> {
    faces: Vec<[u32; 3]>,
    polygons: u64,
    limits: &'a ReadLimits,
    cancel: &'a Cancel,
}

fn check_corners(face: u64, corners: u64, limits: &ReadLimits) -> Result<(), ReadError> {
    let limit = limits.max_corners;
    if corners > limit {
        return Err(ReadError::TooManyCorners { face, corners, limit });
    }
    Ok(())
}

impl<'a> FaceCollector<'a> {
    fn new(limits: &'a ReadLimits, cancel: &'a Cancel) -> Self {
        Self { faces: Vec::new(), polygons: 0, limits, cancel }
    }

    fn push(&mut self, ring: &[u32], positions: &[Point]) -> Result<(), ReadError> {
        let face = self.polygons;
        self.polygons += 1;
        if face.is_multiple_of(BETWEEN_LOOKS) || ring.len() > 100 {
            self.cancel.check()?;
        }
        check_corners(face, ring.len() as u64, self.limits)?;
        if let Some(&bad) = ring.iter().find(|v| **v as usize >= positions.len()) {
            return Err(ReadError::BadIndex {
                face,
                vertex: i64::from(bad),
                count: positions.len() as u64,
            });
        }
        // Polygons of other than finite points cannot be triangulated; say so by the vertex.
        if ring.len() > 3
            && let Some(&vertex) =
                ring.iter().find(|v| positions[**v as usize].iter().any(|x| !x.is_finite()))
        {
            return Err(ReadError::NotFinite { vertex });
        }
        let triangles = self.faces.len() as u64 + ring.len().saturating_sub(2) as u64;
        if triangles > self.limits.max_triangles {
            return Err(ReadError::TooManyTriangles {
                triangles,
                limit: self.limits.max_triangles,
            });
        }
        match *ring {
            [a, b, c] => self.faces.push([a, b, c]),
            _ => self.faces.extend(
                polygon::triangulate_ring(ring, positions)
                    .ok_or(ReadError::BadPolygon { face, corners: ring.len() })?,
            ),
        }
        Ok(())
    }
}

#[cfg(test)]
mod coloured;
#[cfg(test)]
mod tests;
