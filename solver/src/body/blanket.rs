//! The outside of a blanket as a mesh: what a rigid shell is laid on.
//!
//! The distance from the model on a grid, less the thickness, by surface nets (Gibson, S. (1998), "Constrained elastic
//! surface nets", MICCAI). What is below the board is cut off level; what cannot be reached from outside, as a hollow whose
//! mouth the blanket closes, is no outside.

use std::collections::HashMap;

use fast_surface_nets::ndshape::RuntimeShape;
use fast_surface_nets::{SurfaceNetsBuffer, surface_nets};
use rayon::prelude::*;

use super::mould::floor;
use crate::mesh::{SurfaceLocator, TriangleMesh, Vector};
use crate::union_find::UnionFind;

/// Cells along the longest side of the grid.
const CELLS: f64 = 40.0;
/// A vertex nearer to the board than this share of a cell is on it, so that no sliver is left there.
const ON_BOARD: f64 = 0.2;

/// The outside of a blanket, in the frame of its model.
#[derive(Clone, Debug, PartialEq)]
pub struct BlanketOutside {
    /// Its surface, seen from outside counter-clockwise; open at the board.
    pub mesh: TriangleMesh,
    /// Width of the cells that it was found on, mm: nothing finer is on it.
    pub cell: f64,
    /// Height of the board where the blanket stands on it; `None` where rubber goes all round.
    pub board: Option<f64>,
}

/// The outside of a blanket so `thick` (mm) round a model in the mould frame. `None` where there is nothing to go round.
pub fn blanket_outside(
    model: &TriangleMesh,
    locator: &SurfaceLocator,
    thick: f64,
) -> Option<BlanketOutside> {
    let (low, high) = model.bounds()?;
    let bottom = floor(low.z, high.z, thick);
    let room = Vector::repeat(thick);
    let size = (high - low) + 2.0 * room;
    let cell = size.max() / CELLS;
    let low = low - room - Vector::repeat(1.5 * cell);
    let counts = size.map(|s| (s / cell).ceil() as u32 + 4);
    let place =
        |[x, y, z]: [u32; 3]| low + Vector::new(f64::from(x), f64::from(y), f64::from(z)) * cell;
    let values: Vec<f32> = (0..counts.z)
        .into_par_iter()
        .flat_map_iter(|z| {
            (0..counts.y)
                .flat_map(move |y| (0..counts.x).map(move |x| [x, y, z]))
                .map(|node| ((locator.signed_distance(&place(node)) - thick) / cell) as f32)
        })
        .collect();
    let shape = RuntimeShape::<u32, 3>::new([counts.x, counts.y, counts.z]);
    let mut buffer = SurfaceNetsBuffer::default();
    surface_nets(&values, &shape, [0; 3], [counts.x - 1, counts.y - 1, counts.z - 1], &mut buffer);
    let positions = buffer.positions.iter().map(|p| low + Vector::from(p.map(f64::from)) * cell);
    let mut mesh = TriangleMesh {
        positions: positions.collect(),
        faces: buffer.indices.chunks_exact(3).map(|f| [f[0], f[1], f[2]]).collect(),
    };
    let board = (bottom >= 0.0).then_some(bottom);
    if let Some(board) = board {
        cut_level(&mut mesh, board, ON_BOARD * cell);
    }
    keep_reached(&mut mesh);
    (!mesh.faces.is_empty()).then_some(BlanketOutside { mesh, cell, board })
}

/// Leaves what is above a height; vertices within `near` of it are brought there first.
fn cut_level(mesh: &mut TriangleMesh, height: f64, near: f64) {
    for p in &mut mesh.positions {
        if (p.z - height).abs() < near {
            p.z = height;
        }
    }
    let mut crossings: HashMap<[u32; 2], u32> = HashMap::new();
    let mut faces = Vec::with_capacity(mesh.faces.len());
    for face in std::mem::take(&mut mesh.faces) {
        let z = face.map(|v| mesh.positions[v as usize].z - height);
        if z.iter().all(|z| *z <= 0.0) {
            continue;
        }
        let mut kept: Vec<u32> = Vec::with_capacity(4);
        for k in 0..3 {
            let (a, b) = (face[k], face[(k + 1) % 3]);
            let (from, to) = (z[k], z[(k + 1) % 3]);
            if from >= 0.0 {
                kept.push(a);
            }
            if from * to < 0.0 {
                let positions = &mut mesh.positions;
                kept.push(*crossings.entry([a.min(b), a.max(b)]).or_insert_with(|| {
                    let (p, q) = (positions[a as usize], positions[b as usize]);
                    let mut at = p + (q - p) * (from / (from - to));
                    at.z = height;
                    positions.push(at);
                    positions.len() as u32 - 1
                }));
            }
        }
        faces.extend((1..kept.len().saturating_sub(1)).map(|k| [kept[0], kept[k], kept[k + 1]]));
    }
    mesh.faces = faces;
}

