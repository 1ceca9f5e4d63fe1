//! Closed tubes: torus and knots, centred on the origin.

use std::f64::consts::TAU;

use slitwright_solver::mesh::{Point, TriangleMesh, Vector};

/// A torus about the z axis, lying flat: `big` is the radius of its core circle, `small` that of
/// its tube, with `around` rings of `across` vertices.
pub fn torus(big: f64, small: f64, around: usize, across: usize) -> TriangleMesh {
    let core: Vec<_> = (0..around)
        .map(|k| {
            let angle = TAU * k as f64 / around as f64;
            let outward = Vector::new(angle.cos(), angle.sin(), 0.0);
            Station { centre: Point::from(outward * big), side: outward, up: Vector::z() }
        })
        .collect();
    skinned(&core, small, across)
}

/// A torus with triangles of sides about `edge` mm, largest on the outer side.
pub fn torus_with_edge(big: f64, small: f64, edge: f64) -> TriangleMesh {
    let (around, across) = counts(TAU * big, small, edge);
    torus(big, small, around, across)
}

/// Rings along a core of the given length and vertices to a ring, for sides of about `edge`.
fn counts(length: f64, radius: f64, edge: f64) -> (usize, usize) {
    // An even number of rings, since every other one is turned by half a step.
    let around = 2 * (length / (edge * 0.75f64.sqrt()) / 2.0).round().max(3.0) as usize;
    (around, (TAU * radius / edge).round().max(6.0) as usize)
}

/// A closed tube of the given radius along a closed curve, `curve(0) == curve(1)`, smooth in
/// between and never closer to itself than two radii; triangles of sides about `edge` mm.
pub fn tube_along(curve: impl Fn(f64) -> Point, radius: f64, edge: f64) -> TriangleMesh {
    let fine = even_points(&curve, 4096);
    let length = (0..fine.len()).map(|k| (fine[(k + 1) % fine.len()] - fine[k]).norm()).sum();
    let (around, across) = counts(length, radius, edge);
    let points = even_points(&curve, around);
    skinned(&turned_frames(&points), radius, across)
}

/// A tube along a trefoil knot, about 6 `size` across; without self-crossing while `radius` is less
/// than 0.6 `size` (half the least distance between two strands, computed).
pub fn trefoil_tube(size: f64, radius: f64, edge: f64) -> TriangleMesh {
    let curve = |t: f64| {
        let a = TAU * t;
        let x = a.sin() + 2.0 * (2.0 * a).sin();
        let y = a.cos() - 2.0 * (2.0 * a).cos();
        Point::new(x, y, -(3.0 * a).sin()) * size
    };
    tube_along(curve, radius, edge)
}

/// A tube along a figure-eight knot, about 6 `size` across; without self-crossing while `radius` is
/// less than 0.57 `size` (half the least distance between two strands, computed).
pub fn figure_eight_tube(size: f64, radius: f64, edge: f64) -> TriangleMesh {
    let curve = |t: f64| {
        let a = TAU * t;
        let out = 2.0 + (2.0 * a).cos();
        Point::new(out * (3.0 * a).cos(), out * (3.0 * a).sin(), (4.0 * a).sin()) * size
    };
    tube_along(curve, radius, edge)
}

/// Points at equal steps of length along a closed curve.
fn even_points(curve: &impl Fn(f64) -> Point, count: usize) -> Vec<Point> {
    let fine = 16 * count;
    let mut along = vec![0.0];
    let samples: Vec<_> = (0..=fine).map(|k| curve(k as f64 / fine as f64)).collect();
    for k in 0..fine {
        along.push(along[k] + (samples[k + 1] - samples[k]).norm());
    }
    (0..count)
        .map(|k| {
            let wanted = along[fine] * k as f64 / count as f64;
            let at = along.partition_point(|&s| s <= wanted).min(fine);
            let part = (wanted - along[at - 1]) / (along[at] - along[at - 1]);
            curve((at as f64 - 1.0 + part) / fine as f64)
        })
        .collect()
}

/// A point of the core with two unit vectors across it; `side`, `up` and the core's direction make
/// a left-handed set, so that a walk from `side` to `up` is counter-clockwise seen against it.
struct Station {
    centre: Point,
    side: Vector,
    up: Vector,
}

