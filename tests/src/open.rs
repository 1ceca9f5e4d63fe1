//! Open meshes of real shapes, from Debian's package libcgal-demo. They are looked for in the folder
//! that SLITWRIGHT_MESHES names, or in tests/meshes, which tests/fetch-meshes.sh fills.

use std::path::{Path, PathBuf};

use parry3d_f64::math::Vector as Vec3;
use parry3d_f64::query::SplitResult;
use parry3d_f64::shape::TriMesh;
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

/// How deep a piece is sunk in clay, mm: so the hollow under bunny00, 5 mm deep, is filled.
const SUNK: f64 = 8.0;

/// An open mesh of about 150 mm that stands sunk in clay: it is cut off flat. A mould maker who has no flat base makes one so (common
/// practice, no source).
pub fn sunk(mesh: &TriangleMesh) -> Result<TriangleMesh, String> {
    let corners = mesh.positions.iter().map(|p| Vec3::new(p.x, p.y, p.z)).collect();
    let whole = TriMesh::new(corners, mesh.faces.clone()).map_err(|e| e.to_string())?;
    // Any number that is next to nothing.
    let SplitResult::Pair(_, above) = whole.canonical_split(1, lowest(mesh) + SUNK, 1e-9) else {
        return Err("nothing is cut off".to_owned());
    };
    let positions = above.vertices().iter().map(|p| Point::new(p.x, p.y, p.z)).collect();
    Ok(TriangleMesh { positions, faces: above.indices().to_vec() })
}

fn lowest(mesh: &TriangleMesh) -> f64 {
    mesh.positions.iter().map(|p| p.y).fold(f64::INFINITY, f64::min)
}

/// Height of the gate above the lowest point of a mesh that stands on no flat face, mm.
const FEET: f64 = 8.0;
/// The same for one whose base is uneven, mm.
const UNEVEN: f64 = 3.0;

/// The gate of an open mesh of about 150 mm. All stand with y upwards: bunny00 on an uneven base, the
/// others on round tips (the elephants on three feet, no two of the same height), so it is all that lies
/// below a plane.
pub fn open_gate(name: &str, mesh: &TriangleMesh) -> GateChoice {
    let above = if name == "bunny00" { UNEVEN } else { FEET };
    GateChoice::Plane { point: Point::new(0.0, lowest(mesh) + above, 0.0), normal: -Vector::y() }
}
