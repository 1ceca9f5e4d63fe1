//! Why a file could not be read, in words.

use super::{LengthUnit, MeshFormat};
use crate::control::Cancelled;

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
