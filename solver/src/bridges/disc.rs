//! Discs across a hole: built on a rim, drawn taut, held off the model, tested.

use std::f64::consts::TAU;

use crate::control::{Cancelled, Control};
use crate::mesh::{Point, Topology, TriangleMesh, Vector};

use super::BridgeError;
use super::solid::Solid;

/// Domes tried in all directions round a rim.
const ROUND: u32 = 12;

/// A closed rim for a disc.
#[derive(Clone, Debug)]
pub(super) struct Rim {
    /// Points in order.
    pub points: Vec<Point>,
    /// Whether a point lies on the board, where it is free to slide.
    pub on_board: Vec<bool>,
}

/// What discs have to keep away from.
pub(super) struct Surroundings<'a> {
    pub solid: &'a Solid<'a>,
    pub topology: &'a Topology,
    /// The board, where the whole model stands above it.
    pub board: Option<(Point, Vector)>,
    /// Distance kept from the model and the board, mm.
    pub clearance: f64,
    /// Whether to stop.
    pub control: &'a Control<'a>,
}

/// The disc that was found for a rim.
pub(super) struct Spanned {
    pub disc: Disc,
    pub crossings: u32,
    pub tries: u32,
}

/// A disc as rings of points round a middle point; the last ring is the rim.
#[derive(Clone, Debug)]
pub(super) struct Disc {
    points: Vec<Point>,
    around: usize,
    rings: usize,
    on_board: Vec<bool>,
}

impl Disc {
    /// Rings between the rim's centroid, raised by `height`, and the rim. With a height the disc is
    /// a dome with steep sides, so that it clears what pokes through the hole.
    fn new(rim: &Rim, height: Vector) -> Self {
        let around = rim.points.len();
        let rings = (around / 6).clamp(4, 10);
        let middle = centroid(&rim.points);
        let mut points = vec![middle + height];
        for ring in 1..=rings {
            let t = ring as f64 / rings as f64;
            // A dome's rings bunch up along its steep sides.
            let (flat, lift) = if height == Vector::zeros() {
                (t, 0.0)
            } else {
                ((1.6 * t).min(1.0), 1.0 - ((t - 0.4) / 0.6).max(0.0))
            };
            points.extend(rim.points.iter().map(|p| middle + (p - middle) * flat + height * lift));
        }
        Self { points, around, rings, on_board: rim.on_board.clone() }
    }

    fn index(&self, ring: usize, place: usize) -> usize {
        if ring == 0 { 0 } else { 1 + (ring - 1) * self.around + place % self.around }
    }

    /// As a triangle mesh.
    pub fn mesh(&self) -> TriangleMesh {
        let mut faces = Vec::with_capacity(2 * self.around * self.rings);
        for place in 0..self.around {
            faces.push([0, self.index(1, place) as u32, self.index(1, place + 1) as u32]);
            for ring in 1..self.rings {
                let [a, b, c, d] = [
                    self.index(ring, place),
                    self.index(ring + 1, place),
                    self.index(ring + 1, place + 1),
                    self.index(ring, place + 1),
                ]
                .map(|i| i as u32);
                faces.push([a, b, c]);
                faces.push([a, c, d]);
            }
        }
        TriangleMesh { positions: self.points.clone(), faces }
    }

    /// Draw the disc taut: every free point moves to a weighted mean of its neighbours, with the
    /// cotangent weights of Pinkall, U. & Polthier, K. (1993), "Computing discrete minimal
    /// surfaces and their conjugates", Experimental Mathematics 2(1) (from memory), kept positive.
    /// With `hold_off`, points that come too near the model are put back outside it.
    pub fn draw_taut(&mut self, sweeps: usize, near: &Surroundings<'_>, hold_off: bool) {
        let mesh = self.mesh();
        let (links_of, links) = links(&mesh);
        let mut weights = vec![1.0; links.len()];
        let rim_start = self.index(self.rings, 0);
        for sweep in 0..sweeps {
            // Whoever uses the disc asks again, and reports it.
            if near.control.is_cancelled() {
                return;
            }
            // The first sweeps use even weights: a fresh fan may be folded.
            if sweep % 4 == 0 && sweep >= 12 {
                for (weight, link) in weights.iter_mut().zip(&links) {
                    *weight = link.cotangents(&self.points).clamp(0.05, 10.0);
                }
            }
            for (point, own) in links_of.iter().enumerate() {
                let slides = point >= rim_start && self.on_board[point - rim_start];
                if point >= rim_start && !slides {
                    continue;
                }
                let mut at = mean_of_neighbours(point, own, &links, &weights, &self.points);
                if hold_off {
                    at = near.held_off(at);
                }
                if let Some((origin, up)) = near.board {
                    let height = (at - origin).dot(&up);
                    if slides || height < near.clearance {
                        at += up * (near.clearance - height);
                    }
                }
                self.points[point] = at;
            }
        }
    }

