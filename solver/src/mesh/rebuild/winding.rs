//! Generalised winding numbers: how often a soup of triangles goes round a point, 0 outside, 1 inside, and
//! something between near its gaps.
//!
//! Jacobson, Kavan & Sorkine-Hornung, "Robust inside-outside segmentation using generalized winding
//! numbers" (2013): the sum of the triangles' solid angles (van Oosterom & Strackee, "The solid angle of a
//! plane triangle", 1983) over 4 pi. Triangles far away are taken together, by Barill, Dickson, Schmidt,
//! Levin & Jacobson, "Fast winding numbers for soups and clouds" (2018): a tree of boxes, each with the
//! dipole of its triangles and the next two terms of the expansion.

use nalgebra::Matrix3;

use super::super::{FaceId, Point, TriangleMesh, Vector};

/// Triangles of a leaf, at most.
const LEAF: usize = 8;
/// A box counts as far from here on, in radii of what it holds. The paper of 2018 has 2; a flat disc seen from its axis
/// is then 4 % off, and 0.8 % at 3.
const FAR: f64 = 3.0;

/// Solid angle of a triangle seen from a point, over 4 pi: positive where the point lies behind the triangle.
pub(crate) fn solid_angle_share(corners: &[Point; 3], from: &Point) -> f64 {
    solid_angle_shares(std::slice::from_ref(corners), from)
}

/// The sum over triangles. Half of each solid angle is the argument of a complex number; the argument of their product is the
/// sum of them, less the whole turns, which are counted on the way: one arc tangent in place of one a triangle.
fn solid_angle_shares(triangles: &[[Point; 3]], from: &Point) -> f64 {
    let (mut re, mut im, mut turns) = (1.0f64, 0.0f64, 0.0);
    for corners in triangles {
        let [a, b, c] = corners.map(|p| p - from);
        let (la, lb, lc) = (a.norm(), b.norm(), c.norm());
        let scale = la * lb * lc;
        // Seen from one of its corners a triangle has no solid angle.
        if scale <= 0.0 {
            continue;
        }
        let sine = a.dot(&b.cross(&c)) / scale;
        let cosine = 1.0 + (a.dot(&b) * lc + b.dot(&c) * la + c.dot(&a) * lb) / scale;
        let before = im;
        (re, im) = (re * cosine - im * sine, re * sine + im * cosine);
        if sine > 0.0 && before >= 0.0 && im < 0.0 {
            turns += 1.0;
        } else if sine < 0.0 && before <= 0.0 && im > 0.0 {
            turns -= 1.0;
        }
        // Only the argument counts; the product of a thousand factors would be no number.
        let size = re.abs().max(im.abs());
        if !(1e-50..1e50).contains(&size) && size > 0.0 {
            (re, im) = (re / size, im / size);
        }
    }
    im.atan2(re) / std::f64::consts::TAU + turns
}

/// What is so many halves of a cube's side away from its middle adds something smooth enough to be laid through 3 x 3 x 3 places of
/// the cube.
const SMOOTH: f64 = 4.0;

/// What a box of triangles looks like from far away.
struct Node {
    /// Middle, weighted by area, mm.
    centre: Vector,
    /// Greatest distance of a corner from the middle, mm.
    radius: f64,
    /// Sum of the area vectors, mm^2.
    dipole: Vector,
    /// Sum of area vector times offset of the triangle's middle, mm^3.
    spread: Matrix3<f64>,
    /// For each axis the sum of the area vector's share along it times the triangle's second moment about the
    /// middle, mm^4.
    moments: [Matrix3<f64>; 3],
    /// Where the triangles begin and end in the tree's order.
    faces: (usize, usize),
    /// The second child; the first one follows its parent. 0 for a leaf.
    second: usize,
}

const FOUR_PI: f64 = 2.0 * std::f64::consts::TAU;

impl Node {
    /// What it adds to the winding number from far away, `to` away with the square `square`.
    fn afar(&self, to: &Vector, square: f64) -> f64 {
        let cube = square * square.sqrt();
        (self.dipole.dot(to) + self.beyond_dipole(to, square)) / (cube * FOUR_PI)
    }

