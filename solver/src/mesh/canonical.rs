//! One order of vertices and faces, and one set of coordinates, for one shape, however it was read.
//!
//! Decimation and remeshing break ties by order and by the last digit. So they are done in coordinates
//! that are fixed to the shape: whole numbers, in steps of a millionth of its
//! span, sorted by position. A model that was turned, moved, renumbered or scaled before it was
//! read comes out as the same whole numbers.

use nalgebra::Isometry3;
use rayon::prelude::*;

use super::{Point, TriangleMesh};
use crate::control::{Cancel, Cancelled};

/// One step as a share of the mesh's span.
const STEP: f64 = 1e-6;

/// A mesh in whole coordinates.
#[derive(Clone, Debug, PartialEq)]
pub struct WholeMesh {
    /// Positions are whole numbers of steps; vertices and faces in order of position.
    pub mesh: TriangleMesh,
    /// One step, mm.
    pub step: f64,
}

/// The mesh moved by `pose`, in whole coordinates, with vertices and faces in order of position.
pub fn canonical(mesh: &TriangleMesh, pose: &Isometry3<f64>) -> WholeMesh {
    let step = (mesh.span() * STEP).max(1e-12);
    let keys: Vec<[i64; 3]> = mesh
        .positions
        .par_iter()
        .map(|p| {
            let q = pose * p;
            [q.x, q.y, q.z].map(|c| (c / step).round() as i64)
        })
        .collect();
    let mut order: Vec<u32> = (0..keys.len() as u32).collect();
    order.par_sort_unstable_by_key(|&v| (keys[v as usize], v));
    let mut place = vec![0u32; order.len()];
    for (new, &old) in order.iter().enumerate() {
        place[old as usize] = new as u32;
    }
    let positions = order
        .iter()
        .map(|&v| {
            let [x, y, z] = keys[v as usize].map(|c| c as f64);
            Point::new(x, y, z)
        })
        .collect();
    let mut faces: Vec<[u32; 3]> = mesh
        .faces
        .iter()
        .map(|face| {
            let f = face.map(|v| place[v as usize]);
            let first = (0..3).min_by_key(|&k| f[k]).unwrap_or(0);
            [f[first], f[(first + 1) % 3], f[(first + 2) % 3]]
        })
        .collect();
    faces.par_sort_unstable();
    WholeMesh { mesh: TriangleMesh { positions, faces }, step }
}

/// The same, until someone cancels.
pub fn canonical_until(
    mesh: &TriangleMesh,
    pose: &Isometry3<f64>,
    cancel: &Cancel,
) -> Result<WholeMesh, Cancelled> {
    let pose = *pose;
    mesh.worked_on_until(cancel, move |mesh| canonical(mesh, &pose))
}

impl WholeMesh {
    /// A mesh made from this one, from steps to mm.
    pub fn to_mm(&self, mut mesh: TriangleMesh) -> TriangleMesh {
        for p in &mut mesh.positions {
            *p *= self.step;
        }
        mesh
    }
}
