//! Evens out the triangles and puts every vertex exactly where its kind belongs.

use std::collections::HashSet;

use slitwright_solver::mesh::{Topology, TriangleMesh, VertexId};

use super::MeshError;
use super::grid::Kind;
use crate::sdf::{P, Solid, V};

/// Even out the triangles and put every vertex exactly where its kind belongs.
pub(super) fn settle(
    mesh: &mut TriangleMesh,
    topology: &Topology,
    kinds: &[Kind],
    solid: &Solid,
    cell: f64,
) -> Result<(), MeshError> {
    const ROUNDS: usize = 5;
    project_all(mesh, kinds, solid, cell, 2);
    for _ in 0..ROUNDS {
        // Towards the mean of the neighbours; a rim vertex looks along the rim only.
        let mut sums = vec![(V::zeros(), 0.0); kinds.len()];
        for &[a, b] in &topology.edge_vertices {
            for (v, w) in [(a as usize, b as usize), (b as usize, a as usize)] {
                if kinds[v] != Kind::Rim || kinds[w] == Kind::Rim {
                    sums[v].0 += mesh.positions[w].coords;
                    sums[v].1 += 1.0;
                }
            }
        }
        for (p, (sum, count)) in mesh.positions.iter_mut().zip(sums) {
            if count > 0.0 {
                p.coords = p.coords.lerp(&(sum / count), 0.6);
            }
        }
        project_all(mesh, kinds, solid, cell, 1);
    }
    project_all(mesh, kinds, solid, cell, 12);
    for (p, &kind) in mesh.positions.iter().zip(kinds) {
        let off = solid.at(*p).abs();
        if kind != Kind::Base && off > 1e-3 {
            return Err(MeshError::Unsettled(p.x, p.y, p.z, off));
        }
    }
    Ok(())
}

/// At most `steps` of Newton's steps along the gradient, within the board's plane for the rim.
fn project_all(mesh: &mut TriangleMesh, kinds: &[Kind], solid: &Solid, cell: f64, steps: usize) {
    for (p, &kind) in mesh.positions.iter_mut().zip(kinds) {
        if kind != Kind::Skin {
            p.z = 0.0;
        }
        if kind == Kind::Base {
            continue;
        }
        for _ in 0..steps {
            let value = solid.at(*p);
            if value.abs() < 1e-6 {
                break;
            }
            let mut gradient = solid.gradient(*p);
            if kind == Kind::Rim {
                gradient.z = 0.0;
            }
            let square = gradient.norm_squared();
            if square < 1e-6 {
                break;
            }
            let step = gradient * (-value / square);
            *p += step * (0.5 * cell / step.norm()).min(1.0);
        }
    }
}

/// Turn edges between two nearly flat faces where the other diagonal of their quadrilateral gives
/// a larger least angle.
pub(super) fn split_well(mesh: &mut TriangleMesh, topology: &Topology) {
    let mut touched = vec![false; mesh.faces.len()];
    let mut made: HashSet<[u32; 2]> = HashSet::new();
    for (edge, &[a, b]) in topology.edge_vertices.iter().enumerate() {
        let [left, right] = topology.edge_faces[edge].map(|f| f as usize);
        if touched[left] || touched[right] {
            continue;
        }
        let opposite = |face: usize| mesh.faces[face].iter().copied().find(|&v| v != a && v != b);
        let (Some(c), Some(d)) = (opposite(left), opposite(right)) else { continue };
        // The new edge must not exist already.
        let key = [c.min(d), c.max(d)];
        let exists = made.contains(&key)
            || topology
                .edges_of(VertexId(c))
                .iter()
                .any(|&e| topology.edge_vertices[e as usize].contains(&d));
        let p = |v: u32| mesh.positions[v as usize];
        let fold = |f: [u32; 3], g: [u32; 3]| {
            let n = |t: [u32; 3]| (p(t[1]) - p(t[0])).cross(&(p(t[2]) - p(t[0]))).normalize();
            n(f).dot(&n(g))
        };
        let old = [[a, b, c], [b, a, d]];
        let new = [[a, d, c], [b, c, d]];
        let least = |faces: [[u32; 3]; 2]| {
            faces.iter().map(|&f| least_angle(f.map(p))).fold(f64::INFINITY, f64::min)
        };
        let flat = fold(old[0], old[1]) > 0.9 && fold(new[0], new[1]) > 0.9;
        if flat && !exists && least(new) > least(old) + 0.02 {
            mesh.faces[left] = new[0];
            mesh.faces[right] = new[1];
            touched[left] = true;
            touched[right] = true;
            made.insert(key);
        }
    }
}

/// Least angle of a triangle, radians.
fn least_angle(corners: [P; 3]) -> f64 {
    (0..3)
        .map(|k| {
            let (u, v) = (corners[(k + 1) % 3] - corners[k], corners[(k + 2) % 3] - corners[k]);
            u.angle(&v)
        })
        .fold(f64::INFINITY, f64::min)
}
