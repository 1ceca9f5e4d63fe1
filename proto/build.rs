//! Compiles the protocol files in pure Rust: messages and service by tonic, canonical JSON by
//! pbjson, and the descriptor set that the reflection service answers from.

use std::error::Error;
use std::path::PathBuf;

use prost::Message;

const FILES: [&str; 10] = [
    "slitwright/v1/geometry.proto",
    "slitwright/v1/model.proto",
    "slitwright/v1/plan.proto",
    "slitwright/v1/plan_file.proto",
    "slitwright/v1/plan_request.proto",
    "slitwright/v1/progress.proto",
    "slitwright/v1/scheme.proto",
    "slitwright/v1/service.proto",
    "slitwright/v1/sheet.proto",
    "slitwright/v1/trial.proto",
];

fn main() -> Result<(), Box<dyn Error>> {
    for file in FILES {
        println!("cargo:rerun-if-changed={file}");
    }
    let out = PathBuf::from(std::env::var("OUT_DIR")?);
    let files = protox::compile(FILES, ["."])?;
    let descriptors = files.encode_to_vec();
    std::fs::write(out.join("descriptors.bin"), &descriptors)?;

    tonic_prost_build::configure()
        .compile_well_known_types(true)
        .extern_path(".google.protobuf", "::pbjson_types")
        // Which pbjson-types lacks.
        .extern_path(".google.protobuf.FieldMask", "::prost_types::FieldMask")
        .emit_rerun_if_changed(false)
        .compile_fds(files)?;
    pbjson_build::Builder::new()
        .register_descriptors(&descriptors)?
        .extern_path(".google.protobuf", "::pbjson_types")
        // These hold a field mask, for which there is no JSON, and no file is made of them.
        .exclude([
            ".slitwright.v1.GetPlanRequest",
            ".slitwright.v1.ListPlansRequest",
            ".slitwright.v1.UpdatePlanRequest",
        ])
        .build(&[".slitwright"])?;
    Ok(())
}