    /// The terms after the dipole's, times the distance's cube: first and second derivatives of `r / |r|^3` at the
    /// middle, `to` away with the square `square`.
    fn beyond_dipole(&self, to: &Vector, square: f64) -> f64 {
        let first = self.spread.trace() - 3.0 * to.dot(&(self.spread * to)) / square;
        let (mut mixed, mut traces, mut cubic) = (0.0, 0.0, 0.0);
        for (k, moment) in self.moments.iter().enumerate() {
            let along = moment * to;
            mixed += along[k];
            traces += to[k] * moment.trace();
            cubic += to[k] * to.dot(&along);
        }
        let second = 7.5 * cubic / (square * square) - 1.5 * (2.0 * mixed + traces) / square;
        first + second
    }
}

/// Winding numbers of one mesh, closed or not. Any number of threads may ask at once.
pub struct WindingNumbers {
    nodes: Vec<Node>,
    triangles: Vec<[Point; 3]>,
}

impl WindingNumbers {
    /// Index a mesh; the triangles are copied. Positions must be finite and indices valid.
    pub fn new(mesh: &TriangleMesh) -> Self {
        Self::of((0..mesh.faces.len() as u32).map(|f| mesh.corners(FaceId(f))).collect())
    }

    fn of(mut triangles: Vec<[Point; 3]>) -> Self {
        let mut nodes = Vec::new();
        if !triangles.is_empty() {
            let end = triangles.len();
            build(&mut triangles, (0, end), &mut nodes);
        }
        Self { nodes, triangles }
    }

    /// The winding number at a point, to some thousandths.
    pub fn at(&self, point: &Point) -> f64 {
        let mut sum = 0.0;
        let mut stack = Vec::with_capacity(48);
        if !self.nodes.is_empty() {
            stack.push(0);
        }
        while let Some(index) = stack.pop() {
            let node = &self.nodes[index];
            match self.of_node(node, point) {
                Some(share) => sum += share,
                None => {
                    stack.push(node.second);
                    stack.push(index + 1);
                }
            }
        }
        sum
    }

    /// What a node adds to the winding number at a point; `None` where its children have to be asked.
    fn of_node(&self, node: &Node, point: &Point) -> Option<f64> {
        let to = node.centre - point.coords;
        let square = to.norm_squared();
        if square > FAR * FAR * node.radius * node.radius {
            return Some(node.afar(&to, square));
        }
        let (start, end) = node.faces;
        (node.second == 0).then(|| solid_angle_shares(&self.triangles[start..end], point))
    }

    /// The same for many points of one cube: its middle and half its side, mm.
    pub(super) fn in_cube(&self, middle: &Point, half: f64) -> InCube {
        let (mut far, mut aside, mut near) = (Vec::new(), Vec::new(), Vec::new());
        let mut stack = Vec::with_capacity(48);
        if !self.nodes.is_empty() {
            stack.push(0);
        }
        while let Some(index) = stack.pop() {
            let node = &self.nodes[index];
            let away = (node.centre - middle.coords).norm();
            if away > FAR * node.radius + SMOOTH * half {
                far.push(node);
            } else if node.second == 0 {
                for triangle in &self.triangles[node.faces.0..node.faces.1] {
                    let to = self::middle(triangle);
                    let radius =
                        triangle.iter().map(|p| (p.coords - to).norm()).fold(0.0, f64::max);
                    let is_aside = (to - middle.coords).norm() > radius + SMOOTH * half;
                    if is_aside { &mut aside } else { &mut near }.push(*triangle);
                }
            } else {
                stack.push(node.second);
                stack.push(index + 1);
            }
        }
        let knots = std::array::from_fn(|k| {
            let step = [k % 3, k / 3 % 3, k / 9].map(|n| (n as f64 - 1.0) * half);
            let point = middle + Vector::from(step);
            let one = |node: &&Node| {
                let to = node.centre - point.coords;
                node.afar(&to, to.norm_squared())
            };
            far.iter().map(one).sum::<f64>() + solid_angle_shares(&aside, &point)
        });
        InCube { middle: *middle, half, knots, near }
    }

