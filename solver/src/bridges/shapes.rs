//! Closed meshes for the tests of this module.

use std::collections::{BTreeMap, BTreeSet};
use std::f64::consts::TAU;

use crate::mesh::{Point, TriangleMesh, Vector};

/// A tube of radius `radius` along a closed curve, `along` by `around` points. The frame is carried
/// along the curve without twisting and what is left over at the end is spread evenly; `skew`
/// adds whole turns of the mesh lines, so that nothing of interest lies on a mesh line.
pub(crate) fn tube(
    along: usize,
    around: usize,
    radius: f64,
    skew: f64,
    curve: impl Fn(f64) -> Point,
) -> TriangleMesh {
    let centres: Vec<Point> = (0..along).map(|i| curve(TAU * i as f64 / along as f64)).collect();
    let tangent =
        |i: usize| (centres[(i + 1) % along] - centres[(i + along - 1) % along]).normalize();
    let mut side = tangent(0).cross(&Vector::new(0.3, 0.5, 0.8)).normalize();
    let mut sides = vec![side];
    for i in 1..=along {
        let t = tangent(i % along);
        side = (side - t * side.dot(&t)).normalize();
        sides.push(side);
    }
    let t = tangent(0);
    let (u, v) = (sides[0], t.cross(&sides[0]));
    let left_over = sides[along].dot(&v).atan2(sides[along].dot(&u));
    let mut positions = Vec::with_capacity(along * around);
    for i in 0..along {
        let (t, u) = (tangent(i), sides[i]);
        let v = t.cross(&u);
        let part = i as f64 / along as f64;
        for j in 0..around {
            let angle = TAU * (j as f64 / around as f64 + skew * part) - left_over * part;
            positions.push(centres[i] + (u * angle.cos() + v * angle.sin()) * radius);
        }
    }
    let at = |i: usize, j: usize| ((i % along) * around + j % around) as u32;
    assert!(skew.fract() == 0.0, "mesh lines have to close");
    let mut faces = Vec::with_capacity(2 * along * around);
    for i in 0..along {
        for j in 0..around {
            let (a, b, c, d) = (at(i, j), at(i + 1, j), at(i + 1, j + 1), at(i, j + 1));
            faces.push([a, c, b]);
            faces.push([a, d, c]);
        }
    }
    outward(TriangleMesh { positions, faces })
}

/// A torus round the z axis.
pub(crate) fn torus(big: f64, small: f64, along: usize, around: usize, skew: f64) -> TriangleMesh {
    tube(along, around, small, skew, |t| Point::new(big * t.cos(), big * t.sin(), 0.0))
}

/// A tube along the torus knot that winds `p` times round the axis and `q` times through the hole.
pub(crate) fn torus_knot_tube(p: f64, q: f64, along: usize, around: usize) -> TriangleMesh {
    tube(along, around, 5.0, 0.0, |t| {
        let r = 30.0 + 13.0 * (q * t).cos();
        Point::new(r * (p * t).cos(), r * (p * t).sin(), 13.0 * (q * t).sin())
    })
}

fn outward(mut mesh: TriangleMesh) -> TriangleMesh {
    if mesh.signed_volume() < 0.0 {
        for face in &mut mesh.faces {
            face.swap(1, 2);
        }
    }
    mesh
}

/// Surface of a union of unit cells, each cut into `fine` per side; `size` is the cell's side, mm.
/// Cells must meet in whole faces. The lowest cells stand on z = 0.
pub(crate) fn blocks(cells: &[[i32; 3]], fine: i32, size: f64) -> TriangleMesh {
    let mut filled = BTreeSet::new();
    for cell in cells {
        for i in 0..fine.pow(3) {
            let at = [i % fine, i / fine % fine, i / fine / fine];
            filled.insert([0, 1, 2].map(|k| cell[k] * fine + at[k]));
        }
    }
    let mut vertices = BTreeMap::new();
    let mut mesh = TriangleMesh::default();
    let step = size / f64::from(fine);
    let mut vertex = |mesh: &mut TriangleMesh, p: [i32; 3]| {
        *vertices.entry(p).or_insert_with(|| {
            mesh.positions.push(Point::from(p.map(|v| f64::from(v) * step)));
            mesh.positions.len() as u32 - 1
        })
    };
    for &cell in &filled {
        for axis in 0..3 {
            for side in [0, 1] {
                let mut beside = cell;
                beside[axis] += 2 * side - 1;
                if filled.contains(&beside) {
                    continue;
                }
                let (u, v) = ((axis + 1) % 3, (axis + 2) % 3);
                let corner = |du: i32, dv: i32| {
                    let mut p = cell;
                    p[axis] += side;
                    p[u] += du;
                    p[v] += dv;
                    p
                };
                let mut quad = [corner(0, 0), corner(1, 0), corner(1, 1), corner(0, 1)]
                    .map(|p| vertex(&mut mesh, p));
                if side == 0 {
                    quad.reverse();
                }
                let [a, b, c, d] = quad;
                // Diagonals alternate, so that no direction is favoured.
                if (cell[0] + cell[1] + cell[2]) % 2 == 0 {
                    mesh.faces.extend([[a, b, c], [a, c, d]]);
                } else {
                    mesh.faces.extend([[a, b, d], [b, c, d]]);
                }
            }
        }
    }
    mesh
}

/// All cells of a box.
pub(crate) fn cells(from: [i32; 3], to: [i32; 3]) -> Vec<[i32; 3]> {
    let mut out = Vec::new();
    for x in from[0]..to[0] {
        for y in from[1]..to[1] {
            for z in from[2]..to[2] {
                out.push([x, y, z]);
            }
        }
    }
    out
}

/// Cells without those of a box.
pub(crate) fn without(mut all: Vec<[i32; 3]>, from: [i32; 3], to: [i32; 3]) -> Vec<[i32; 3]> {
    let hole = cells(from, to);
    all.retain(|c| !hole.contains(c));
    all
}

/// Vertices on the plane z = `height`.
pub(crate) fn at_height(mesh: &TriangleMesh, height: f64) -> Vec<u32> {
    (0..mesh.positions.len() as u32)
        .filter(|&v| (mesh.positions[v as usize].z - height).abs() < 1e-9)
        .collect()
}

/// A small repeatable jog of every vertex, so that no two lengths are equal.
pub(crate) fn jogged(mut mesh: TriangleMesh, size: f64) -> TriangleMesh {
    let mut state = 0x2545_f491_4f6c_dd1du64;
    let mut next = || {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        (state >> 11) as f64 / (1u64 << 53) as f64 - 0.5
    };
    for p in &mut mesh.positions {
        *p += Vector::new(next(), next(), next()) * (2.0 * size);
    }
    mesh
}

/// A frame of 40 mm on a foot, with a hole that is 24 mm wide.
pub(crate) fn frame() -> TriangleMesh {
    let parts = [
        cells([7, 0, 0], [13, 5, 4]),
        cells([0, 0, 4], [20, 5, 8]),
        cells([0, 0, 8], [4, 5, 20]),
        cells([16, 0, 8], [20, 5, 20]),
        cells([0, 0, 20], [20, 5, 24]),
    ];
    blocks(&parts.concat(), 1, 2.0)
}
