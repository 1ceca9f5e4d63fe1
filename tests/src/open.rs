//! Open meshes of real shapes, from Debian's package libcgal-demo. They are looked for in the folder
//! that SLITWRIGHT_MESHES names, or in tests/meshes, which tests/fetch-meshes.sh fills.

use std::path::{Path, PathBuf};

use slitwright_solver::mesh::{LengthUnit, MeshFormat, ReadLimits, TriangleMesh, read};

/// An open mesh by name, as it is in its file; its unit means nothing.
pub fn open_mesh(name: &str) -> Result<TriangleMesh, String> {
    let folder = std::env::var_os("SLITWRIGHT_MESHES")
        .map_or_else(|| Path::new(env!("CARGO_MANIFEST_DIR")).join("meshes"), PathBuf::from);
    let path = folder.join(format!("{name}.off"));
    let bytes = std::fs::read(&path)
        .map_err(|e| format!("{}: {e}; tests/fetch-meshes.sh fetches it", path.display()))?;
    // Any size is let through.
    let limits =
        ReadLimits { least_side: 0.0, greatest_side: f64::INFINITY, ..ReadLimits::default() };
    read(&bytes, MeshFormat::Off, Some(LengthUnit::Millimetre), &limits)
        .map_err(|e| format!("{name}: {e}"))
}

/// The same with its longest side made `side` mm long.
pub fn open_mesh_sized(name: &str, side: f64) -> Result<TriangleMesh, String> {
    let mut mesh = open_mesh(name)?;
    let scale = side / mesh.longest_side();
    for p in &mut mesh.positions {
        *p *= scale;
    }
    Ok(mesh)
}

/// A mesh turned outside out if it is inside out.
pub fn outside_out(mut mesh: TriangleMesh) -> TriangleMesh {
    if mesh.signed_volume() < 0.0 {
        for face in &mut mesh.faces {
            face.swap(1, 2);
        }
    }
    mesh
}
