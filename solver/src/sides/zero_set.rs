//! The surface on which a potential is zero, as triangles.
//!
//! Every cell of the grid is split into six tetrahedra round its diagonal; in each the potential is taken as
//! linear (marching tetrahedra: Doi & Koide 1991, IEICE Trans. E74). Neighbouring cells split their common
//! face alike, so that the surface has no cracks.

use std::collections::HashMap;

use rayon::prelude::*;

use crate::field::{Grid, Place, Potential};
use crate::mesh::{Point, TriangleMesh};

/// The six tetrahedra of a cell, by corners numbered x + 2 y + 4 z, all of one orientation.
const TETRAHEDRA: [[usize; 4]; 6] =
    [[0, 1, 3, 7], [0, 3, 2, 7], [0, 2, 6, 7], [0, 6, 4, 7], [0, 4, 5, 7], [0, 5, 1, 7]];

/// An edge between two nodes of the grid, the lower index first.
type Key = [u32; 2];

/// The zero set of a potential: in the rubber, `beyond` mm on from the outside, and through the model, where `inside`
/// tells the sides. So it parts all that is in front from all that is behind: coarse elements of rubber cut the corners of the model,
/// may go through a thin part of it, and reach over the folds of a blanket's outside.
/// Triangles are counter-clockwise seen from where the potential is positive.
pub fn zero_set(
    potential: &Potential,
    inside: &(dyn Fn(&Point) -> f64 + Sync),
    beyond: f64,
) -> TriangleMesh {
    let grid = potential.grid();
    let [nx, ny, nz] = grid.counts;
    let at = |n: usize| {
        let node = grid.node(n);
        let continued = potential.near_node(node);
        continued.or_else(|| match potential.place(node) {
            Place::Model | Place::Gap => Some(inside(&grid.position(node))),
            Place::Rubber | Place::Outside => None,
        })
    };
    let mut values: Vec<f64> =
        (0..grid.len()).into_par_iter().map(|n| at(n).unwrap_or(f64::NAN)).collect();
    let layers = (beyond / grid.spacing).ceil() as usize;
    if layers > 0 {
        // Farther out the potential's own continuation is soon worth nothing.
        let nodes = values.par_iter_mut().enumerate();
        nodes.for_each(|(n, value)| {
            let node = grid.node(n);
            let is_far = || !neighbours(grid, node).any(|n| potential.place(n) == Place::Rubber);
            if potential.place(node) == Place::Outside && is_far() {
                *value = f64::NAN;
            }
        });
    }
    for _ in 0..layers {
        values = continued(potential, &values);
    }
    let layers: Vec<Vec<[Key; 3]>> = (0..nz - 1)
        .into_par_iter()
        .map(|k| {
            let mut faces = Vec::new();
            for j in 0..ny - 1 {
                for i in 0..nx - 1 {
                    cell(potential, &values, [i, j, k], beyond > 0.0, &mut faces);
                }
            }
            faces
        })
        .collect();
    let mut number: HashMap<Key, u32> = HashMap::new();
    let mut mesh = TriangleMesh::default();
    for face in layers.iter().flatten() {
        let corners = face.map(|key| {
            *number.entry(key).or_insert_with(|| {
                let (u, v) = (values[key[0] as usize], values[key[1] as usize]);
                let [p, q]: [Point; 2] = key.map(|n| grid.position(grid.node(n as usize)));
                // Off the very ends, so that no triangle loses all its area.
                let share = (u / (u - v)).clamp(0.02, 0.98);
                mesh.positions.push(p + (q - p) * share);
                mesh.positions.len() as u32 - 1
            })
        });
        mesh.faces.push(corners);
    }
    mesh
}

/// The nodes next to one along the axes.
fn neighbours(grid: &Grid, node: [usize; 3]) -> impl Iterator<Item = [usize; 3]> {
    let steps = (0..3).flat_map(|axis| [(axis, -1), (axis, 1)]);
    steps.filter_map(move |(axis, step)| {
        let mut near = node;
        near[axis] = node[axis].checked_add_signed(step)?;
        (near[axis] < grid.counts[axis]).then_some(near)
    })
}

/// The values with one more layer of nodes outside, each the mean of its neighbours that are known.
fn continued(potential: &Potential, values: &[f64]) -> Vec<f64> {
    let grid = potential.grid();
    let mean = |n: usize| {
        let node = grid.node(n);
        if values[n].is_finite() || potential.place(node) != Place::Outside {
            return values[n];
        }
        let known = neighbours(grid, node).map(|n| values[grid.index(n)]).filter(|v| v.is_finite());
        let (sum, count) = known.fold((0.0, 0.0), |(sum, count), v| (sum + v, count + 1.0));
        // Not a number where none is known.
        sum / count
    };
    (0..grid.len()).into_par_iter().map(mean).collect()
}