    /// Whether a point is inside: its winding number is above a half.
    pub fn inside(&self, point: &Point) -> bool {
        self.at(point) > 0.5
    }
}

/// Winding numbers in a cube: what is not near is looked at once and laid through 27 places, by polynomials of the second degree
/// along each axis.
pub(super) struct InCube {
    middle: Point,
    half: f64,
    knots: [f64; 27],
    near: Vec<[Point; 3]>,
}

impl InCube {
    /// The winding number at a point of the cube, to some thousandths.
    pub fn at(&self, point: &Point) -> f64 {
        // Lagrange's polynomials for -1, 0 and 1.
        let along = |axis: usize| {
            let t = (point[axis] - self.middle[axis]) / self.half;
            [0.5 * t * (t - 1.0), 1.0 - t * t, 0.5 * t * (t + 1.0)]
        };
        let (x, y, z) = (along(0), along(1), along(2));
        let smooth: f64 = (0..27).map(|k| self.knots[k] * x[k % 3] * y[k / 3 % 3] * z[k / 9]).sum();
        smooth + solid_angle_shares(&self.near, point)
    }
}

fn middle(t: &[Point; 3]) -> Vector {
    (t[0].coords + t[1].coords + t[2].coords) / 3.0
}

fn build(triangles: &mut [[Point; 3]], faces: (usize, usize), nodes: &mut Vec<Node>) {
    let own = &mut triangles[faces.0..faces.1];
    let mut centre = Vector::zeros();
    let mut whole = 0.0;
    let mut dipole = Vector::zeros();
    for t in own.iter() {
        let area = 0.5 * (t[1] - t[0]).cross(&(t[2] - t[0]));
        dipole += area;
        centre += middle(t) * area.norm();
        whole += area.norm();
    }
    // Triangles without area weigh nothing, but a box of nothing else has to have a middle.
    centre = if whole > 0.0 { centre / whole } else { middle(&own[0]) };
    let mut spread = Matrix3::zeros();
    let mut moments = [Matrix3::zeros(); 3];
    let (mut low, mut high) = (middle(&own[0]), middle(&own[0]));
    let mut radius: f64 = 0.0;
    for t in own.iter() {
        let at = middle(t);
        let area = 0.5 * (t[1] - t[0]).cross(&(t[2] - t[0]));
        spread += area * (at - centre).transpose();
        // The mean of x x^T over a triangle is a twelfth of those of its corners and of their sum.
        let [a, b, c] = t.map(|p| p.coords - centre);
        let whole = a + b + c;
        let square = a * a.transpose() + b * b.transpose() + c * c.transpose();
        let second = (square + whole * whole.transpose()) / 12.0;
        for (k, moment) in moments.iter_mut().enumerate() {
            *moment += second * area[k];
        }
        (low, high) = (low.inf(&at), high.sup(&at));
        radius = t.iter().map(|p| (p.coords - centre).norm()).fold(radius, f64::max);
    }
    let index = nodes.len();
    nodes.push(Node { centre, radius, dipole, spread, moments, faces, second: 0 });
    if own.len() <= LEAF {
        return;
    }
    let axis = (high - low).imax();
    let half = own.len() / 2;
    own.select_nth_unstable_by(half, |a, b| middle(a)[axis].total_cmp(&middle(b)[axis]));
    build(triangles, (faces.0, faces.0 + half), nodes);
    nodes[index].second = nodes.len();
    build(triangles, (faces.0 + half, faces.1), nodes);
}

#[cfg(test)]
mod tests {
    use std::f64::consts::{PI, TAU};

    use super::*;
    use crate::mesh::fixtures::{cuboid, icosphere, joined, moved, torus};

    /// A face of a cube seen from its middle is a sixth of all directions, each of its halves a twelfth. From a corner
    /// of the cube the three faces that do not meet there share an eighth.
    #[test]
    fn solid_angles_of_a_cube_are_exact() {
        let cube = cuboid([2.0; 3]);
        for f in 0..12 {
            let share = solid_angle_share(&cube.corners(FaceId(f)), &Point::new(1.0, 1.0, 1.0));
            approx::assert_relative_eq!(share, 1.0 / 12.0, max_relative = 1e-12);
        }
        let winding = WindingNumbers::new(&cube);
        approx::assert_relative_eq!(winding.at(&Point::origin()), 0.125, max_relative = 1e-12);
    }

