//! Where the plane across a cut meets the model, the rubber's skin and the board: closed outlines
//! in the plane, mm.

use std::collections::HashMap;
use std::f64::consts::TAU;

use crate::body::Outside;
use crate::mesh::{Point, TriangleMesh, Vector};
use crate::nalgebra::Isometry3;
use crate::outputs::pictures::surface::Surface;
use crate::plan::RubberSkin;
use crate::sheets::Station;

/// A place in the plane: to the right and up, mm from the station.
pub(super) type Flat = [f64; 2];

/// The plane across a cut that holds the knife at a station, looked at along the cut with the outside
/// up. Where the knife leans along the cut the plane leans with it, so that depths are true.
#[derive(Clone, Copy, Debug)]
pub(super) struct Plane {
    pub origin: Point,
    pub right: Vector,
    pub up: Vector,
    pub ahead: Vector,
}

impl Plane {
    pub fn at(station: &Station) -> Self {
        let right = station.ahead.cross(&station.normal);
        let knife = station.on_outside - station.on_model;
        let knife = if knife.norm() > 1e-6 { knife } else { station.direction };
        let up = (knife - right * knife.dot(&right)).try_normalize(1e-6);
        let up = up.unwrap_or(station.normal);
        Self { origin: station.on_model, right, up, ahead: up.cross(&right) }
    }

    /// A point seen along the cut.
    pub fn flat(&self, point: &Point) -> Flat {
        let offset = point - self.origin;
        [offset.dot(&self.right), offset.dot(&self.up)]
    }

    fn point(&self, [x, y]: Flat) -> Point {
        self.origin + self.right * x + self.up * y
    }

    fn moved(&self, pose: &Isometry3<f64>) -> Self {
        Self {
            origin: pose * self.origin,
            right: pose.rotation * self.right,
            up: pose.rotation * self.up,
            ahead: pose.rotation * self.ahead,
        }
    }
}

/// Joins pieces that share the key of an end into lines. A line that closes has its first point once.
fn chained(points: &HashMap<u64, Flat>, pieces: &[[u64; 2]]) -> Vec<Vec<Flat>> {
    let mut at: HashMap<u64, Vec<usize>> = HashMap::new();
    for (index, piece) in pieces.iter().enumerate() {
        for key in piece {
            at.entry(*key).or_default().push(index);
        }
    }
    let mut used = vec![false; pieces.len()];
    let mut lines = Vec::new();
    for first in 0..pieces.len() {
        if used[first] {
            continue;
        }
        used[first] = true;
        let [start, mut end] = pieces[first];
        let mut keys = vec![start, end];
        while end != start {
            let next = at.get(&end).and_then(|own| own.iter().find(|&&index| !used[index]));
            let Some(&next) = next else { break };
            used[next] = true;
            let [a, b] = pieces[next];
            end = if a == end { b } else { a };
            keys.push(end);
        }
        if keys.len() > 1 && keys.first() == keys.last() {
            keys.pop();
        }
        lines.push(keys.iter().filter_map(|key| points.get(key).copied()).collect());
    }
    lines
}

fn edge_key(a: u32, b: u32) -> u64 {
    (u64::from(a.min(b)) << 32) | u64::from(a.max(b))
}

/// Outlines of the model.
pub(super) fn of_model(mesh: &TriangleMesh, plane: &Plane) -> Vec<Vec<Flat>> {
    let heights: Vec<f64> =
        mesh.positions.iter().map(|p| (p - plane.origin).dot(&plane.ahead)).collect();
    let (mut points, mut pieces) = (HashMap::new(), Vec::new());
    for &face in &mesh.faces {
        // A corner on the plane counts as in front of it, so that a face that meets the plane has
        // two edges that cross it, always.
        let mut ends = Vec::with_capacity(2);
        for k in 0..3 {
            let (a, b) = (face[k], face[(k + 1) % 3]);
            let (ha, hb) = (heights[a as usize], heights[b as usize]);
            if (ha >= 0.0) == (hb >= 0.0) {
                continue;
            }
            let (from, to) = (mesh.positions[a as usize], mesh.positions[b as usize]);
            let key = edge_key(a, b);
            points
                .entry(key)
                .or_insert_with(|| plane.flat(&(from + (to - from) * (ha / (ha - hb)))));
            ends.push(key);
        }
        if let [a, b] = ends[..] {
            pieces.push([a, b]);
        }
    }
    chained(&points, &pieces)
}