fn cell(
    potential: &Potential,
    values: &[f64],
    low: [usize; 3],
    beyond: bool,
    faces: &mut Vec<[Key; 3]>,
) {
    let grid = potential.grid();
    let mut index = [0u32; 8];
    let mut value = [0.0; 8];
    let mut is_outside = true;
    for corner in 0..8 {
        let node = [low[0] + (corner & 1), low[1] + (corner >> 1 & 1), low[2] + (corner >> 2 & 1)];
        let n = grid.index(node);
        (index[corner], value[corner]) = (n as u32, values[n]);
        is_outside &= potential.place(node) == Place::Outside;
    }
    let front = value.map(|v| v > 0.0);
    let is_known = (beyond || !is_outside) && value.iter().all(|v| v.is_finite());
    if !is_known || front == [true; 8] || front == [false; 8] {
        return;
    }
    let key = |a: usize, b: usize| -> Key {
        let (a, b) = (index[a], index[b]);
        [a.min(b), a.max(b)]
    };
    for tetrahedron in TETRAHEDRA {
        let ahead: Vec<usize> = (0..4).filter(|&k| front[tetrahedron[k]]).collect();
        let behind: Vec<usize> = (0..4).filter(|&k| !front[tetrahedron[k]]).collect();
        // Even permutations of the corners keep the orientation.
        let even = |order: [usize; 4]| {
            let turns = (0..4).flat_map(|i| (0..i).map(move |j| (j, i)));
            turns.filter(|&(j, i)| order[j] > order[i]).count() % 2 == 0
        };
        let on = |a: usize, b: usize| key(tetrahedron[a], tetrahedron[b]);
        let mut push = |a: Key, b: Key, c: Key, flip: bool| {
            faces.push(if flip { [a, c, b] } else { [a, b, c] });
        };
        match (ahead.as_slice(), behind.as_slice()) {
            (&[a], &[b, c, d]) => push(on(a, b), on(a, c), on(a, d), even([a, b, c, d])),
            (&[b, c, d], &[a]) => push(on(a, b), on(a, c), on(a, d), !even([a, b, c, d])),
            (&[a, b], &[c, d]) => {
                let flip = even([a, b, c, d]);
                push(on(a, c), on(a, d), on(b, d), flip);
                push(on(a, c), on(b, d), on(b, c), flip);
            }
            _ => {}
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::control::Control;
    use crate::field::{Equations, ImplicitDomain};
    use crate::mesh::{FaceId, Vector};

    /// A ball in a ball, parted along z = 0.3 of the inner radius: the surface is a ring round the axis whose normals
    /// look to the positive side.
    #[test]
    fn a_ball_seen_along_z_is_parted_by_a_plane() {
        let domain = ImplicitDomain {
            model: |p: &Point| p.coords.norm() - 10.0,
            outside: |p: &Point| p.coords.amax() - 20.0,
            bounds: (Point::new(-20.0, -20.0, -20.0), Point::new(20.0, 20.0, 20.0)),
            on_board: false,
        };
        let control = Control::silent();
        let equations = Equations::insulated(&domain, 1.0, &control).expect("equations");
        let side = |p: &Point| if p.z > 0.0 { 1.0 } else { -1.0 };
        let potential = equations.solve_sides(&side, 1e-8, &control).expect("solved");
        let mesh = zero_set(&potential, &side, 0.0);
        assert!(!mesh.faces.is_empty());
        let (mut area, mut off) = (0.0, 0.0);
        for f in 0..mesh.faces.len() as u32 {
            let normal = mesh.area_vector(FaceId(f));
            let middle = mesh.face_middle(FaceId(f));
            // What is drawn out beyond the rubber bounds nothing.
            if middle.coords.amax() > 20.0 || middle.coords.norm() < 10.0 {
                continue;
            }
            // By symmetry the zero set is the plane z = 0 (derivation: the mirrored potential is its negative). On the
            // model the jump of the sides is known no better than by which edge of the grid it lies on: half a cell.
            assert!(middle.z.abs() < 0.5, "{middle}");
            assert!(normal.dot(&Vector::z()) >= -1e-9, "{normal}");
            area += 0.5 * normal.z;
            off += 0.5 * normal.z * middle.z.abs();
        }
        // A square of 40 mm less a disc of 10 mm.
        let exact = 1600.0 - std::f64::consts::PI * 100.0;
        assert!((area / exact - 1.0).abs() < 0.03, "{area} of {exact}");
        // On the whole a twentieth of a cell: what the model's steps do decays over a cell or two.
        assert!(off / area < 0.05, "{}", off / area);
    }
}
