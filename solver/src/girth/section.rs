//! Girth of the model's section at each vertex: how thick the part is that the rubber there goes
//! round.

use rayon::prelude::*;

use super::sweep::girth;
use crate::mesh::{Point, Topology, TriangleMesh, Vector, VertexId};

/// Planes tried through each vertex: 15 degrees apart the plane square to a rod is missed by 7.5 degrees at most, and an ellipse whose longer axis
/// is 1 / cos 7.5 = 1.009 times the other has a girth 0.4 % longer (derivation).
const PLANES: usize = 12;

/// Least girth (mm), over planes that hold a vertex and its normal, of the model's section through
/// that vertex. Only the outline that goes through the vertex counts, not other parts that the
/// plane meets. One value a vertex, for a closed oriented mesh.
pub fn section_girths(mesh: &TriangleMesh, topology: &Topology) -> Vec<f64> {
    let normals = mesh.vertex_normals();
    (0..mesh.positions.len() as u32)
        .into_par_iter()
        .map(|v| {
            let normal = normals[v as usize];
            let side = normal.cross(&least_axis(&normal)).normalize();
            let other = normal.cross(&side);
            (0..PLANES)
                .filter_map(|k| {
                    let angle = std::f64::consts::PI * k as f64 / PLANES as f64;
                    let across = side * angle.cos() + other * angle.sin();
                    outline(mesh, topology, v, &across)
                })
                .map(|points| girth(&points))
                .fold(f64::INFINITY, f64::min)
        })
        .collect()
}

/// The coordinate axis that a vector leans to least.
fn least_axis(v: &Vector) -> Vector {
    let mut axis = Vector::zeros();
    axis[v.iamin()] = 1.0;
    axis
}

/// Where the plane through a vertex square to `across` cuts the mesh: the closed outline that
/// starts at the vertex. None where the plane only touches it there.
fn outline(
    mesh: &TriangleMesh,
    topology: &Topology,
    vertex: u32,
    across: &Vector,
) -> Option<Vec<Point>> {
    let origin = mesh.positions[vertex as usize];
    let height = |v: u32| (mesh.positions[v as usize] - origin).dot(across);
    let crossed = |e: u32| {
        let [a, b] = topology.edge_vertices[e as usize];
        (height(a) < 0.0) != (height(b) < 0.0)
    };
    let first =
        topology.edges_of(VertexId(vertex)).iter().copied().filter(|&e| crossed(e)).min()?;
    let (mut edge, mut face) = (first, topology.edge_faces[first as usize][0]);
    let mut points = Vec::new();
    loop {
        let [a, b] = topology.edge_vertices[edge as usize];
        let (low, high) = (height(a), height(b));
        let [p, q] = [a, b].map(|v| mesh.positions[v as usize]);
        points.push(p + (q - p) * (low / (low - high)));
        // A face on the way has exactly two crossed edges: enter by one, leave by the other.
        edge = topology.face_edges[face as usize]
            .iter()
            .copied()
            .find(|&e| e != edge && crossed(e))?;
        let [f, g] = topology.edge_faces[edge as usize];
        face = if f == face { g } else { f };
        if edge == first {
            return Some(points);
        }
    }
}

#[cfg(test)]
mod tests {
    use std::f64::consts::TAU;

    use super::*;
    use crate::mesh::fixtures::{cylinder, icosphere};
    use crate::mesh::planning_mesh;

    fn girths(mesh: &TriangleMesh) -> Vec<f64> {
        section_girths(mesh, &Topology::new(mesh).expect("closed"))
    }

    /// Every plane through a point of a sphere and its normal cuts a great circle.
    #[test]
    fn a_sphere_has_its_great_circle_everywhere() {
        for girth in girths(&icosphere(30.0, 3)) {
            assert!((girth / (TAU * 30.0) - 1.0).abs() < 0.02, "{girth}");
        }
    }

    /// Half way up a rod the least section is square to it; closed form 2 pi r.
    #[test]
    fn a_rod_has_the_girth_of_its_circle() {
        let mesh = planning_mesh(&cylinder(5.0, 80.0, 64), 2.0).expect("remeshed");
        let girths = girths(&mesh);
        let middle = mesh.positions.iter().zip(&girths).filter(|(p, _)| (p.z - 40.0).abs() < 20.0);
        let mut seen = 0;
        for (_, girth) in middle {
            seen += 1;
            assert!((girth / (TAU * 5.0) - 1.0).abs() < 0.05, "{girth}");
        }
        assert!(seen > 50);
    }
}
