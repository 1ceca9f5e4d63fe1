//! What every target asks of what was read.

use std::sync::OnceLock;

use slitwright_proto::v1;
use slitwright_server::convert::{named_class, request_from_proto, request_to_proto};
use slitwright_solver::body::MouldShape;
use slitwright_solver::control::Control;
use slitwright_solver::mesh::{
    LengthUnit, MeshFormat, Model, Point, PrepareOptions, ReadLimits, TriangleMesh, prepare_mesh,
    read,
};
use slitwright_solver::plan::{PlanError, PlanRequest, TrialMode, judge_scheme};

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

/// Judges drawn cuts, of which there are few enough for a person to have drawn, on a cube of 20 mm in a thin blanket.
/// Whatever is wrong with them is the scheme's fault.
pub fn drawn_cuts(message: &v1::PlanRequest) {
    static CUBE: OnceLock<Model> = OnceLock::new();
    let Ok(request) = request_from_proto(message, "request") else { return };
    let Some(scheme) = request.scheme else { return };
    let mut own = PlanRequest { mould: MouldShape::Blanket { thickness: 3.0 }, ..PlanRequest::default() };
    own.trial.mode = TrialMode::Off;
    own.resolution.planning_edge = Some(5.0);
    let cube = CUBE.get_or_init(|| prepare_mesh(cube(20.0), &PrepareOptions::default()).expect("a sound cube"));
    match judge_scheme(cube, &own, &scheme, &Control::silent()) {
        Ok(judged) => assert!(judged.plan.total_length.is_finite()),
        Err(PlanError::Scheme(faults)) => assert!(!faults.is_empty()),
        Err(error) => panic!("{error}"),
    }
}

fn cube(side: f64) -> TriangleMesh {
    let corner = |k: u32| Point::new(f64::from(k & 1), f64::from(k >> 1 & 1), f64::from(k >> 2));
    let quads: [[u32; 4]; 6] =
        [[0, 2, 3, 1], [4, 5, 7, 6], [0, 1, 5, 4], [2, 6, 7, 3], [0, 4, 6, 2], [1, 3, 7, 5]];
    TriangleMesh {
        positions: (0..8).map(|k| Point::from(corner(k).coords * side)).collect(),
        faces: quads.iter().flat_map(|&[a, b, c, d]| [[a, b, c], [a, c, d]]).collect(),
    }
}
