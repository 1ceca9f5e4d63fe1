//! Formats of mesh files, and how they are known.

use std::fmt;

use super::{LengthUnit, ReadError, stl};

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
    pub(super) fn own_unit(self) -> Option<LengthUnit> {
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
