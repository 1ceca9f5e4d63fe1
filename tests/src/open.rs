//! Open meshes of real shapes, from Debian's package libcgal-demo. They are looked for in the folder
//! that SLITWRIGHT_MESHES names, or in tests/meshes, which tests/fetch-meshes.sh fills.

use std::path::{Path, PathBuf};

use slitwright_solver::body::GateChoice;
use slitwright_solver::mesh::{
    LengthUnit, MeshFormat, Point, ReadLimits, TriangleMesh, Vector, read,
};

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

/// Height of the gate above the lowest point of a mesh that stands on no flat face, mm.
const FEET: f64 = 8.0;
/// The same for one whose base is uneven, mm.
const UNEVEN: f64 = 3.0;

/// An open mesh of about 150 mm that stands sunk in clay: what lies below [`open_gate`]'s plane is flat. A mould maker who has no
/// flat base makes one so (common practice, no source).
pub fn sunk(name: &str, mut mesh: TriangleMesh) -> TriangleMesh {
    let plane = plane_of(name, &mesh);
    mesh.positions.iter_mut().for_each(|p| p.y = p.y.max(plane));
    mesh
}

fn plane_of(name: &str, mesh: &TriangleMesh) -> f64 {
    let above = if name == "bunny00" { UNEVEN } else { FEET };
    mesh.positions.iter().map(|p| p.y).fold(f64::INFINITY, f64::min) + above
}

/// The gate of an open mesh of about 150 mm. All stand with y upwards: bunny00 on an uneven base, the
/// others on round tips (the elephants on three feet, no two of the same height), so it is all that lies
/// below a plane.
pub fn open_gate(name: &str, mesh: &TriangleMesh) -> GateChoice {
    GateChoice::Plane { point: Point::new(0.0, plane_of(name, mesh), 0.0), normal: -Vector::y() }
}
