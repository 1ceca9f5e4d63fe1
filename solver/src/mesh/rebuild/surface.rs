//! From the field to a closed surface.
//!
//! Surface nets (the crate fast-surface-nets) say which cubes of the grid have a vertex and how the vertices hang
//! together. Where each vertex lies is settled as by Ju, Losasso, Schaefer & Warren, "Dual contouring of Hermite data"
//! (2002): nearest to the planes in which the soup crosses the cube's edges, so that edges and corners of the model stay
//! sharp; never outside its cube.

use fast_surface_nets::ndshape::RuntimeShape;
use fast_surface_nets::{SurfaceNetsBuffer, surface_nets};
use nalgebra::Matrix3;
use rayon::prelude::*;

use super::super::self_crossing::crossing_pairs;
use super::super::{Point, SurfaceLocator, TriangleMesh, Vector};
use super::field::Field;
use crate::control::{Cancel, Cancelled};

/// Weight of the mean crossing beside the planes: it decides only what these leave open.
const TIE: f64 = 0.02;
/// Rounds in which vertices of faces that cross go back to where surface nets put them.
const ROUNDS: usize = 8;

/// The surface of a field that is well composed.
pub(super) fn surface(
    field: &Field,
    soup: &SurfaceLocator,
    cancel: &Cancel,
) -> Result<TriangleMesh, Cancelled> {
    let shape = RuntimeShape::<u32, 3>::new(field.counts.map(|n| n as u32));
    let mut buffer = SurfaceNetsBuffer::default();
    let far = field.counts.map(|n| n as u32 - 1);
    surface_nets(&field.values, &shape, [0; 3], far, &mut buffer);
    let plain: Vec<Point> = buffer
        .positions
        .iter()
        .map(|p| field.origin + Vector::from(p.map(f64::from)) * field.cell)
        .collect();
    let positions: Vec<Point> = buffer
        .surface_points
        .par_iter()
        .zip(&plain)
        .map(|(cube, plain)| settled(field, soup, cube.map(|k| k as usize)).unwrap_or(*plain))
        .collect();
    let faces = buffer.indices.chunks_exact(3).map(|f| [f[0], f[1], f[2]]).collect();
    let mut mesh = TriangleMesh { positions, faces };
    part(&mut mesh, &plain, cancel)?;
    Ok(mesh)
}

/// Where the vertex of a cube belongs; `None` if no triangle crosses its edges.
fn settled(field: &Field, soup: &SurfaceLocator, cube: [usize; 3]) -> Option<Point> {
    let node = |k: usize| [cube[0] + (k & 1), cube[1] + (k >> 1 & 1), cube[2] + (k >> 2 & 1)];
    let (low, high) = (field.place(cube), field.place(node(7)));
    let mut sum = Vector::zeros();
    let mut count = 0.0;
    let mut planes: Vec<(Point, Vector)> = Vec::with_capacity(12);
    for from in 0..8usize {
        for axis in 0..3 {
            let to = from | 1 << axis;
            if to == from {
                continue;
            }
            let [a, b] = [from, to].map(|k| f64::from(field.values[field.index(node(k))]));
            if (a < 0.0) == (b < 0.0) {
                continue;
            }
            let (p, q) = (field.place(node(from)), field.place(node(to)));
            // From the outer end, so that of several sheets it is the outermost that is met.
            let (start, end) = if a < 0.0 { (q, p) } else { (p, q) };
            let crossing = match soup.ray(&start, &(end - start), field.cell) {
                Some(hit) => {
                    planes.push((hit.point, hit.normal));
                    hit.point
                }
                // A gap of the soup.
                None => p + (q - p) * (a / (a - b)),
            };
            sum += crossing.coords;
            count += 1.0;
        }
    }
    if planes.is_empty() {
        return None;
    }
    let mean = sum / count;
    let mut left = Matrix3::identity() * (TIE * count);
    let mut right = Vector::zeros();
    for (p, n) in &planes {
        left += n * n.transpose();
        right += n * n.dot(&(p.coords - mean));
    }
    let offset = left.cholesky()?.solve(&right);
    Some(Point::from(mean + offset).sup(&low).inf(&high))
}

/// Vertices of faces that cross go back to where surface nets put them, until none do or nothing is left to move.
fn part(mesh: &mut TriangleMesh, plain: &[Point], cancel: &Cancel) -> Result<(), Cancelled> {
    let mut back = vec![false; plain.len()];
    for _ in 0..ROUNDS {
        let Ok(locator) = SurfaceLocator::new(mesh) else { return Ok(()) };
        let Ok(pairs) = crossing_pairs(mesh, &locator, cancel)? else { return Ok(()) };
        let mut moved = false;
        for v in pairs.iter().flatten().flat_map(|f| mesh.faces[*f as usize]) {
            let v = v as usize;
            moved |= !back[v];
            back[v] = true;
        }
        if !moved {
            return Ok(());
        }
        for (v, _) in back.iter().enumerate().filter(|(_, back)| **back) {
            mesh.positions[v] = plain[v];
        }
    }
    Ok(())
}