/// Frames that turn as little as they can along the core (double reflection: Wang, Juettler,
/// Zheng, Liu, "Computation of rotation minimizing frames", ACM Trans. Graph. 27, 2008; from
/// memory); what is left over at the end is spread evenly so that the tube closes.
fn turned_frames(points: &[Point]) -> Vec<Station> {
    let n = points.len();
    let tangent = |k: usize| (points[(k + 1) % n] - points[(k + n - 1) % n]).normalize();
    let first = tangent(0);
    let axis = first.iamin();
    let mut side = Vector::ith(axis, 1.0);
    side = (side - first * first.dot(&side)).normalize();
    let start = side;
    let mut sides = vec![side];
    for k in 0..n {
        let (here, next) = (tangent(k % n), tangent((k + 1) % n));
        let chord = points[(k + 1) % n] - points[k];
        let reflect =
            |v: Vector, across: Vector| v - across * (2.0 * across.dot(&v) / across.norm_squared());
        let (moved_side, moved_tangent) = (reflect(side, chord), reflect(here, chord));
        side = reflect(moved_side, next - moved_tangent);
        sides.push(side);
    }
    let end = sides[n];
    let left_over = first.dot(&end.cross(&start)).atan2(end.dot(&start));
    (0..n)
        .map(|k| {
            let tangent = tangent(k);
            let turn = left_over * k as f64 / n as f64;
            let side = sides[k] * turn.cos() + tangent.cross(&sides[k]) * turn.sin();
            Station { centre: points[k], side, up: side.cross(&tangent) }
        })
        .collect()
}

/// Rings round the stations, every other one turned by half a step, joined into a closed tube.
fn skinned(stations: &[Station], radius: f64, across: usize) -> TriangleMesh {
    let around = stations.len();
    let staggered = around.is_multiple_of(2);
    let mut mesh = TriangleMesh::default();
    for (index, station) in stations.iter().enumerate() {
        let half = if staggered && index % 2 == 1 { 0.5 } else { 0.0 };
        for k in 0..across {
            let angle = TAU * (k as f64 + half) / across as f64;
            let out = station.side * angle.cos() + station.up * angle.sin();
            mesh.positions.push(station.centre + out * radius);
        }
    }
    for index in 0..around {
        let vertex = |ring: usize, k: usize| (ring % around * across + k % across) as u32;
        for k in 0..across {
            let (a, b) = (vertex(index, k), vertex(index, k + 1));
            let (c, d) = (vertex(index + 1, k), vertex(index + 1, k + 1));
            if staggered && index % 2 == 1 {
                mesh.faces.extend([[a, d, b], [a, c, d]]);
            } else {
                mesh.faces.extend([[a, c, b], [b, c, d]]);
            }
        }
    }
    mesh
}

#[cfg(test)]
mod tests {
    use std::f64::consts::PI;

    use super::*;
    use crate::measure::{assert_even, assert_shape};

    #[test]
    fn torus_has_its_closed_form() {
        let mesh = torus_with_edge(30.0, 10.0, 1.5);
        assert_shape(&mesh, 0, 2.0 * PI * PI * 30.0 * 100.0, 0.005);
        assert_even(&mesh, 1.5, 0.55, 1.5);
        assert_shape(&torus(30.0, 10.0, 101, 60), 0, 2.0 * PI * PI * 30.0 * 100.0, 0.005);
    }

    #[test]
    fn tube_round_a_circle_is_a_torus() {
        let circle = |t: f64| Point::new(30.0 * (TAU * t).cos(), 0.0, 30.0 * (TAU * t).sin());
        let mesh = tube_along(circle, 6.0, 1.0);
        assert_shape(&mesh, 0, 2.0 * PI * PI * 30.0 * 36.0, 0.006);
    }

    /// Pappus: the volume of a tube is its section times the length of its core; both lengths of
    /// core are integrated numerically here.
    #[test]
    fn knotted_tubes_keep_their_section() {
        let length = |curve: &dyn Fn(f64) -> [f64; 3]| -> f64 {
            (0..20000)
                .map(|k| {
                    let (a, b) = (curve(k as f64 / 20000.0), curve((k + 1) as f64 / 20000.0));
                    (Point::from(b) - Point::from(a)).norm()
                })
                .sum()
        };
        let trefoil = length(&|t| {
            let a = TAU * t;
            [a.sin() + 2.0 * (2.0 * a).sin(), a.cos() - 2.0 * (2.0 * a).cos(), (3.0 * a).sin()]
        });
        let mesh = trefoil_tube(10.0, 4.0, 1.0);
        assert_shape(&mesh, 0, PI * 16.0 * 10.0 * trefoil, 0.01);
        assert_even(&mesh, 1.0, 0.4, 1.8);
        let eight = length(&|t| {
            let a = TAU * t;
            let out = 2.0 + (2.0 * a).cos();
            [out * (3.0 * a).cos(), out * (3.0 * a).sin(), (4.0 * a).sin()]
        });
        let mesh = figure_eight_tube(10.0, 2.5, 0.7);
        assert_shape(&mesh, 0, PI * 6.25 * 10.0 * eight, 0.015);
    }
}
