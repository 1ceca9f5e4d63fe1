//! A closed ring made as fine as the mesh round it, and smooth.
//!
//! Finer and more even as in Liepa, "Filling holes in meshes" (2003); smooth by the thin plate: the vertices
//! within go where the squares of their and the rim's umbrella vectors (a vertex to the mean of its
//! neighbours) add up to least (Kobbelt, Campagna, Vorsatz & Seidel, "Interactive multi-resolution modeling on
//! arbitrary meshes", 1998). With the mesh beyond the rim among the neighbours of the rim, the patch goes on as the mesh
//! arrives. The equations are solved by conjugate gradients (Hestenes & Stiefel 1952).

use std::collections::{BTreeMap, BTreeSet};

use super::super::{Point, Vector};

/// Vertices that a patch gets at most. No source.
const MOST: usize = 20_000;
/// Rounds of splitting and turning, at most; each makes triangles a third as large.
const ROUNDS: usize = 12;
/// Passes that turn edges, at most, in one round.
const TURNS: usize = 20;

/// A patch: the rim's vertices come first.
pub(super) struct Patch {
    /// Places, mm.
    pub positions: Vec<Point>,
    /// Triangles, running as the rim does.
    pub faces: Vec<[usize; 3]>,
    rim: usize,
    /// Length of edges that is wanted near each vertex, mm.
    length: Vec<f64>,
}

/// The edges of a patch with the one or two faces at each.
fn edges(faces: &[[usize; 3]]) -> BTreeMap<[usize; 2], Vec<usize>> {
    let mut found: BTreeMap<[usize; 2], Vec<usize>> = BTreeMap::new();
    for (f, face) in faces.iter().enumerate() {
        for k in 0..3 {
            let (a, b) = (face[k], face[(k + 1) % 3]);
            found.entry([a.min(b), a.max(b)]).or_default().push(f);
        }
    }
    found
}

impl Patch {
    /// From the rim, its triangles, and how long the edges of the mesh are at each of its vertices, mm.
    pub fn new(rim: Vec<Point>, faces: Vec<[usize; 3]>, length: Vec<f64>) -> Self {
        Self { rim: rim.len(), positions: rim, faces, length }
    }

    /// Split triangles that are too large for their place, and turn edges, until nothing is left to do.
    pub fn refine(&mut self) {
        for _ in 0..ROUNDS {
            let split = self.split();
            for _ in 0..TURNS {
                if !self.turn() {
                    break;
                }
            }
            if !split || self.positions.len() > MOST {
                break;
            }
        }
    }

    fn split(&mut self) -> bool {
        let before = self.positions.len();
        for f in 0..self.faces.len() {
            let [a, b, c] = self.faces[f];
            let sum = [a, b, c].iter().map(|v| self.positions[*v].coords).sum::<Vector>();
            let middle = Point::from(sum / 3.0);
            let wanted = [a, b, c].iter().map(|v| self.length[*v]).sum::<f64>() / 3.0;
            let large = [a, b, c].iter().all(|v| {
                let away = std::f64::consts::SQRT_2 * (self.positions[*v] - middle).norm();
                away > wanted && away > self.length[*v]
            });
            if large {
                let new = self.positions.len();
                self.positions.push(middle);
                self.length.push(wanted);
                self.faces[f] = [a, b, new];
                self.faces.extend([[b, c, new], [c, a, new]]);
            }
        }
        self.positions.len() > before
    }

