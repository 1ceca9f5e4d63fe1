//! Any bytes as the model part of a 3MF file. A package carries a checksum of its parts, so a part
//! changed within its package is refused before anything reads it.
#![no_main]

use std::io::{Cursor, Write as _};

use slitwright_solver::mesh::MeshFormat;
use zip::{CompressionMethod, ZipWriter, result::ZipError, write::SimpleFileOptions};

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    let packed = package(bytes).expect("memory takes what is written to it");
    slitwright_fuzz::mesh(&packed, MeshFormat::ThreeMf);
});

fn package(model: &[u8]) -> Result<Vec<u8>, ZipError> {
    let mut writer = ZipWriter::new(Cursor::new(Vec::new()));
    let options = SimpleFileOptions::default().compression_method(CompressionMethod::Stored);
    writer.start_file("3D/3dmodel.model", options)?;
    writer.write_all(model)?;
    Ok(writer.finish()?.into_inner())
}
