//! Repairs that cannot change the shape, each told in words. Anything else is left for the check
//! to report.

use std::collections::{HashMap, HashSet};

use super::check::{EdgeTally, at, bodies};
use super::holes::{MOST_EDGES, Rims, diameter, fill, middle, rims, told};
use super::mend::whereabouts;
use super::mended::{MendKind, Mends, corners_of};
use super::orient::agree;
use super::polygon::{ring_normal, triangulate};
use super::{Point, TriangleMesh, Vector};

/// Vertices of open edges closer together than this share of the longest side are one.
const WELD_SHARE: f64 = 1e-6;
/// An opening is flat if its rim stays within this share of the longest side of a plane.
const FLAT_SHARE: f64 = 1e-3;

/// A mesh after repair.
#[derive(Clone, Debug, PartialEq)]
pub struct Repaired {
    /// The mesh.
    pub mesh: TriangleMesh,
    /// What was done, a sentence each.
    pub done: Vec<String>,
    /// What could not be repaired safely, a sentence each.
    pub refused: Vec<String>,
    /// What changed the shape, and where.
    pub(super) mends: Mends,
}

/// Flat openings that are told one by one; of more the largest is.
const TOLD: usize = 4;

/// Weld, drop double and empty faces, cap flat openings, turn inside-out bodies. Positions must
/// be finite and indices valid.
pub fn repair(mesh: TriangleMesh) -> Repaired {
    repaired(mesh, Repaired::cap)
}

/// The same, and besides: faces are turned to agree with their neighbours, and holes up to a diameter of `largest`
/// mm are filled with smooth patches. What was not there is invented there, and told.
pub(super) fn repair_and_fill(mesh: TriangleMesh, largest: f64) -> Repaired {
    repaired(mesh, |work| work.agree_and_fill(largest))
}

/// A mesh whose openings `close` shuts.
fn repaired(mesh: TriangleMesh, close: impl FnOnce(&mut Repaired)) -> Repaired {
    let mut work =
        Repaired { mesh, done: Vec::new(), refused: Vec::new(), mends: Mends::default() };
    work.drop_empty_faces();
    // A mesh whose edges all join two faces that agree has nothing to weld, to cap, or twice.
    if !EdgeTally::new(&work.mesh).is_sound() {
        work.weld();
        work.drop_empty_faces();
        work.drop_double_faces();
        close(&mut work);
    }
    work.turn();
    work.drop_unused_vertices();
    work
}

impl Repaired {
    fn agree_and_fill(&mut self, largest: f64) {
        self.drop_opposed_faces();
        let turned = agree(&mut self.mesh);
        if turned > 0 {
            self.done.push(format!(
                "turned {turned} faces that looked the other way than their neighbours"
            ));
        }
        // A hole of three edges has one patch, flat or not; scans with thousands of them are slow to cap.
        let mut filled = fill(&mut self.mesh, largest, 3);
        self.mends.push_filled(&filled, &self.mesh);
        self.cap();
        let more = fill(&mut self.mesh, largest, MOST_EDGES);
        self.mends.push_filled(&more, &self.mesh);
        filled.extend(more);
        self.done.extend(told(&filled));
        self.refused = self.openings(largest);
    }

