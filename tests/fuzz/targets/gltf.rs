//! Any bytes, read as this format.
#![no_main]

use slitwright_solver::mesh::MeshFormat;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| slitwright_fuzz::mesh(bytes, MeshFormat::Gltf));
