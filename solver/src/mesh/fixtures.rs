//! Shapes with known answers, for the tests of this crate.

use std::collections::BTreeMap;
use std::f64::consts::TAU;

use super::{Point, TriangleMesh, Vector};

/// A box with corners at the origin and `size`, two faces a side.
pub(crate) fn cuboid(size: [f64; 3]) -> TriangleMesh {
    let positions = (0..8)
        .map(|k| {
            Point::new(
                size[0] * f64::from(k & 1),
                size[1] * f64::from(k >> 1 & 1),
                size[2] * f64::from(k >> 2 & 1),
            )
        })
        .collect();
    let quads =
        [[0, 2, 3, 1], [4, 5, 7, 6], [0, 1, 5, 4], [2, 6, 7, 3], [0, 4, 6, 2], [1, 3, 7, 5]];
    let faces = quads.iter().flat_map(|q| [[q[0], q[1], q[2]], [q[0], q[2], q[3]]]).collect();
    TriangleMesh { positions, faces }
}

/// A sphere about the origin from an icosahedron divided `levels` times.
pub(crate) fn icosphere(radius: f64, levels: u32) -> TriangleMesh {
    let t = (1.0 + 5f64.sqrt()) / 2.0;
    let raw = [
        [-1.0, t, 0.0],
        [1.0, t, 0.0],
        [-1.0, -t, 0.0],
        [1.0, -t, 0.0],
        [0.0, -1.0, t],
        [0.0, 1.0, t],
        [0.0, -1.0, -t],
        [0.0, 1.0, -t],
        [t, 0.0, -1.0],
        [t, 0.0, 1.0],
        [-t, 0.0, -1.0],
        [-t, 0.0, 1.0],
    ];
    let mut mesh = TriangleMesh {
        positions: raw.iter().map(|p| Point::from(Vector::from(*p).normalize() * radius)).collect(),
        faces: vec![
            [0, 11, 5],
            [0, 5, 1],
            [0, 1, 7],
            [0, 7, 10],
            [0, 10, 11],
            [1, 5, 9],
            [5, 11, 4],
            [11, 10, 2],
            [10, 7, 6],
            [7, 1, 8],
            [3, 9, 4],
            [3, 4, 2],
            [3, 2, 6],
            [3, 6, 8],
            [3, 8, 9],
            [4, 9, 5],
            [2, 4, 11],
            [6, 2, 10],
            [8, 6, 7],
            [9, 8, 1],
        ],
    };
    for _ in 0..levels {
        mesh = divided(&mesh);
        for p in &mut mesh.positions {
            *p = Point::from(p.coords.normalize() * radius);
        }
    }
    mesh
}

/// Every face divided into four at the middles of its edges.
pub(crate) fn divided(mesh: &TriangleMesh) -> TriangleMesh {
    let mut positions = mesh.positions.clone();
    let mut middles: BTreeMap<[u32; 2], u32> = BTreeMap::new();
    let mut faces = Vec::with_capacity(mesh.faces.len() * 4);
    for &[a, b, c] in &mesh.faces {
        let mut middle = |u: u32, v: u32| {
            *middles.entry([u.min(v), u.max(v)]).or_insert_with(|| {
                positions.push(nalgebra::center(
                    &mesh.positions[u as usize],
                    &mesh.positions[v as usize],
                ));
                positions.len() as u32 - 1
            })
        };
        let (ab, bc, ca) = (middle(a, b), middle(b, c), middle(c, a));
        faces.extend([[a, ab, ca], [b, bc, ab], [c, ca, bc], [ab, bc, ca]]);
    }
    TriangleMesh { positions, faces }
}

/// A torus about the z axis: `around` by `across` quads, each parted in two.
pub(crate) fn torus(major: f64, minor: f64, around: u32, across: u32) -> TriangleMesh {
    let mut mesh = TriangleMesh::default();
    for i in 0..around {
        let u = TAU * f64::from(i) / f64::from(around);
        for j in 0..across {
            let v = TAU * f64::from(j) / f64::from(across);
            let r = major + minor * v.cos();
            mesh.positions.push(Point::new(r * u.cos(), r * u.sin(), minor * v.sin()));
        }
    }
    let id = |i: u32, j: u32| (i % around) * across + j % across;
    for i in 0..around {
        for j in 0..across {
            mesh.faces.push([id(i, j), id(i + 1, j), id(i + 1, j + 1)]);
            mesh.faces.push([id(i, j), id(i + 1, j + 1), id(i, j + 1)]);
        }
    }
    mesh
}

/// A tube along z from 0 to `height`, walls between the two radii, open at both ends for whoever
/// looks through it: genus 1. One quad from end to end.
pub(crate) fn tube(inner: f64, outer: f64, height: f64, around: u32) -> TriangleMesh {
    let mut mesh = TriangleMesh::default();
    for (r, z) in [(outer, 0.0), (outer, height), (inner, height), (inner, 0.0)] {
        for i in 0..around {
            let u = TAU * f64::from(i) / f64::from(around);
            mesh.positions.push(Point::new(r * u.cos(), r * u.sin(), z));
        }
    }
    for ring in 0..4 {
        for i in 0..around {
            let next = (i + 1) % around;
            let (low, high) = (ring * around, (ring + 1) % 4 * around);
            mesh.faces.push([low + i, low + next, high + next]);
            mesh.faces.push([low + i, high + next, high + i]);
        }
    }
    mesh
}

/// A cylinder along z from 0 to `height`, one quad from end to end.
pub(crate) fn cylinder(radius: f64, height: f64, around: u32) -> TriangleMesh {
    let mut mesh = TriangleMesh::default();
    for z in [0.0, height] {
        for i in 0..around {
            let u = TAU * f64::from(i) / f64::from(around);
            mesh.positions.push(Point::new(radius * u.cos(), radius * u.sin(), z));
        }
    }
    mesh.positions.extend([Point::origin(), Point::new(0.0, 0.0, height)]);
    let (low, high) = (2 * around, 2 * around + 1);
    for i in 0..around {
        let next = (i + 1) % around;
        mesh.faces.push([i, next, around + next]);
        mesh.faces.push([i, around + next, around + i]);
        mesh.faces.push([low, next, i]);
        mesh.faces.push([high, around + i, around + next]);
    }
    mesh
}

/// The same mesh elsewhere.
pub(crate) fn moved(mesh: &TriangleMesh, by: [f64; 3]) -> TriangleMesh {
    TriangleMesh {
        positions: mesh.positions.iter().map(|p| p + Vector::from(by)).collect(),
        faces: mesh.faces.clone(),
    }
}

/// Two meshes in one.
pub(crate) fn joined(a: &TriangleMesh, b: &TriangleMesh) -> TriangleMesh {
    let offset = a.positions.len() as u32;
    TriangleMesh {
        positions: a.positions.iter().chain(&b.positions).copied().collect(),
        faces: a
            .faces
            .iter()
            .copied()
            .chain(b.faces.iter().map(|f| f.map(|v| v + offset)))
            .collect(),
    }
}

/// The same surface seen from inside.
pub(crate) fn inside_out(mesh: &TriangleMesh) -> TriangleMesh {
    TriangleMesh {
        positions: mesh.positions.clone(),
        faces: mesh.faces.iter().map(|&[a, b, c]| [a, c, b]).collect(),
    }
}