/// Sides of the polygon that stands for a round mould.
const ROUND: u32 = 120;
/// Cells of the grid on which a blanket's skin is found, along the longer side of the window.
const CELLS: f64 = 150.0;

/// Outlines of the rubber's outer skin within a window from `low` to `high`. The model is not taken
/// off.
pub(super) fn of_skin(
    skin: &RubberSkin,
    surface: &Surface,
    plane: &Plane,
    low: Flat,
    high: Flat,
) -> Vec<Vec<Flat>> {
    let mould = plane.moved(&skin.to_mould);
    match skin.outside {
        Outside::Box { low: least, high: most } => {
            let walls = (0..3).flat_map(|k| {
                let axis = Vector::ith(k, 1.0);
                [(axis, most[k]), (-axis, -least[k])]
            });
            vec![clipped(window(low, high), &mould, walls)]
        }
        Outside::Cylinder { axis: (x, y), radius, bottom, top } => {
            let round = (0..ROUND).map(|k| {
                let (sine, cosine) = (TAU * f64::from(k) / f64::from(ROUND)).sin_cos();
                let out = Vector::new(cosine, sine, 0.0);
                (out, radius + out.x * x + out.y * y)
            });
            let ends = [(Vector::z(), top), (-Vector::z(), -bottom)];
            vec![clipped(window(low, high), &mould, round.chain(ends))]
        }
        Outside::Offset { thickness, bottom } => {
            let depth = |flat: Flat| {
                let point = plane.point(flat);
                let near = thickness - (surface.foot(point).point - point).norm();
                near.min(mould.point(flat).z - bottom)
            };
            level(depth, low, high)
        }
    }
}

fn window(low: Flat, high: Flat) -> Vec<Flat> {
    vec![low, [high[0], low[1]], high, [low[0], high[1]]]
}

/// What of a convex polygon in the plane lies on the inner side of some walls, each an outward
/// direction and how far out it stands.
fn clipped(
    polygon: Vec<Flat>,
    plane: &Plane,
    walls: impl Iterator<Item = (Vector, f64)>,
) -> Vec<Flat> {
    let mut inside = polygon;
    for (out, distance) in walls {
        let beyond = |p: &Flat| plane.point(*p).coords.dot(&out) - distance;
        let mut kept = Vec::with_capacity(inside.len() + 1);
        for (index, a) in inside.iter().enumerate() {
            let b = &inside[(index + 1) % inside.len()];
            let (from, to) = (beyond(a), beyond(b));
            if from <= 0.0 {
                kept.push(*a);
            }
            if (from <= 0.0) != (to <= 0.0) {
                let share = from / (from - to);
                kept.push([a[0] + (b[0] - a[0]) * share, a[1] + (b[1] - a[1]) * share]);
            }
        }
        inside = kept;
    }
    inside
}

/// Outlines of where a function is above 0, by marching squares on a grid over the window: straight
/// pieces between the places where it passes through 0 along the grid's lines. The window's edge
/// closes them.
fn level(depth: impl Fn(Flat) -> f64, low: Flat, high: Flat) -> Vec<Vec<Flat>> {
    let step = (high[0] - low[0]).max(high[1] - low[1]) / CELLS;
    let count = |k: usize| ((high[k] - low[k]) / step).ceil().max(1.0) as usize + 1;
    let (columns, rows) = (count(0), count(1));
    let place = |i: usize, j: usize| [low[0] + i as f64 * step, low[1] + j as f64 * step];
    let mut values = vec![-1.0; columns * rows];
    for j in 1..rows.saturating_sub(1) {
        for i in 1..columns - 1 {
            values[j * columns + i] = depth(place(i, j));
        }
    }
    let (mut points, mut pieces) = (HashMap::new(), Vec::new());
    for j in 1..rows {
        for i in 1..columns {
            let ring = [(i - 1, j - 1), (i, j - 1), (i, j), (i - 1, j)];
            let mut ends = Vec::with_capacity(4);
            for k in 0..4 {
                let ((ai, aj), (bi, bj)) = (ring[k], ring[(k + 1) % 4]);
                let (a, b) = (aj * columns + ai, bj * columns + bi);
                let (va, vb): (f64, f64) = (values[a], values[b]);
                if (va > 0.0) == (vb > 0.0) {
                    continue;
                }
                let (from, to, share) = (place(ai, aj), place(bi, bj), va / (va - vb));
                let key = edge_key(a as u32, b as u32);
                points.entry(key).or_insert([
                    from[0] + (to[0] - from[0]) * share,
                    from[1] + (to[1] - from[1]) * share,
                ]);
                ends.push(key);
            }
            // Four ends: a saddle between two corners inside. Either pairing will do for a drawing.
            for pair in ends.chunks_exact(2) {
                pieces.push([pair[0], pair[1]]);
            }
        }
    }
    chained(&points, &pieces)
}