    /// Area, mm^2.
    pub fn area(&self) -> f64 {
        self.mesh().area()
    }

    /// Mean angle between the disc and the model's normals along the rim, radians: 0 where the disc
    /// stands squarely on the model. Normals are taken `off` (mm) to either side of the disc, so
    /// that along an edge of the model both its faces count. What lies on the board is left out.
    pub fn lean(&self, solid: &Solid<'_>, off: f64) -> f64 {
        let (mut sum, mut count) = (0.0, 0u32);
        for place in (0..self.around).filter(|&k| !self.on_board[k]) {
            let at = |ring: usize, place: usize| self.points[self.index(ring, place)];
            let rim = at(self.rings, place);
            let along = at(self.rings, place + 1) - at(self.rings, place + self.around - 1);
            let way = (at(self.rings - 1, place) - rim).try_normalize(1e-12);
            let side = way.and_then(|w| w.cross(&along).try_normalize(1e-12));
            let (Some(way), Some(side)) = (way, side) else { continue };
            for to in [off, -off] {
                let normal = solid.nearest(rim + side * to).normal;
                sum += way.dot(&normal).clamp(-1.0, 1.0).acos();
                count += 1;
            }
        }
        sum / f64::from(count.max(1))
    }

    /// Area-weighted middle.
    pub fn centre(&self) -> Point {
        let mesh = self.mesh();
        let (mut sum, mut total) = (Vector::zeros(), 0.0);
        for face in 0..mesh.faces.len() {
            let id = crate::mesh::FaceId(face as u32);
            let [a, b, c] = mesh.corners(id);
            let area = mesh.face_area(id);
            sum += (a.coords + b.coords + c.coords) * (area / 3.0);
            total += area;
        }
        if total > 0.0 { Point::from(sum / total) } else { self.points[0] }
    }
}

impl Surroundings<'_> {
    /// The point itself, or the nearest one that keeps the clearance.
    fn held_off(&self, p: Point) -> Point {
        let nearest = self.solid.nearest(p);
        let away = p - nearest.point;
        let distance = away.norm();
        if !nearest.inside && distance >= self.clearance {
            return p;
        }
        let out = match (away.try_normalize(1e-9), nearest.inside) {
            (Some(direction), true) => -direction,
            (Some(direction), false) => direction,
            (None, _) => nearest.normal,
        };
        nearest.point + out * self.clearance
    }

    fn crossings(&self, disc: &Disc) -> Result<u32, BridgeError> {
        self.solid.crossings(self.topology, &disc.mesh())
    }
}

/// Mean of the points that a point is linked to, by the weights of its `own` links.
pub(super) fn mean_of_neighbours(
    point: usize,
    own: &[u32],
    links: &[Link],
    weights: &[f64],
    points: &[Point],
) -> Point {
    let (mut sum, mut total) = (Vector::zeros(), 0.0);
    for &l in own {
        let [a, b] = links[l as usize].ends;
        let other = if a == point as u32 { b } else { a };
        sum += points[other as usize].coords * weights[l as usize];
        total += weights[l as usize];
    }
    Point::from(sum / total)
}

/// A link of a disc's mesh with the corners opposite to it.
pub(super) struct Link {
    ends: [u32; 2],
    opposite: [u32; 2],
}

impl Link {
    /// Sum of the cotangents of the angles opposite to it.
    pub fn cotangents(&self, points: &[Point]) -> f64 {
        let [a, b] = self.ends.map(|v| points[v as usize]);
        self.opposite
            .iter()
            .filter(|&&v| v != u32::MAX)
            .map(|&v| {
                let (s, t) = (a - points[v as usize], b - points[v as usize]);
                s.dot(&t) / s.cross(&t).norm().max(1e-12)
            })
            .sum()
    }
}

/// The links of each point, in the order of its neighbours, and all links.
pub(super) fn links(mesh: &TriangleMesh) -> (Vec<Vec<u32>>, Vec<Link>) {
    let mut sides: Vec<([u32; 2], u32)> = mesh
        .faces
        .iter()
        .flat_map(|f| (0..3).map(|k| (f[k], f[(k + 1) % 3], f[(k + 2) % 3])))
        .map(|(a, b, c)| ([a.min(b), a.max(b)], c))
        .collect();
    sides.sort_unstable();
    let mut links: Vec<Link> = Vec::new();
    for (ends, corner) in sides {
        match links.last_mut() {
            Some(last) if last.ends == ends => last.opposite[1] = corner,
            _ => links.push(Link { ends, opposite: [corner, u32::MAX] }),
        }
    }
    let mut links_of = vec![Vec::new(); mesh.positions.len()];
    for (index, link) in links.iter().enumerate() {
        for end in link.ends {
            links_of[end as usize].push(index as u32);
        }
    }
    (links_of, links)
}

