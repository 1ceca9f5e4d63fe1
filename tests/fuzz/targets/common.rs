//! What every target asks of what was read.

use slitwright_proto::v1;
use slitwright_server::convert::{named_class, request_from_proto, request_to_proto};
use slitwright_solver::mesh::{LengthUnit, MeshFormat, ReadLimits, read};

/// Reads a mesh file. What comes out has corners that are there, and as many triangles as are
/// allowed.
pub fn mesh(bytes: &[u8], format: MeshFormat) {
    // Small, so that a claim in a header that is believed shows as a lack of memory.
    let limits = ReadLimits { max_bytes: 1 << 20, max_triangles: 20_000, ..ReadLimits::default() };
    // 3MF carries its own unit.
    let unit = (format != MeshFormat::ThreeMf).then_some(LengthUnit::Millimetre);
    let Ok(mesh) = read(bytes, format, unit, &limits) else { return };
    assert!(mesh.faces.len() as u64 <= limits.max_triangles, "more triangles than allowed");
    assert!(mesh.positions.iter().all(|p| p.coords.iter().all(|x| x.is_finite())));
    let corners = mesh.positions.len();
    assert!(mesh.faces.iter().flatten().all(|&corner| (corner as usize) < corners));
}

/// Checks a request. One that is sound, written out with every default, is still sound.
pub fn request(message: &v1::PlanRequest) {
    let Ok(request) = request_from_proto(message, "request") else { return };
    let full = request_to_proto(&request, named_class(message));
    request_from_proto(&full, "request").expect("what was written out is sound");
}
