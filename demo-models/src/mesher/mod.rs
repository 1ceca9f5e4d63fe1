//! From a signed distance to a closed triangle mesh that stands on z = 0.
//!
//! Surface nets on a grid give the connectivity. The grid's lowest layer straddles z = 0, so that
//! every vertex is of one of three kinds, and each kind is moved to where it belongs exactly: on
//! the solid's skin, inside the flat base, or on the rim between the two.

mod even;
mod grid;

use std::ops::Range;

use fast_surface_nets::{SurfaceNetsBuffer, surface_nets};
use slitwright_solver::mesh::{Topology, TopologyError, TriangleMesh};

use self::even::{settle, split_well};
use self::grid::{Grid, Kind};
use crate::sdf::Solid;

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

#[cfg(test)]
mod tests {
    use std::f64::consts::PI;

    use super::*;
    use crate::sdf::{P, V, ball, ring, rod};

    fn space(half: f64, height: f64) -> Space {
        Space { x: -half..half, y: -half..half, height }
    }

    /// A ball cut by the board at half its radius below the centre: 27/32 of its volume.
    #[test]
    fn cut_ball_has_its_closed_form_and_a_sharp_rim() {
        let solid = ball(P::new(0.0, 0.0, 10.0), 20.0);
        let exact = 27.0 / 32.0 * 4.0 / 3.0 * PI * 8000.0;
        let off = |cell: f64| {
            let mesh = mesh(&solid, &space(23.0, 33.0), cell).expect("meshes");
            let at_board = mesh.positions.iter().filter(|p| p.z == 0.0);
            let widest = at_board.map(|p| p.x.hypot(p.y)).fold(0.0, f64::max);
            assert!((widest - 300.0f64.sqrt()).abs() < 1e-5, "rim at {widest} mm");
            (mesh.signed_volume() - exact).abs()
        };
        let (coarse, fine) = (off(2.0), off(1.0));
        assert!(fine < 0.002 * exact, "{fine} mm^3 off");
        assert!(fine < 0.35 * coarse, "halving the cell leaves {fine} of {coarse} mm^3");
    }

    /// A ring lying in the air has genus 1: V - E + F = 0; its volume is 2 pi^2 R r^2.
    #[test]
    fn ring_has_its_genus_and_volume() {
        let solid = ring(P::new(0.0, 0.0, 9.0), V::z(), 20.0, 6.0);
        let mesh = mesh(&solid, &space(30.0, 20.0), 1.0).expect("meshes");
        let topology = Topology::new(&mesh).expect("closed");
        assert_eq!(topology.euler_characteristic(), 0);
        let exact = 2.0 * PI * PI * 20.0 * 36.0;
        assert!((mesh.signed_volume() - exact).abs() < 0.01 * exact);
    }

    #[test]
    fn solid_that_leaves_its_space_is_refused() {
        let solid = rod(P::new(0.0, 0.0, 5.0), 3.0, P::new(40.0, 0.0, 5.0), 3.0);
        assert!(matches!(
            mesh(&solid, &space(20.0, 20.0), 1.0),
            Err(MeshError::OutsideSpace(x, _, _)) if x > 17.0
        ));
    }

    #[test]
    fn empty_space_is_refused() {
        let solid = ball(P::new(0.0, 0.0, 500.0), 3.0);
        assert!(matches!(mesh(&solid, &space(20.0, 20.0), 1.0), Err(MeshError::Empty)));
    }

    /// A crease sharper than the grid can follow is an error, not a ragged mesh.
    #[test]
    fn jump_in_the_distance_is_refused() {
        let solid = Solid::new(|p| if p.z < 10.2 { p.x.hypot(p.y) - 8.0 } else { p.z - 9.0 });
        assert!(matches!(
            mesh(&solid, &space(20.0, 20.0), 1.0),
            Err(MeshError::Unsettled(..) | MeshError::NotClosed { .. } | MeshError::Pinched(..))
        ));
    }
}
