//! glTF 2.0 of the Khronos Group, as GLB (section 4.4 of the specification) and as a document whose buffers are data URIs.
//!
//! The document is read by the crate gltf-json. Its checks are not used, since they panic on a primitive whose accessor
//! does not exist, and neither are the accessors of the crate gltf, which panic on sparse ones that are cut short: every
//! index and size is looked at here.

mod colour;
mod numbers;
mod scene;

use std::borrow::Cow;

use base64::Engine as _;
use base64::alphabet::STANDARD;
use base64::engine::{DecodePaddingMode, GeneralPurpose, GeneralPurposeConfig};
use gltf_json::Root;

use super::{Content, MeshFormat, ReadError, ReadLimits, shown};
use crate::control::Cancel;

/// Objects, lists and commas of a document, at most. Each can cost some hundred bytes of memory, with two in the file.
const MOST_ENTRIES: usize = 1_000_000;
/// Extensions that may be required: they are read here, or change nothing that is.
const KNOWN: [&str; 5] = [
    "KHR_mesh_quantization",
    "KHR_texture_transform",
    "KHR_lights_punctual",
    "KHR_texture_basisu",
    "EXT_texture_webp",
];

fn malformed(place: impl Into<String>, reason: impl Into<String>) -> ReadError {
    ReadError::Malformed { format: MeshFormat::Gltf, place: place.into(), reason: reason.into() }
}

/// Reads a file. Positions come out in its unit with z up: the specification has y up (section 3.4).
pub(super) fn read(
    bytes: &[u8],
    limits: &ReadLimits,
    cancel: &Cancel,
) -> Result<Content, ReadError> {
    let (document, chunk) = split(bytes)?;
    check_size(document)?;
    let root = Root::from_slice(document)
        .map_err(|fault| malformed("in its document", shown(&fault.to_string())))?;
    if !root.asset.version.starts_with("2.") {
        let reason = format!("it has version {}, 2.0 is read", shown(&root.asset.version));
        return Err(malformed("in its document", reason));
    }
    check_extensions(&root)?;
    cancel.check()?;
    let file = File { buffers: buffers(&root, chunk), root: &root };
    let gathered = scene::gather(&file, limits, cancel)?;
    cancel.check()?;
    Ok(gathered.finish(&file))
}

/// A document with its numbers.
struct File<'a> {
    root: &'a Root,
    /// Or why they are not there.
    buffers: Vec<Result<Cow<'a, [u8]>, String>>,
}

/// Document and binary chunk.
fn split(bytes: &[u8]) -> Result<(&[u8], Option<&[u8]>), ReadError> {
    if !bytes.starts_with(b"glTF") {
        return Ok((bytes, None));
    }
    let number = |at: usize| {
        let own = bytes.get(at..at + 4).and_then(|b| <[u8; 4]>::try_from(b).ok());
        own.map(|b| u64::from(u32::from_le_bytes(b)))
    };
    let found = bytes.len() as u64;
    let truncated =
        |expected: u64| ReadError::Truncated { format: MeshFormat::Gltf, expected, found };
    let (Some(version), Some(length)) = (number(4), number(8)) else {
        return Err(truncated(12));
    };
    if version != 2 {
        return Err(malformed("in the header", format!("it has version {version}, 2 is read")));
    }
    if length > found {
        return Err(truncated(length));
    }
    let (mut document, mut chunk) = (None, None);
    let mut at = 12;
    // Chunks of other kinds are passed over (section 4.4.3).
    while at < length && (document.is_none() || chunk.is_none()) {
        let size = number(at as usize).ok_or_else(|| truncated(at + 8))?;
        let end = at + 8 + size;
        let own = bytes
            .get(at as usize + 8..end as usize)
            .filter(|_| end <= length)
            .ok_or_else(|| truncated(end))?;
        match &bytes[at as usize + 4..at as usize + 8] {
            b"JSON" if document.is_none() => document = Some(own),
            b"BIN\0" if chunk.is_none() => chunk = Some(own),
            _ => {}
        }
        at = end.next_multiple_of(4);
    }
    let document = document.ok_or_else(|| malformed("in the header", "it has no document"))?;
    Ok((document, chunk))
}

/// Refuses a document that would take much more memory than its bytes.
fn check_size(document: &[u8]) -> Result<(), ReadError> {
    let entries = document.iter().filter(|b| matches!(b, b'{' | b'[' | b',')).count();
    if entries > MOST_ENTRIES {
        let reason = format!("it has {entries} entries, more than {MOST_ENTRIES}");
        return Err(malformed("in its document", reason));
    }
    Ok(())
}

/// Refuses what cannot be read without an extension that is not read here.
fn check_extensions(root: &Root) -> Result<(), ReadError> {
    let unknown = root.extensions_required.iter().find(|name| {
        // Materials have colours beside the plain one; those are left out.
        !KNOWN.contains(&name.as_str()) && !name.starts_with("KHR_materials_")
    });
    let Some(name) = unknown else { return Ok(()) };
    let reason = match name.as_str() {
        "KHR_draco_mesh_compression" | "EXT_meshopt_compression" | "KHR_meshopt_compression" => {
            format!(
                "its meshes are compressed ({name}), which is not read: export it without compression"
            )
        }
        _ => {
            format!("it needs the extension {}, which is not read: export it without", shown(name))
        }
    };
    Err(malformed("in its document", reason))
}

fn buffers<'a>(root: &Root, chunk: Option<&'a [u8]>) -> Vec<Result<Cow<'a, [u8]>, String>> {
    let own = |(index, buffer): (usize, &gltf_json::Buffer)| {
        let bytes = match &buffer.uri {
            Some(uri) => Cow::Owned(data_uri(uri)?),
            None if index == 0 => Cow::Borrowed(chunk.ok_or("the file has no binary chunk")?),
            None => return Err("it has no place in the file".to_owned()),
        };
        let claimed = buffer.byte_length.0;
        if claimed > bytes.len() as u64 {
            return Err(format!("it says {claimed} bytes, and {} are there", bytes.len()));
        }
        Ok(bytes)
    };
    root.buffers.iter().enumerate().map(own).collect()
}

/// The bytes of a data URI (RFC 2397). Another file is never looked for.
fn data_uri(uri: &str) -> Result<Vec<u8>, String> {
    let outside = || {
        let words = "it is in another file";
        format!("{words} ({}): export the model as one file, GLB", shown(uri))
    };
    let rest = uri.strip_prefix("data:").ok_or_else(outside)?;
    let (kind, data) = rest.split_once(',').ok_or("its data URI has no data")?;
    if !kind.ends_with(";base64") {
        return Err("its data URI is not in base64".to_owned());
    }
    let config =
        GeneralPurposeConfig::new().with_decode_padding_mode(DecodePaddingMode::Indifferent);
    GeneralPurpose::new(&STANDARD, config)
        .decode(data)
        .map_err(|fault| format!("its data URI is broken: {fault}"))
}

#[cfg(test)]
mod tests;
