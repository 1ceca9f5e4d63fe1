//! Is a closed polygon knotted? The determinant of a knot.
//!
//! Project the polygon, cut it into arcs at every undercrossing, and write for every crossing
//! 2 over - under - under = 0. Any first minor of this matrix has the knot's determinant as its
//! absolute value: 1 for the unknot, 3 for the trefoil, 5 for the figure eight (Livingston, C.
//! (1993), Knot Theory, MAA; tables from memory). So a determinant other than 1 proves that the
//! polygon bounds no disc at all. A determinant of 1 proves nothing.

use crate::mesh::{Point, Vector};

/// A prime above 2^60; determinants of shapes that anyone can cast are far below it.
const PRIME: u64 = (1 << 61) - 1;
/// Directions looked along.
const DIRECTIONS: usize = 16;

/// Determinant of the knot that a closed polygon makes, or `None` where no two directions to look
/// along give clean and equal answers (the polygon touches itself).
pub(super) fn determinant(polygon: &[Point]) -> Option<u64> {
    let mut views: Vec<Vec<Crossing>> =
        (0..DIRECTIONS).filter_map(|k| crossings(polygon, direction(k))).collect();
    views.sort_by_key(Vec::len);
    let [first, second, ..] = &views[..] else { return None };
    let value = from_crossings(first);
    (value == from_crossings(second)).then_some(value)
}

/// Directions spread over the sphere on a spiral, none along an axis.
fn direction(k: usize) -> Vector {
    let z = 1.0 - (2.0 * k as f64 + 1.137) / (2.0 * DIRECTIONS as f64);
    let turn = 2.399_963_229_728_653 * k as f64 + 0.317;
    let flat = (1.0 - z * z).sqrt();
    Vector::new(flat * turn.cos(), flat * turn.sin(), z)
}

/// A crossing as two places along the polygon (segment plus part of it).
#[derive(Clone, Copy, Debug)]
struct Crossing {
    over: f64,
    under: f64,
}

fn crossings(polygon: &[Point], along: Vector) -> Option<Vec<Crossing>> {
    let (x, y) = super::outline::plane_axes(along);
    let flat: Vec<[f64; 3]> = polygon
        .iter()
        .map(|p| [p.coords.dot(&x), p.coords.dot(&y), p.coords.dot(&along)])
        .collect();
    let n = flat.len();
    let mut found = Vec::new();
    for i in 0..n {
        for j in i + 1..n {
            if (i + 1) % n == j || (j + 1) % n == i {
                continue;
            }
            let (a, b, c, d) = (flat[i], flat[(i + 1) % n], flat[j], flat[(j + 1) % n]);
            let cross = |o: [f64; 3], p: [f64; 3], q: [f64; 3]| {
                (p[0] - o[0]) * (q[1] - o[1]) - (p[1] - o[1]) * (q[0] - o[0])
            };
            let (s, t) = (cross(a, b, c), cross(a, b, d));
            let (u, v) = (cross(c, d, a), cross(c, d, b));
            if s * t > 0.0 || u * v > 0.0 {
                continue;
            }
            if s * t == 0.0 || u * v == 0.0 {
                return None;
            }
            let (at_i, at_j) = (u / (u - v), s / (s - t));
            let height_i = a[2] + at_i * (b[2] - a[2]);
            let height_j = c[2] + at_j * (d[2] - c[2]);
            if height_i == height_j {
                return None;
            }
            let (place_i, place_j) = (i as f64 + at_i, j as f64 + at_j);
            found.push(if height_i > height_j {
                Crossing { over: place_i, under: place_j }
            } else {
                Crossing { over: place_j, under: place_i }
            });
        }
    }
    Some(found)
}

fn from_crossings(crossings: &[Crossing]) -> u64 {
    let n = crossings.len();
    if n < 3 {
        return 1;
    }
    let mut cuts: Vec<f64> = crossings.iter().map(|c| c.under).collect();
    cuts.sort_by(f64::total_cmp);
    let mut matrix = vec![vec![0u64; n]; n];
    let add = |row: &mut Vec<u64>, arc: usize, value: u64| {
        row[arc % n] = (row[arc % n] + value) % PRIME;
    };
    for (row, crossing) in matrix.iter_mut().zip(crossings) {
        // Arc k runs from cut k - 1 to cut k.
        let over = cuts.partition_point(|&c| c < crossing.over);
        let before = cuts.partition_point(|&c| c < crossing.under);
        add(row, over, 2);
        add(row, before, PRIME - 1);
        add(row, before + 1, PRIME - 1);
    }
    matrix.truncate(n - 1);
    for row in &mut matrix {
        row.truncate(n - 1);
    }
    let value = determinant_mod(matrix);
    value.min(PRIME - value)
}

fn determinant_mod(mut matrix: Vec<Vec<u64>>) -> u64 {
    let n = matrix.len();
    let times = |a: u64, b: u64| (u128::from(a) * u128::from(b) % u128::from(PRIME)) as u64;
    let power = |mut base: u64, mut exponent: u64| {
        let mut result = 1;
        while exponent > 0 {
            if exponent & 1 == 1 {
                result = times(result, base);
            }
            base = times(base, base);
            exponent >>= 1;
        }
        result
    };
    let mut result = 1;
    for column in 0..n {
        let Some(pivot) = (column..n).find(|&r| matrix[r][column] != 0) else { return 0 };
        if pivot != column {
            matrix.swap(pivot, column);
            result = (PRIME - result) % PRIME;
        }
        let lead = matrix[column][column];
        result = times(result, lead);
        let inverse = power(lead, PRIME - 2);
        let top = matrix[column].clone();
        for row in matrix.iter_mut().skip(column + 1) {
            let factor = times(row[column], inverse);
            if factor != 0 {
                for (value, &above) in row.iter_mut().zip(&top).skip(column) {
                    *value = (*value + PRIME - times(factor, above)) % PRIME;
                }
            }
        }
    }
    result
}

#[cfg(test)]
mod tests {
    use std::f64::consts::TAU;

    use super::*;

    fn torus_knot(p: f64, q: f64, n: usize) -> Vec<Point> {
        (0..n)
            .map(|i| {
                let t = TAU * i as f64 / n as f64;
                let r = 2.0 + (q * t).cos();
                Point::new(r * (p * t).cos(), r * (p * t).sin(), (q * t).sin())
            })
            .collect()
    }

    /// Knot tables (from memory): unknot 1, trefoil 3, figure eight 5, T(2,5) 5, T(2,7) 7,
    /// T(3,4) 3.
    #[test]
    fn determinants_of_known_knots() {
        let figure_eight: Vec<Point> = (0..240)
            .map(|i| {
                let t = TAU * i as f64 / 240.0;
                let r = 2.0 + (2.0 * t).cos();
                Point::new(r * (3.0 * t).cos(), r * (3.0 * t).sin(), (4.0 * t).sin())
            })
            .collect();
        assert_eq!(determinant(&torus_knot(1.0, 3.0, 150)), Some(1));
        assert_eq!(determinant(&torus_knot(2.0, 3.0, 150)), Some(3));
        assert_eq!(determinant(&figure_eight), Some(5));
        assert_eq!(determinant(&torus_knot(2.0, 5.0, 200)), Some(5));
        assert_eq!(determinant(&torus_knot(2.0, 7.0, 250)), Some(7));
        assert_eq!(determinant(&torus_knot(3.0, 4.0, 250)), Some(3));
    }
}