    /// Only vertices of open edges are welded: elsewhere two vertices in one place are two sheets
    /// that touch, and welding would tie them together.
    fn weld(&mut self) {
        let open = EdgeTally::new(&self.mesh).open;
        if open.is_empty() {
            return;
        }
        let tolerance = WELD_SHARE * self.mesh.longest_side();
        if tolerance == 0.0 {
            return;
        }
        let mut rim: Vec<u32> = open.iter().flatten().copied().collect();
        rim.sort_unstable();
        rim.dedup();
        let cell = |p: &Point| p.coords.map(|x| (x / (2.0 * tolerance)).floor() as i64);
        let mut cells: HashMap<[i64; 3], Vec<u32>> = HashMap::new();
        let mut onto: HashMap<u32, u32> = HashMap::new();
        for &v in &rim {
            let here = self.mesh.positions[v as usize];
            let home = cell(&here);
            let mut match_found = None;
            'search: for dx in -1..=1 {
                for dy in -1..=1 {
                    for dz in -1..=1 {
                        let key = [home.x + dx, home.y + dy, home.z + dz];
                        for &u in cells.get(&key).into_iter().flatten() {
                            if (self.mesh.positions[u as usize] - here).norm() <= tolerance {
                                match_found = Some(u);
                                break 'search;
                            }
                        }
                    }
                }
            }
            match match_found {
                Some(u) => {
                    onto.insert(v, u);
                }
                None => cells.entry([home.x, home.y, home.z]).or_default().push(v),
            }
        }
        if onto.is_empty() {
            return;
        }
        for v in self.mesh.faces.iter_mut().flatten() {
            if let Some(&u) = onto.get(v) {
                *v = u;
            }
        }
        self.done.push(format!(
            "welded {} vertices on open edges to others within {tolerance:.1e} mm",
            onto.len()
        ));
    }

    fn drop_empty_faces(&mut self) {
        let before = self.mesh.faces.len();
        self.mesh.faces.retain(|f| f[0] != f[1] && f[1] != f[2] && f[2] != f[0]);
        let empty = before - self.mesh.faces.len();
        if empty > 0 {
            self.done.push(format!("dropped {empty} faces with two corners in one vertex"));
        }
    }

    fn drop_double_faces(&mut self) {
        let before = self.mesh.faces.len();
        let mut seen = HashSet::with_capacity(before);
        self.mesh.faces.retain(|f| {
            let first = (0..3).min_by_key(|k| f[*k]).unwrap_or(0);
            seen.insert([f[first], f[(first + 1) % 3], f[(first + 2) % 3]])
        });
        let double = before - self.mesh.faces.len();
        if double > 0 {
            self.done.push(format!("dropped {double} faces that were there twice"));
        }
    }

    /// A face that lies on another one with the same corners, the other side up, where edges have more than two
    /// faces: one of the two is enough, and turned to agree with its neighbours later.
    fn drop_opposed_faces(&mut self) {
        let crowded: HashSet<[u32; 2]> = EdgeTally::new(&self.mesh).crowded.into_iter().collect();
        if crowded.is_empty() {
            return;
        }
        let before = self.mesh.faces.len();
        let mut seen = HashSet::with_capacity(before);
        self.mesh.faces.retain(|f| {
            let mut corners = *f;
            corners.sort_unstable();
            let [a, b, c] = corners;
            let free = ![[a, b], [b, c], [a, c]].iter().any(|edge| crowded.contains(edge));
            seen.insert(corners) || free
        });
        let opposed = before - self.mesh.faces.len();
        if opposed > 0 {
            self.done.push(format!("dropped {opposed} faces that lay back to back on others"));
        }
    }

    /// What keeps each opening that is left from being closed.
    fn openings(&self, largest: f64) -> Vec<String> {
        const MOST: usize = 10;
        let Rims { mut rings, torn } = rims(&EdgeTally::new(&self.mesh).open);
        let tolerance = FLAT_SHARE * self.mesh.longest_side();
        rings.sort_by_cached_key(|ring| std::cmp::Reverse(diameter(ring, &self.mesh).to_bits()));
        let mut words: Vec<String> = Vec::new();
        let more = rings.len().saturating_sub(MOST);
        for ring in rings.into_iter().take(MOST) {
            let across = diameter(&ring, &self.mesh);
            let edges = ring.len();
            let place = whereabouts(&middle(&ring, &self.mesh), &self.mesh);
            let size =
                format!("the opening of {edges} edges near {place} is {across:.1} mm across");
            words.push(match Opening::new(ring, &self.mesh, tolerance) {
                _ if across <= largest => {
                    format!("{size}, but no patch was found that fits it, or its rim and others are too long to look for one")
                }
                Ok(_) => format!("{size} and flat, but its rim crosses itself or another one"),
                Err(off) => format!(
                    "{size} and not flat (its rim leaves a plane by {off:.2} mm, {tolerance:.2} mm are allowed), so closing it would invent a shape (holes up to {largest:.1} mm are filled): close it where the model was made, or allow larger holes to be filled"
                ),
            });
        }
        if more > 0 {
            words.push(format!("{more} more openings, none larger"));
        }
        if torn {
            words.push("open edges that make no closed rim cannot be closed".to_owned());
        }
        words
    }

    fn drop_unused_vertices(&mut self) {
        let unused = self.mesh.drop_unused();
        if unused > 0 {
            self.done.push(format!("dropped {unused} vertices that no face uses"));
        }
    }

    /// Turn every closed body that looks inward. Several bodies are refused by the check anyway,
    /// so a hollow inside another body is not turned here.
    fn turn(&mut self) {
        if self.mesh.faces.is_empty() || !EdgeTally::new(&self.mesh).is_sound() {
            return;
        }
        let (_, bodies) = bodies(&self.mesh);
        if let [body] = bodies[..]
            && body.volume < 0.0
        {
            for face in &mut self.mesh.faces {
                face.swap(1, 2);
            }
            self.done.push(
                "turned the body: its faces looked inward (its volume came out negative)"
                    .to_owned(),
            );
        }
    }

    fn cap(&mut self) {
        let tally = EdgeTally::new(&self.mesh);
        if tally.open.is_empty() {
            return;
        }
        let Rims { rings, torn } = rims(&tally.open);
        if torn {
            self.refused.push(
                "open edges that make no closed rim, since faces beside them disagree about their side, cannot be capped: close the model where it was made"
                    .to_owned(),
            );
        }
        let tolerance = FLAT_SHARE * self.mesh.longest_side();
        let mut flat: Vec<Opening> = Vec::new();
        for ring in rings {
            let (edges, place) = (ring.len(), at(&middle(&ring, &self.mesh)));
            match Opening::new(ring, &self.mesh, tolerance) {
                Ok(opening) => flat.push(opening),
                Err(off) => self.refused.push(format!(
                    "the opening of {edges} edges near {place} is not flat (its rim leaves a plane by {off:.2} mm, {tolerance:.2} mm are allowed), so capping it would invent a shape: close it where the model was made"
                )),
            }
        }
        let (body_of, _) = bodies(&self.mesh);
        let mut body_at = vec![0u32; self.mesh.positions.len()];
        for (face, body) in self.mesh.faces.iter().zip(&body_of) {
            for &v in face {
                body_at[v as usize] = *body;
            }
        }
        // Openings of one plane belong together: one inside another is a hollow base.
        let mut groups: Vec<Vec<Opening>> = Vec::new();
        for opening in flat {
            match groups.iter_mut().find(|g| g[0].same_plane(&opening, tolerance)) {
                Some(group) => group.push(opening),
                None => groups.push(vec![opening]),
            }
        }
        let mut recesses: HashSet<u32> = HashSet::new();
        let mut capped: Vec<(f64, String)> = Vec::new();
        for mut group in groups {
            // Largest first; it gives the plane its outward side.
            group.sort_by(|x, y| y.area().total_cmp(&x.area()).then(x.ring.cmp(&y.ring)));
            let mut kept: Vec<Opening> = Vec::new();
            for opening in group {
                let body = body_at[opening.ring[0] as usize];
                let inside_other = kept.iter().any(|outer| {
                    body_at[outer.ring[0] as usize] != body
                        && outer.encloses(&self.mesh.positions, &opening)
                });
                if inside_other {
                    recesses.insert(body);
                    self.done.push(format!(
                        "the base is hollow: the recess that opens to it near {} was dropped and the base capped solid",
                        at(&opening.centre)
                    ));
                } else {
                    kept.push(opening);
                }
            }
            let loops: Vec<Vec<u32>> = kept.iter().map(|o| o.ring.clone()).collect();
            let normal = kept.iter().map(|o| o.normal).sum::<Vector>();
            match triangulate(&loops, &self.mesh.positions, &normal) {
                Some(triangles) => {
                    let first = self.mesh.faces.len();
                    self.mesh.faces.extend(triangles);
                    let faces = corners_of(&self.mesh, first..self.mesh.faces.len());
                    let across = diameter(&kept[0].ring, &self.mesh);
                    self.mends.push(MendKind::Capped, kept[0].centre, across, faces);
                    let area = 0.5 * normal.norm();
                    let corners: usize = loops.iter().map(Vec::len).sum();
                    let size = format!(
                        "a flat opening of {corners} edges and {area:.1} mm^2 near {}",
                        at(&kept[0].centre)
                    );
                    capped.push((area, size));
                }
                None => self.refused.push(format!(
                    "the flat opening near {} has a rim that crosses itself and cannot be capped",
                    at(&kept[0].centre)
                )),
            }
        }
        if capped.len() > TOLD {
            let largest = capped.iter().max_by(|a, b| a.0.total_cmp(&b.0));
            let largest = largest.map_or("", |(_, size)| size);
            self.done.push(format!("capped {} flat openings, the largest {largest}", capped.len()));
        } else {
            self.done.extend(capped.iter().map(|(_, size)| format!("capped {size}")));
        }
        if !recesses.is_empty() {
            // Caps came after the faces that have a body number.
            let mut index = 0;
            self.mesh.faces.retain(|_| {
                index += 1;
                body_of.get(index - 1).is_none_or(|body| !recesses.contains(body))
            });
        }
    }
}