    /// The middle of a cube sees all of it, a place in one of its faces half, its corner an eighth: all triangles at once, as
    /// they come and the other way round.
    #[test]
    fn sums_of_solid_angles_count_whole_turns() {
        let cube = cuboid([2.0; 3]);
        let mut triangles: Vec<[Point; 3]> = (0..12).map(|f| cube.corners(FaceId(f))).collect();
        let middle = Point::new(1.0, 1.0, 1.0);
        for (at, share) in [
            (middle, 1.0),
            (Point::new(0.3, 1.9, 0.2), 1.0),
            (Point::origin(), 0.125),
            (Point::new(5.0, 1.0, -3.0), 0.0),
        ] {
            approx::assert_abs_diff_eq!(
                solid_angle_shares(&triangles, &at),
                share,
                epsilon = 1e-12
            );
        }
        // Wound round a hundred times: 1,200 factors.
        let often = triangles.repeat(100);
        approx::assert_abs_diff_eq!(solid_angle_shares(&often, &middle), 100.0, epsilon = 1e-9);
        for t in &mut triangles {
            t.swap(1, 2);
        }
        approx::assert_abs_diff_eq!(solid_angle_shares(&triangles, &middle), -1.0, epsilon = 1e-12);
    }

    /// A disc of radius r seen from a height h above its middle: 2 pi (1 - h / sqrt(h^2 + r^2)), and a fan of n
    /// triangles lacks what lies between circle and polygon: less than 1 - cos(pi / n) of it.
    #[test]
    fn a_disc_has_its_closed_form_from_both_sides() {
        let sides = 2000;
        let rim = |k: u32| {
            let angle = TAU * f64::from(k) / f64::from(sides);
            Point::new(3.0 * angle.cos(), 3.0 * angle.sin(), 0.0)
        };
        let fan = (0..sides).map(|k| [Point::origin(), rim(k), rim(k + 1)]).collect();
        let winding = WindingNumbers::of(fan);
        for height in [0.1, 1.0, 4.0, 50.0, 5000.0] {
            let exact = 0.5 * (1.0 - height / f64::hypot(height, 3.0));
            let off = |z: f64| winding.at(&Point::new(0.0, 0.0, z)).abs() - exact;
            assert!(off(height).abs() < 2e-3 && off(-height).abs() < 2e-3, "{height} mm");
            assert!(winding.at(&Point::new(0.0, 0.0, height)) < 0.0, "it looks up");
        }
    }

    /// The tree against the plain sum, near and far, of a soup that is neither closed nor of one piece.
    #[test]
    fn the_tree_agrees_with_the_sum() {
        let mut soup =
            joined(&icosphere(20.0, 4), &moved(&torus(30.0, 9.0, 60, 30), [9.0, 2.0, 1.0]));
        soup.faces.retain(|f| (f[0] + 2 * f[1]) % 19 != 0);
        let winding = WindingNumbers::new(&soup);
        for k in 0..400u32 {
            let turn = 2.4 * f64::from(k);
            let (r, z) = (0.2 * f64::from(k), 40.0 * (PI * f64::from(k) / 7.0).sin());
            let at = Point::new(r * turn.cos(), r * turn.sin(), z);
            let sum: f64 = (0..soup.faces.len() as u32)
                .map(|f| solid_angle_share(&soup.corners(FaceId(f)), &at))
                .sum();
            let off = (winding.at(&at) - sum).abs();
            assert!(off < 4e-3, "{at}: {off} off {sum}");
            let cube = winding.in_cube(&(at + Vector::new(1.0, -0.5, 0.7)), 2.0);
            let off = (cube.at(&at) - sum).abs();
            assert!(off < 4e-3, "{at}, in a cube: {off} off {sum}");
        }
    }
}