/// The board's line in the plane: a point of it, its direction, and the direction away from the
/// board. `None` where the mould hangs free or the plane runs along the board.
pub(super) fn of_board(skin: &RubberSkin, plane: &Plane) -> Option<(Flat, Flat, Flat)> {
    let bottom = match skin.outside {
        Outside::Box { low, .. } => low.z,
        Outside::Cylinder { bottom, .. } | Outside::Offset { bottom, .. } => bottom,
    };
    let mould = plane.moved(&skin.to_mould);
    let rise = [mould.right.z, mould.up.z];
    let steep = rise[0].hypot(rise[1]);
    if bottom < 0.0 || steep < 0.05 {
        return None;
    }
    let out = [rise[0] / steep, rise[1] / steep];
    let below = (mould.origin.z - bottom) / steep;
    let at = [-out[0] * below, -out[1] * below];
    Some((at, [-out[1], out[0]], out))
}

/// Lines at 45 degrees across what an odd number of outlines surround, `spacing` apart.
pub(super) fn hatch(outlines: &[Vec<Flat>], spacing: f64) -> Vec<[Flat; 2]> {
    // Across and along the hatching, both times the square root of two.
    let turn = |[x, y]: Flat| [x - y, x + y];
    let back = |[s, t]: Flat| [0.5 * (s + t), 0.5 * (t - s)];
    let step = spacing * std::f64::consts::SQRT_2;
    let mut crossings: HashMap<i64, Vec<f64>> = HashMap::new();
    for outline in outlines {
        for (index, a) in outline.iter().enumerate() {
            let (a, b) = (turn(*a), turn(outline[(index + 1) % outline.len()]));
            let (low, high) = if a[0] <= b[0] { (a, b) } else { (b, a) };
            // Half open, so that a corner on a line counts once.
            let mut line = (low[0] / step).ceil() as i64;
            while (line as f64) * step < high[0] {
                let share = (line as f64 * step - low[0]) / (high[0] - low[0]);
                crossings.entry(line).or_default().push(low[1] + (high[1] - low[1]) * share);
                line += 1;
            }
        }
    }
    let mut lines: Vec<(i64, Vec<f64>)> = crossings.into_iter().collect();
    lines.sort_by_key(|(line, _)| *line);
    let mut pieces = Vec::new();
    for (line, mut along) in lines {
        along.sort_by(f64::total_cmp);
        for pair in along.chunks_exact(2) {
            pieces.push([pair[0], pair[1]].map(|t| back([line as f64 * step, t])));
        }
    }
    pieces
}

#[cfg(test)]
mod tests {
    use std::f64::consts::PI;

    use approx::assert_relative_eq;

    use super::*;
    use crate::mesh::fixtures::icosphere;
    use crate::outputs::fixtures::station;

    fn area(outline: &[Flat]) -> f64 {
        let pairs = outline.iter().zip(outline.iter().cycle().skip(1));
        0.5 * pairs.map(|(a, b)| a[0] * b[1] - a[1] * b[0]).sum::<f64>().abs()
    }

    /// A plane at distance d from the middle of a ball of radius R cuts a disc of pi (R^2 - d^2).
    #[test]
    fn a_ball_is_cut_in_a_disc() {
        let ball = icosphere(20.0, 5);
        let plane = Plane { origin: Point::new(12.0, 0.0, 16.0), ..Plane::at(&station(0.0)) };
        let outlines = of_model(&ball, &plane);
        assert_eq!(outlines.len(), 1);
        assert_relative_eq!(area(&outlines[0]), PI * 256.0, max_relative = 0.005);
        let far = Plane { origin: Point::new(21.0, 0.0, 0.0), ..plane };
        assert!(of_model(&ball, &far).is_empty());
    }

