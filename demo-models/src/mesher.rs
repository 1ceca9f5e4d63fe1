//! From a signed distance to a closed triangle mesh that stands on z = 0.
//!
//! Surface nets on a grid give the connectivity. The grid's lowest layer straddles z = 0, so that
//! every vertex is of one of three kinds, and each kind is moved to where it belongs exactly: on
//! the solid's skin, inside the flat base, or on the rim between the two.

use std::collections::HashSet;
use std::ops::Range;

use fast_surface_nets::ndshape::{RuntimeShape, Shape};
use fast_surface_nets::{SurfaceNetsBuffer, surface_nets};
use slitwright_solver::mesh::{Topology, TopologyError, TriangleMesh};

use crate::sdf::{P, Solid, V};

/// A signed distance could not be turned into a mesh fit for planning.
#[derive(Debug, thiserror::Error)]
pub enum MeshError {
    /// The mesh is not a closed oriented surface.
    #[error(
        "the mesh is not closed near ({x:.1}, {y:.1}, {z:.1}) mm: {fault}; use a finer grid or \
         move the parts that nearly touch"
    )]
    NotClosed {
        /// What is wrong.
        fault: TopologyError,
        /// Where, mm.
        x: f64,
        /// Where, mm.
        y: f64,
        /// Where, mm.
        z: f64,
    },
    /// Two sheets of surface touch at one vertex.
    #[error(
        "two parts of the surface touch at ({0:.1}, {1:.1}, {2:.1}) mm; use a finer grid or move \
         them apart"
    )]
    Pinched(f64, f64, f64),
    /// The solid reaches the side of the space it was meshed in.
    #[error("the solid reaches the side of its space near ({0:.1}, {1:.1}, {2:.1}) mm; enlarge it")]
    OutsideSpace(f64, f64, f64),
    /// The solid has no skin in its space.
    #[error("the solid has no surface in its space")]
    Empty,
    /// A vertex did not settle on the skin.
    #[error(
        "the surface is too sharp for the grid near ({0:.1}, {1:.1}, {2:.1}) mm: {3:.4} mm off; use \
         a finer grid or a larger fillet"
    )]
    Unsettled(f64, f64, f64, f64),
}

/// Where to mesh: x and y ranges and the greatest height, mm.
#[derive(Clone, Debug)]
pub struct Space {
    /// From the least to the greatest x, mm.
    pub x: Range<f64>,
    /// From the least to the greatest y, mm.
    pub y: Range<f64>,
    /// Greatest height above the board, mm.
    pub height: f64,
}

/// Where a vertex belongs.
#[derive(Clone, Copy, PartialEq)]
enum Kind {
    Skin,
    Base,
    Rim,
}

/// Mesh the part of a solid above z = 0 on a grid of cells about `cell` mm wide.
///
/// Where the skin is a saddle that lies almost in a plane of the grid, surface nets join four faces
/// at one edge. Then the same is tried again on a grid that is moved and a little finer.
pub fn mesh(solid: &Solid, space: &Space, cell: f64) -> Result<TriangleMesh, MeshError> {
    const TRIES: u32 = 6;
    let attempt = |k: u32| {
        let cell = cell * (1.0 - 0.013 * f64::from(k));
        let shift = 0.29 * cell * f64::from(k % 3);
        let (x, y) = (space.x.start - shift, space.y.start - shift);
        let moved = Space { x: x..space.x.end, y: y..space.y.end, height: space.height };
        mesh_once(solid, &moved, cell)
    };
    let mut result = attempt(0);
    for k in 1..TRIES {
        match result {
            Err(MeshError::NotClosed { .. } | MeshError::Pinched(..)) => result = attempt(k),
            _ => break,
        }
    }
    result
}

fn mesh_once(solid: &Solid, space: &Space, cell: f64) -> Result<TriangleMesh, MeshError> {
    let grid = Grid::sample(solid, space, cell);
    let mut buffer = SurfaceNetsBuffer::default();
    let far = grid.counts.map(|n| n - 1);
    surface_nets(&grid.values, &grid.shape, [0; 3], far, &mut buffer);
    if buffer.positions.is_empty() {
        return Err(MeshError::Empty);
    }
    let kinds: Vec<Kind> = buffer.surface_points.iter().map(|&cube| grid.kind(cube)).collect();
    let mut surface = TriangleMesh {
        positions: buffer.positions.iter().map(|&p| grid.place(p)).collect(),
        faces: buffer.indices.chunks_exact(3).map(|f| [f[0], f[1], f[2]]).collect(),
    };
    for (p, cube) in surface.positions.iter().zip(&buffer.surface_points) {
        if (0..2).any(|k| cube[k] == 0) || (0..3).any(|k| cube[k] + 1 == far[k]) {
            return Err(MeshError::OutsideSpace(p.x, p.y, p.z));
        }
    }
    let topology = topology_of(&surface)?;
    check_fans(&surface, &topology)?;
    settle(&mut surface, &topology, &kinds, solid, cell)?;
    split_well(&mut surface, &topology);
    topology_of(&surface)?;
    // What is written to a file has single precision: keep the same values here.
    for p in &mut surface.positions {
        *p = p.map(|v| f64::from(v as f32));
    }
    Ok(surface)
}