struct Opening {
    ring: Vec<u32>,
    centre: Point,
    /// Twice-area vector of the cap, mm^2.
    normal: Vector,
}

impl Opening {
    /// Or by how much the rim leaves a plane, mm.
    fn new(ring: Vec<u32>, mesh: &TriangleMesh, tolerance: f64) -> Result<Self, f64> {
        let sum: Vector = ring.iter().map(|v| mesh.positions[*v as usize].coords).sum();
        let centre = Point::from(sum / ring.len() as f64);
        let normal = ring_normal(&ring, &mesh.positions);
        let unit = normal.try_normalize(0.0).unwrap_or_else(Vector::zeros);
        let off = ring
            .iter()
            .map(|v| (mesh.positions[*v as usize] - centre).dot(&unit).abs())
            .fold(0.0, f64::max);
        if off > tolerance || unit == Vector::zeros() {
            return Err(off);
        }
        Ok(Self { ring, centre, normal })
    }

    fn area(&self) -> f64 {
        0.5 * self.normal.norm()
    }

    fn same_plane(&self, other: &Self, tolerance: f64) -> bool {
        let (n, m) = (self.normal.normalize(), other.normal.normalize());
        n.dot(&m).abs() > 0.999 && n.dot(&(other.centre - self.centre)).abs() <= tolerance
    }

    /// Whether the other's rim lies inside this one's, by the winding number of its first vertex.
    fn encloses(&self, positions: &[Point], other: &Self) -> bool {
        let unit = self.normal.normalize();
        let p = positions[other.ring[0] as usize];
        let turn: f64 = (0..self.ring.len())
            .map(|k| {
                let a = positions[self.ring[k] as usize] - p;
                let b = positions[self.ring[(k + 1) % self.ring.len()] as usize] - p;
                a.cross(&b).dot(&unit).atan2(a.dot(&b))
            })
            .sum();
        turn.abs() > std::f64::consts::PI
    }
}

#[cfg(test)]
mod tests;