    /// The blanket's skin round that disc: a disc of radius R + t cut at the same distance.
    #[test]
    fn skins_are_cut_as_geometry_says() {
        let ball = icosphere(20.0, 5);
        let surface = Surface::new(&ball).expect("a plain mesh");
        let plane = Plane { origin: Point::new(12.0, 0.0, 0.0), ..Plane::at(&station(0.0)) };
        let (low, high) = ([-60.0; 2], [60.0; 2]);
        let cut = |outside| {
            let skin = RubberSkin { outside, to_mould: Isometry3::identity() };
            let outlines = of_skin(&skin, &surface, &plane, low, high);
            assert_eq!(outlines.len(), 1);
            area(&outlines[0])
        };
        // The shell between 20 and 25 mm is a ring; inside the model the distance grows again.
        let blanket = Outside::Offset { thickness: 21.0, bottom: -100.0 };
        assert_relative_eq!(cut(blanket), PI * (41.0f64.powi(2) - 144.0), max_relative = 0.01);
        let half = Outside::Offset { thickness: 21.0, bottom: 0.0 };
        assert_relative_eq!(cut(half), 0.5 * PI * (41.0f64.powi(2) - 144.0), max_relative = 0.02);
        let least = Point::new(-30.0, -31.0, -32.0);
        let block = Outside::Box { low: least, high: Point::new(30.0, 33.0, 34.0) };
        assert_relative_eq!(cut(block), 64.0 * 66.0, max_relative = 1e-9);
        let (axis, radius) = ((0.0, 0.0), 37.0);
        let tube = Outside::Cylinder { axis, radius, bottom: -10.0, top: 30.0 };
        // A chord at 12 mm from the axis.
        let chord = 2.0 * (37.0f64.powi(2) - 144.0).sqrt();
        assert_relative_eq!(cut(tube), chord * 40.0, max_relative = 0.001);
    }

    /// However the knife leans, its whole length lies in the plane.
    #[test]
    fn depths_are_true() {
        let mut leaning = station(0.0);
        leaning.on_outside = Point::new(7.0, -5.0, 12.0);
        let plane = Plane::at(&leaning);
        let [x, y] = plane.flat(&leaning.on_outside);
        assert_relative_eq!(x.hypot(y), 218.0f64.sqrt(), max_relative = 1e-12);
        // Along x with z up, -y is to the right.
        assert_relative_eq!(x, 5.0);
        let knife = leaning.on_outside - leaning.on_model;
        assert_relative_eq!(plane.ahead.dot(&knife), 0.0, epsilon = 1e-12);
        assert_relative_eq!(Plane::at(&station(0.0)).ahead.x, 1.0);
    }

    #[test]
    fn the_board_is_below_by_its_distance() {
        let plane = Plane { origin: Point::new(0.0, 0.0, 8.0), ..Plane::at(&station(0.0)) };
        let (low, high) = (Point::new(-9.0, -9.0, 0.0), Point::new(9.0, 9.0, 20.0));
        let skin =
            RubberSkin { outside: Outside::Box { low, high }, to_mould: Isometry3::identity() };
        let (at, _, out) = of_board(&skin, &plane).expect("it stands on the board");
        assert_relative_eq!(at[1], -8.0);
        assert_relative_eq!(out[1], 1.0);
        let hanging = RubberSkin { outside: Outside::Box { low: low - Vector::z(), high }, ..skin };
        assert!(of_board(&hanging, &plane).is_none());
    }

    /// Hatching of a square with a square hole: its length times its spacing is the area.
    #[test]
    fn hatching_fills_what_is_inside() {
        let square = |half: f64| vec![[-half, -half], [half, -half], [half, half], [-half, half]];
        let lines = hatch(&[square(10.0), square(4.0)], 0.05);
        let length: f64 = lines.iter().map(|[a, b]| (a[0] - b[0]).hypot(a[1] - b[1])).sum();
        assert_relative_eq!(length * 0.05, 400.0 - 64.0, max_relative = 0.005);
        for [a, b] in lines {
            let middle = [0.5 * (a[0] + b[0]), 0.5 * (a[1] + b[1])];
            assert!(middle[0].abs().max(middle[1].abs()) > 4.0 - 1e-9);
        }
    }
}
