//! Shapes made of cubes: boxes, plates with holes, arches, stools.

use std::collections::BTreeMap;

use slitwright_solver::mesh::{Point, TriangleMesh};

/// A box standing on z = 0 with a corner at the origin. Each side is divided into the given number
/// of rectangles, each of them into two triangles.
pub fn box_mesh(size: [f64; 3], divisions: [usize; 3]) -> TriangleMesh {
    let mut mesh = blocks_mesh(divisions, 1.0, |_| true);
    for p in &mut mesh.positions {
        for axis in 0..3 {
            p[axis] *= size[axis] / divisions[axis] as f64;
        }
    }
    mesh
}

/// The surface of those cubes, of side `cell`, for which `filled` says yes, on a grid of
/// `counts` cubes with a corner at the origin.
///
/// Cubes that touch along an edge or at a corner only make a surface that is not a manifold: the
/// caller chooses shapes without such places.
pub fn blocks_mesh(
    counts: [usize; 3],
    cell: f64,
    filled: impl Fn([usize; 3]) -> bool,
) -> TriangleMesh {
    let solid = |at: [i64; 3]| {
        (0..3).all(|k| at[k] >= 0 && at[k] < counts[k] as i64) && filled(at.map(|v| v as usize))
    };
    let mut numbers: BTreeMap<[i64; 3], u32> = BTreeMap::new();
    let mut mesh = TriangleMesh::default();
    let counts = counts.map(|c| c as i64);
    for z in 0..counts[2] {
        for y in 0..counts[1] {
            for x in 0..counts[0] {
                let at = [x, y, z];
                if !solid(at) {
                    continue;
                }
                for (axis, positive) in (0..3).flat_map(|axis| [(axis, false), (axis, true)]) {
                    let mut beside = at;
                    beside[axis] += if positive { 1 } else { -1 };
                    if solid(beside) {
                        continue;
                    }
                    let corners = cube_side(at, axis, positive).map(|corner| {
                        *numbers.entry(corner).or_insert_with(|| {
                            let [x, y, z] = corner.map(|v| v as f64 * cell);
                            mesh.positions.push(Point::new(x, y, z));
                            mesh.positions.len() as u32 - 1
                        })
                    });
                    // Diagonals alternate, so that no direction is favoured along a whole side.
                    let turn = usize::from((x + y + z) % 2 == 0);
                    let [a, b, c, d] = [0, 1, 2, 3].map(|k| corners[(k + turn) % 4]);
                    mesh.faces.extend([[a, b, c], [a, c, d]]);
                }
            }
        }
    }
    mesh
}

/// The corners of one side of the cube at `at`, counter-clockwise seen from outside.
fn cube_side(at: [i64; 3], axis: usize, positive: bool) -> [[i64; 3]; 4] {
    let (u, v) = ((axis + 1) % 3, (axis + 2) % 3);
    let mut corners = [(0, 0), (1, 0), (1, 1), (0, 1)].map(|(du, dv)| {
        let mut corner = at;
        corner[axis] += i64::from(positive);
        corner[u] += du;
        corner[v] += dv;
        corner
    });
    if !positive {
        corners.reverse();
    }
    corners
}

/// A plate lying on z = 0 with `holes` square holes in a row, each 10 mm wide and 10 mm from the
/// next and from the rim: genus `holes`. The plate is 30 mm wide and 10 mm thick. `fine` is the
/// number of cubes to 10 mm.
pub fn handles_plate(holes: usize, fine: usize) -> TriangleMesh {
    blocks_mesh([(2 * holes + 1) * fine, 3 * fine, fine], 10.0 / fine as f64, |[x, y, _]| {
        !((x / fine) % 2 == 1 && y / fine == 1)
    })
}

/// Two feet 10 mm square, 10 mm apart and 20 mm high, with a beam 10 mm high over them: a ball in
/// topology, but with the board a hole between the feet. `fine` is the number of cubes to 10 mm.
pub fn two_footed_arch(fine: usize) -> TriangleMesh {
    blocks_mesh([3 * fine, fine, 3 * fine], 10.0 / fine as f64, |[x, _, z]| {
        z / fine == 2 || x / fine != 1
    })
}

/// A seat 10 mm thick on `feet` >= 1 feet, each 10 mm square and 20 mm high, 10 mm apart on a
/// square pattern; with the board, `feet` - 1 independent holes. `fine` is the number of cubes to
/// 10 mm.
pub fn stool(feet: usize, fine: usize) -> TriangleMesh {
    let columns = (1..).find(|c| c * c >= feet).unwrap_or(1);
    let rows = feet.div_ceil(columns);
    let counts = [(2 * columns - 1) * fine, (2 * rows - 1) * fine, 3 * fine];
    blocks_mesh(counts, 10.0 / fine as f64, |[x, y, z]| {
        let (column, row) = (x / fine, y / fine);
        let foot = column % 2 == 0 && row % 2 == 0 && column / 2 + columns * (row / 2) < feet;
        z / fine == 2 || foot
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::assert_shape;

    #[test]
    fn boxes_have_exact_volume_and_area() {
        let mesh = box_mesh([20.0, 30.0, 40.0], [4, 6, 8]);
        assert_shape(&mesh, 2, 24000.0, 1e-12);
        assert!((mesh.area() - 2.0 * (600.0 + 800.0 + 1200.0)).abs() < 1e-9);
    }

    #[test]
    fn plates_have_the_genus_asked_for() {
        for holes in 0..5 {
            let volume = 10.0 * (30.0 * (20.0 * holes as f64 + 10.0) - 100.0 * holes as f64);
            assert_shape(&handles_plate(holes, 2), 2 - 2 * holes as i64, volume, 1e-12);
        }
    }

    #[test]
    fn arch_is_a_ball_without_its_board() {
        assert_shape(&two_footed_arch(3), 2, 7000.0, 1e-12);
        assert!(two_footed_arch(1).positions.iter().any(|p| p.z == 0.0));
    }

    #[test]
    fn stools_have_their_feet() {
        for feet in 1..=6 {
            let mesh = stool(feet, 2);
            let columns = (feet as f64).sqrt().ceil();
            let rows = (feet as f64 / columns).ceil();
            let seat = 1000.0 * (2.0 * columns - 1.0) * (2.0 * rows - 1.0);
            assert_shape(&mesh, 2, seat + 2000.0 * feet as f64, 1e-12);
            let standing: f64 = (0..mesh.faces.len() as u32)
                .map(slitwright_solver::mesh::FaceId)
                .filter(|&f| mesh.corners(f).iter().all(|p| p.z == 0.0))
                .map(|f| mesh.face_area(f))
                .sum();
            assert!((standing - 100.0 * feet as f64).abs() < 1e-9, "{feet} feet: {standing} mm^2");
        }
    }
}