/// Leaves what hangs together with the highest place, which nothing shuts in.
fn keep_reached(mesh: &mut TriangleMesh) {
    let mut joined = UnionFind::new(mesh.positions.len());
    for &[a, b, c] in &mesh.faces {
        joined.join(a as usize, b as usize);
        joined.join(b as usize, c as usize);
    }
    let height = |v: u32| mesh.positions[v as usize].z;
    let highest =
        mesh.faces.iter().flatten().copied().max_by(|a, b| height(*a).total_cmp(&height(*b)));
    let Some(outer) = highest.map(|v| joined.root(v as usize)) else { return };
    mesh.faces.retain(|f| joined.root(f[0] as usize) == outer);
    mesh.drop_unused();
}

#[cfg(test)]
mod tests {
    use approx::assert_relative_eq;

    use super::*;
    use crate::mesh::Point;
    use crate::mesh::fixtures::{cuboid, icosphere, moved, tube};

    fn round(model: &TriangleMesh, thick: f64) -> BlanketOutside {
        let locator = SurfaceLocator::new(model).expect("a mesh");
        blanket_outside(model, &locator, thick).expect("an outside")
    }

    /// On the board: walls of 4 x 30 x 20 and quarters of rounds, 2 pi 6 in all, round them; the top of 30 x 30, its rim a
    /// quarter of a round of 6 over 120 mm, and at the corners half of a ball (Steiner's formula). The rim is on the board.
    #[test]
    fn a_box_on_the_board_is_open_there() {
        let found = round(&cuboid([30.0, 30.0, 20.0]), 6.0);
        let pi = std::f64::consts::PI;
        let area = 20.0 * (120.0 + 2.0 * pi * 6.0) + 900.0 + 120.0 * 3.0 * pi + 2.0 * pi * 36.0;
        assert_relative_eq!(found.mesh.area(), area, max_relative = 0.01);
        assert_eq!(found.board, Some(0.0));
        let lowest = found.mesh.positions.iter().map(|p| p.z).fold(f64::INFINITY, f64::min);
        assert_eq!(lowest, 0.0);
    }

    /// A foot that runs out thin: the air above its rim is no blanket.
    #[test]
    fn round_a_sharp_rim_it_is_as_thick_as_elsewhere() {
        let corners = [[-20.0, -20.0], [20.0, -20.0], [20.0, 20.0], [-20.0, 20.0]];
        let mut positions: Vec<Point> =
            corners.iter().map(|&[x, y]| Point::new(x, y, 0.0)).collect();
        positions.push(Point::new(0.0, 0.0, 30.0));
        positions.extend(corners.iter().map(|&[x, y]| Point::new(0.2 * x, 0.2 * y, 1.0)));
        let mut faces = vec![[0, 3, 2], [0, 2, 1]];
        for k in 0..4 {
            let (a, b, c, d) = (k, (k + 1) % 4, 5 + k, 5 + (k + 1) % 4);
            faces.extend([[a, b, d], [a, d, c], [c, d, 4]]);
        }
        let model = TriangleMesh { positions, faces };
        let outside = round(&model, 6.0);
        let locator = SurfaceLocator::new(&model).expect("a surface");
        for p in &outside.mesh.positions {
            let away = locator.closest(p).distance;
            assert!((away - 6.0).abs() < outside.cell, "{p}: {away}");
        }
    }

    /// A ball that hangs below the board has rubber all round.
    #[test]
    fn what_hangs_has_rubber_beneath() {
        let found = round(&moved(&icosphere(20.0, 4), [0.0, 0.0, 0.0]), 5.0);
        assert_eq!(found.board, None);
        assert_relative_eq!(
            found.mesh.area(),
            4.0 * std::f64::consts::PI * 625.0,
            max_relative = 0.01
        );
        assert!(crate::mesh::Topology::new(&found.mesh).is_ok());
    }

    /// A bore of 12 mm is closed by a blanket of 8, one of 40 is not. The outside of the first is that of a rod.
    #[test]
    fn what_the_blanket_closes_is_no_outside() {
        let closed = round(&tube(6.0, 26.0, 60.0, 64), 8.0);
        let open = round(&tube(20.0, 26.0, 60.0, 64), 8.0);
        let within = |found: &BlanketOutside| {
            found.mesh.positions.iter().any(|p| p.x.hypot(p.y) < 15.0 && p.z < 40.0)
        };
        assert!(!within(&closed) && within(&open));
        let empty = TriangleMesh::default();
        let locator = SurfaceLocator::new(&cuboid([1.0; 3])).expect("a mesh");
        assert_eq!(blanket_outside(&empty, &locator, 5.0), None);
    }
}