/// Mean of the rim, weighted by length.
pub(super) fn centroid(points: &[Point]) -> Point {
    let (mut sum, mut total) = (Vector::zeros(), 0.0);
    for i in 0..points.len() {
        let (p, q) = (points[i], points[(i + 1) % points.len()]);
        let length = (q - p).norm();
        sum += (p.coords + q.coords) * (0.5 * length);
        total += length;
    }
    if total > 0.0 { Point::from(sum / total) } else { points[0] }
}

/// Vector area of a closed polygon, mm^2: normal to the flattest disc on it.
pub(super) fn vector_area(points: &[Point]) -> Vector {
    let middle = centroid(points);
    (0..points.len())
        .map(|i| (points[i] - middle).cross(&(points[(i + 1) % points.len()] - middle)))
        .fold(Vector::zeros(), |sum, v| sum + v)
        * 0.5
}

/// Look for a disc on the rim that the model does not pass through.
///
/// By Dehn's lemma (Papakyriakopoulos 1957, from memory) any disc that keeps off the model will do,
/// even one that crosses itself: if there is one, there is a plain one with the same rim. So the
/// tries are free in shape: taut, taut but held off the model, and domes to either side and to
/// all sides, first as they are and then drawn taut. `few` leaves out the domes.
pub(super) fn span(rim: &Rim, near: &Surroundings<'_>, few: bool) -> Result<Spanned, BridgeError> {
    let mut search = Search { near, tries: 0, best: None };
    let mut flat = Disc::new(rim, Vector::zeros());
    let mut taut = flat.clone();
    taut.draw_taut(60, near, false);
    let mut found = search.attempt(&taut)?;
    if !found {
        // Afresh: a disc that was drawn through the model would be held on the wrong side of it.
        found = search.attempt(&flat)?;
        flat.draw_taut(40, near, true);
        found |= search.attempt(&flat)?;
    }
    if !found && !few {
        for height in dome_heights(rim, near) {
            let mut dome = Disc::new(rim, height);
            found = search.attempt(&dome)?;
            dome.draw_taut(16, near, true);
            found |= search.attempt(&dome)?;
            if found {
                break;
            }
        }
    }
    search.finish()
}

/// Tops of the domes to try: to either side of the rim, then all round it.
fn dome_heights(rim: &Rim, near: &Surroundings<'_>) -> Vec<Vector> {
    let width = greatest_width(&rim.points);
    let normal = vector_area(&rim.points)
        .try_normalize(0.0)
        .or(near.board.map(|b| b.1))
        .unwrap_or_else(Vector::z);
    let mut heights = Vec::new();
    for part in [0.3, 0.7, 1.5, 3.0] {
        heights.push(normal * (part * width));
        heights.push(-normal * (part * width));
    }
    for k in 0..ROUND {
        let z = 1.0 - (2.0 * f64::from(k) + 1.0) / f64::from(ROUND);
        let turn = 0.381_966 * TAU * f64::from(k);
        let flat = (1.0 - z * z).sqrt();
        heights.push(Vector::new(flat * turn.cos(), flat * turn.sin(), z) * (0.8 * width));
    }
    heights
}

struct Search<'a> {
    near: &'a Surroundings<'a>,
    tries: u32,
    best: Option<(Disc, u32)>,
}

impl Search<'_> {
    /// Test a disc, keep it if it is the best so far (of equals the later one, which is the more
    /// taut), and say whether nothing passes through it.
    fn attempt(&mut self, disc: &Disc) -> Result<bool, BridgeError> {
        self.near.control.check().map_err(|Cancelled| BridgeError::Cancelled)?;
        self.tries += 1;
        let crossings = self.near.crossings(disc)?;
        if self.best.as_ref().is_none_or(|(_, old)| crossings <= *old) {
            self.best = Some((disc.clone(), crossings));
        }
        Ok(crossings == 0)
    }

    fn finish(self) -> Result<Spanned, BridgeError> {
        let (disc, crossings) = self.best.ok_or_else(|| BridgeError::Collision {
            message: "no disc could be tested".to_owned(),
        })?;
        Ok(Spanned { disc, crossings, tries: self.tries })
    }
}

/// A taut disc on a rim, whatever is in its way.
pub(super) fn taut(rim: &Rim, near: &Surroundings<'_>) -> Disc {
    let mut disc = Disc::new(rim, Vector::zeros());
    disc.draw_taut(80, near, false);
    disc
}

/// Greatest distance between two of the points, mm.
pub(super) fn greatest_width(points: &[Point]) -> f64 {
    let mut widest = 0.0f64;
    for (i, p) in points.iter().enumerate() {
        for q in &points[i + 1..] {
            widest = widest.max((p - q).norm_squared());
        }
    }
    widest.sqrt()
}
