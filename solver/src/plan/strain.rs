//! How far rubber may be stretched round a model.

use super::request::PlanRequest;
use crate::body::MouldBody;
use crate::girth::section::section_girths;
use crate::mesh::{Topology, TriangleMesh};

/// Strain allowed at each vertex: thick walls open less far by hand.
///
/// What resists round a thin part is not the whole wall. For a hole of radius a in endless rubber,
/// opened to l a in plane strain, the pressure is mu (ln l + (1 - 1/l^2) / 2) (neo-Hookean; Ogden
/// 1984, Non-Linear Elastic Deformations, from memory), so the pull on either side of it, pressure
/// times l a, is that of a uniaxial strip 0.7 a (at small strain) to 1.0 a (at one half) thick. So a
/// wall counts as no thicker than the radius of what it goes round: its girth over 2 pi.
pub(super) fn allowed_strain(
    planning: &TriangleMesh,
    topology: &Topology,
    body: &MouldBody,
    request: &PlanRequest,
) -> Vec<f64> {
    let normals = planning.vertex_normals();
    let girths = section_girths(planning, topology);
    let knife = &request.knife;
    planning
        .positions
        .iter()
        .zip(&normals)
        .zip(&girths)
        .map(|((p, n), girth)| {
            let thickness = body.wall_thickness(p, n).min(girth / std::f64::consts::TAU);
            let zone = knife.opening_zone.unwrap_or(MouldBody::opening_zone(*girth));
            MouldBody::allowed_strain(&request.rubber, knife.hand_force, zone, thickness)
        })
        .collect()
}
