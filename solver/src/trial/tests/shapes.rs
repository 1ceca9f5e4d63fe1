//! Bodies with known answers.

use crate::mesh::Point;
use crate::trial::{Skin, Solid};

/// A block of cells, each of six tetrahedra round its diagonal (Kuhn 1960), laid by `place` from
/// [0, 1]^3.
pub fn block(cells: [usize; 3], place: impl Fn([f64; 3]) -> Point) -> Solid {
    let [nx, ny, nz] = cells.map(|n| n + 1);
    let index = |at: [usize; 3]| ((at[2] * ny + at[1]) * nx + at[0]) as u32;
    let mut solid = Solid::default();
    for k in 0..nz {
        for j in 0..ny {
            for i in 0..nx {
                let share = |n: usize, axis: usize| n as f64 / cells[axis] as f64;
                solid.nodes.push(place([share(i, 0), share(j, 1), share(k, 2)]));
            }
        }
    }
    solid.skins = vec![Skin::None; solid.nodes.len()];
    for k in 0..cells[2] {
        for j in 0..cells[1] {
            for i in 0..cells[0] {
                for order in [[0, 1, 2], [1, 2, 0], [2, 0, 1], [0, 2, 1], [2, 1, 0], [1, 0, 2]] {
                    let mut at = [i, j, k];
                    let mut corners = [index(at); 4];
                    for (n, axis) in order.into_iter().enumerate() {
                        at[axis] += 1;
                        corners[n + 1] = index(at);
                    }
                    let last = solid.elements.len();
                    solid.elements.push(corners);
                    if solid.volume(last) < 0.0 {
                        solid.elements[last].swap(2, 3);
                    }
                }
            }
        }
    }
    solid
}