/// Who touches whom, or where the surface is not closed.
fn topology_of(mesh: &TriangleMesh) -> Result<Topology, MeshError> {
    Topology::new(mesh).map_err(|fault| {
        let vertex = match fault {
            TopologyError::Open(v, _) | TopologyError::NotManifold(v, _) => v,
            TopologyError::BadFace(face) => mesh.faces[face as usize][0],
        };
        let p = mesh.positions.get(vertex as usize).copied().unwrap_or_default();
        MeshError::NotClosed { fault, x: p.x, y: p.y, z: p.z }
    })
}

/// Signed distances on a regular grid, cheap far from the skin.
struct Grid {
    values: Vec<f32>,
    shape: RuntimeShape<u32, 3>,
    counts: [u32; 3],
    origin: P,
    cell: f64,
}

impl Grid {
    fn sample(solid: &Solid, space: &Space, cell: f64) -> Self {
        // Blocks of cells whose middle is far from the skin take the middle's value.
        const BLOCK: u32 = 6;
        let origin = P::new(space.x.start, space.y.start, -0.5 * cell);
        let sides =
            [space.x.end - space.x.start, space.y.end - space.y.start, space.height + 0.5 * cell];
        let counts = sides.map(|side| (side / cell).ceil() as u32 + 2);
        let shape = RuntimeShape::<u32, 3>::new(counts);
        let mut values = vec![0.0f32; shape.size() as usize];
        let at = |x: u32, y: u32, z: u32| {
            origin + V::new(f64::from(x), f64::from(y), f64::from(z)) * cell
        };
        let reach = 1.3 * cell * f64::from(BLOCK + 2) * 0.75f64.sqrt();
        let blocks = counts.map(|n| n.div_ceil(BLOCK));
        for index in 0..blocks.iter().product() {
            let corner = [
                index % blocks[0] * BLOCK,
                index / blocks[0] % blocks[1] * BLOCK,
                index / (blocks[0] * blocks[1]) * BLOCK,
            ];
            let [x, y, z] = corner.map(|k| k + BLOCK / 2);
            let middle = solid.at(at(x, y, z));
            let near = middle.abs() < reach;
            let range = |axis: usize| corner[axis]..(corner[axis] + BLOCK).min(counts[axis]);
            for z in range(2) {
                for y in range(1) {
                    for x in range(0) {
                        let value = if near { solid.at(at(x, y, z)) } else { middle };
                        // Nothing is solid below the board.
                        let value = if z == 0 { value.max(0.5 * cell) } else { value };
                        values[shape.linearize([x, y, z]) as usize] = (value / cell) as f32;
                    }
                }
            }
        }
        Self { values, shape, counts, origin, cell }
    }
    /// From grid units to mm.
    fn place(&self, p: [f32; 3]) -> P {
        self.origin + V::from(p.map(f64::from)) * self.cell
    }
    /// What a vertex is, from the upper corners of its cube.
    fn kind(&self, [x, y, z]: [u32; 3]) -> Kind {
        if z > 0 {
            return Kind::Skin;
        }
        let upper = [(0, 0), (1, 0), (0, 1), (1, 1)]
            .map(|(dx, dy)| self.values[self.shape.linearize([x + dx, y + dy, 1]) as usize] < 0.0);
        if upper == [true; 4] { Kind::Base } else { Kind::Rim }
    }
}

/// The faces round every vertex make one fan.
fn check_fans(mesh: &TriangleMesh, topology: &Topology) -> Result<(), MeshError> {
    let mut count = vec![0u32; mesh.positions.len()];
    let mut first = vec![u32::MAX; mesh.positions.len()];
    for (index, face) in mesh.faces.iter().enumerate() {
        for &v in face {
            count[v as usize] += 1;
            first[v as usize] = index as u32;
        }
    }
    for (vertex, &start) in first.iter().enumerate() {
        let (mut face, mut walked) = (start as usize, 0);
        while walked < count[vertex] {
            walked += 1;
            let corner = mesh.faces[face].iter().position(|&v| v as usize == vertex).unwrap_or(0);
            let edge = topology.face_edges[face][corner];
            let [a, b] = topology.edge_faces[edge as usize];
            face = if a as usize == face { b } else { a } as usize;
            if face == start as usize {
                break;
            }
        }
        if walked < count[vertex] {
            let p = mesh.positions[vertex];
            return Err(MeshError::Pinched(p.x, p.y, p.z));
        }
    }
    Ok(())
}

/// Even out the triangles and put every vertex exactly where its kind belongs.
fn settle(
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
fn split_well(mesh: &mut TriangleMesh, topology: &Topology) {
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
                .edges_of(slitwright_solver::mesh::VertexId(c))
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