    /// Turn edges whose two faces' opposite angles add up to more than a half turn.
    fn turn(&mut self) -> bool {
        let mut all = edges(&self.faces);
        let inner: Vec<[usize; 2]> =
            all.iter().filter(|(_, faces)| faces.len() == 2).map(|(edge, _)| *edge).collect();
        let mut touched = BTreeSet::new();
        let mut any = false;
        for [a, b] in inner {
            let [f, g] = all[&[a, b]][..] else { continue };
            if touched.contains(&f) || touched.contains(&g) {
                continue;
            }
            let opposite =
                |face: usize| self.faces[face].iter().copied().find(|v| *v != a && *v != b);
            let (Some(c), Some(d)) = (opposite(f), opposite(g)) else { continue };
            let new = [c.min(d), c.max(d)];
            // Two corners of the rim may be joined beyond the patch.
            if all.contains_key(&new) || new[1] < self.rim {
                continue;
            }
            let p = |v: usize| self.positions[v];
            let angle = |v: usize| (p(a) - p(v)).angle(&(p(b) - p(v)));
            if angle(c) + angle(d) <= std::f64::consts::PI + 1e-9 {
                continue;
            }
            // As the first face runs: from a to b or the other way.
            let at = self.faces[f].iter().position(|v| *v == a).unwrap_or(0);
            let (a, b) = if self.faces[f][(at + 1) % 3] == b { (a, b) } else { (b, a) };
            self.faces[f] = [a, d, c];
            self.faces[g] = [d, b, c];
            touched.extend([f, g]);
            all.insert(new, Vec::new());
            any = true;
        }
        any
    }

    /// Put the vertices within where the patch is smoothest. `beyond` gives the places of the neighbours that each
    /// vertex of the rim has outside the patch.
    pub fn smooth(&mut self, beyond: &[Vec<Point>]) {
        let free = self.positions.len() - self.rim;
        if free == 0 {
            return;
        }
        let mut near: Vec<Vec<usize>> = vec![Vec::new(); self.positions.len()];
        for [a, b] in edges(&self.faces).into_keys() {
            near[a].push(b);
            near[b].push(a);
        }
        let rim = self.rim;
        // The umbrella vector of every vertex; fixed places count only where `fixed` is set.
        let umbrellas = |inner: &[Vector], fixed: Option<&[Point]>| -> Vec<Vector> {
            let place = |v: usize| match (v.checked_sub(rim), fixed) {
                (Some(k), _) => inner[k],
                (None, Some(places)) => places[v].coords,
                (None, None) => Vector::zeros(),
            };
            (0..near.len())
                .map(|v| {
                    let out: &[Point] = if v < rim { &beyond[v] } else { &[] };
                    let mut sum: Vector = near[v].iter().map(|u| place(*u)).sum();
                    if fixed.is_some() {
                        sum += out.iter().map(|p| p.coords).sum::<Vector>();
                    }
                    sum / (near[v].len() + out.len()) as f64 - place(v)
                })
                .collect()
        };
        // The transpose of the above, onto the free places.
        let back = |umbrella: &[Vector]| -> Vec<Vector> {
            let mut sums = vec![Vector::zeros(); free];
            for (v, u) in umbrella.iter().enumerate() {
                let out = if v < rim { beyond[v].len() } else { 0 };
                let share = u / (near[v].len() + out) as f64;
                for w in near[v].iter().filter_map(|w| w.checked_sub(rim)) {
                    sums[w] += share;
                }
                if let Some(k) = v.checked_sub(rim) {
                    sums[k] -= u;
                }
            }
            sums
        };
        let dot =
            |a: &[Vector], b: &[Vector]| -> f64 { a.iter().zip(b).map(|(x, y)| x.dot(y)).sum() };
        let mut inner: Vec<Vector> = self.positions[rim..].iter().map(|p| p.coords).collect();
        let rim_places = self.positions[..rim].to_vec();
        let mut left: Vec<Vector> =
            back(&umbrellas(&inner, Some(&rim_places))).iter().map(|x| -x).collect();
        let mut way = left.clone();
        let mut square = dot(&left, &left);
        let enough = 1e-20 * square;
        for _ in 0..20 * free.max(50) {
            if square <= enough || square == 0.0 {
                break;
            }
            let image = back(&umbrellas(&way, None));
            let curvature = dot(&way, &image);
            if curvature <= 0.0 {
                break;
            }
            let step = square / curvature;
            for k in 0..free {
                inner[k] += way[k] * step;
                left[k] -= image[k] * step;
            }
            let next = dot(&left, &left);
            for k in 0..free {
                way[k] = left[k] + way[k] * (next / square);
            }
            square = next;
        }
        for (p, x) in self.positions[rim..].iter_mut().zip(inner) {
            *p = Point::from(x);
        }
    }
}
