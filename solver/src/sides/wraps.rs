//! Whether one side of the model runs all round a limb that goes round a hole.
//!
//! Rubber of a side that does cannot come off the limb, however true the sides are elsewhere: it is a sleeve. A closed curve on the
//! skin goes round the limb once for each time that it runs through the hole, so what is asked is whether a side has a closed
//! curve that crosses the disc across the hole more often one way than the other: whether the crossings of the disc, summed up
//! along the skin of that side, depend on the way.

use std::collections::{BTreeMap, VecDeque};

use crate::mesh::{FaceId, LocatorError, Point, SurfaceLocator, Topology, TriangleMesh, VertexId};
use crate::sheets::widened;

/// The disc is drawn out into the model by this share of the surface's edges, and faces are joined as high above the skin as
/// the second share says: the disc ends a hair off the model.
const DRAWN_OUT: f64 = 0.5;
const LIFT: f64 = 0.1;

/// A hole, as the skin sees it.
pub struct Hole {
    /// For each edge of the surface how often the way across it leads through the disc, from the first of its faces to the second.
    through: Vec<i8>,
}

impl Hole {
    /// The hole that a disc spans, in a skin with edges of about `edge` mm.
    pub fn new(
        skin: &TriangleMesh,
        topology: &Topology,
        edge: f64,
        disc: &TriangleMesh,
    ) -> Result<Self, LocatorError> {
        let disc = SurfaceLocator::new(&widened(disc, DRAWN_OUT * edge))?;
        let lift = LIFT * edge;
        let above = |f: u32| -> Point {
            let normal = skin.area_vector(FaceId(f)).try_normalize(0.0);
            skin.face_middle(FaceId(f)) + normal.unwrap_or_default() * lift
        };
        let crossed = |&[a, b]: &[u32; 2]| {
            let (from, to) = (above(a), above(b));
            let way = to - from;
            disc.ray(&from, &way, way.norm())
                .map_or(0, |hit| if hit.normal.dot(&way) > 0.0 { 1 } else { -1 })
        };
        let mut through: Vec<i8> = topology.edge_faces.iter().map(crossed).collect();
        close(&mut through, topology, skin.positions.len());
        Ok(Self { through })
    }

    /// Whether one of two sides runs all round the limb.
    pub fn is_wrapped(&self, topology: &Topology, front: &[bool]) -> bool {
        let mut turns: Vec<Option<i32>> = vec![None; front.len()];
        let mut next = Vec::new();
        for first in 0..front.len() as u32 {
            if turns[first as usize].is_some() {
                continue;
            }
            turns[first as usize] = Some(0);
            next.push((first, 0));
            while let Some((face, sum)) = next.pop() {
                for &edge in &topology.face_edges[face as usize] {
                    let [a, b] = topology.edge_faces[edge as usize];
                    let other = if a == face { b } else { a };
                    if front[other as usize] != front[face as usize] {
                        continue;
                    }
                    let crossing = i32::from(self.through[edge as usize]);
                    let there = if a == face { sum + crossing } else { sum - crossing };
                    match turns[other as usize] {
                        Some(known) if known != there => return true,
                        Some(_) => {}
                        None => {
                            turns[other as usize] = Some(there);
                            next.push((other, there));
                        }
                    }
                }
            }
        }
        false
    }
}

/// A disc's rim that ends a hair off the skin lets an edge or two of the line by along which it meets the skin. Round the ends of
/// such a gap the crossings do not add up to nothing, as they do round every point of a line that closes: each is joined to
/// the nearest end that it fits.
fn close(through: &mut [i8], topology: &Topology, vertices: usize) {
    // The way round a vertex, against the clock: an edge's first face lies to the left of the edge from its lower vertex on.
    let mut open = vec![0i32; vertices];
    for (&[low, high], &crossed) in topology.edge_vertices.iter().zip(through.iter()) {
        open[low as usize] -= i32::from(crossed);
        open[high as usize] += i32::from(crossed);
    }
    for end in 0..vertices as u32 {
        while open[end as usize] > 0 {
            let mut came: BTreeMap<u32, u32> = BTreeMap::new();
            let mut next = VecDeque::from([end]);
            let other = loop {
                let Some(at) = next.pop_front() else { return };
                if open[at as usize] < 0 {
                    break at;
                }
                for &edge in topology.edges_of(VertexId(at)) {
                    let [low, high] = topology.edge_vertices[edge as usize];
                    let to = if low == at { high } else { low };
                    if to != end && !came.contains_key(&to) {
                        came.insert(to, edge);
                        next.push_back(to);
                    }
                }
            };
            let mut at = other;
            while at != end {
                let edge = came[&at] as usize;
                let [low, high] = topology.edge_vertices[edge];
                let from = if low == at { high } else { low };
                // One less round where the way comes from, one more where it leads to.
                through[edge] += if from == low { 1 } else { -1 };
                at = from;
            }
            open[end as usize] -= 1;
            open[other as usize] += 1;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mesh::{Vector, planning_mesh};
    use crate::trial::tests::shapes::standing_torus;

    /// A torus that stands on the board, of radii 20 and 6 mm, is a limb round one hole. Cut in two by the plane of the ring,
    /// each side is an annulus beside the hole; cut across, each is a tube.
    #[test]
    fn tubes_wrap_the_limb_and_annuli_do_not() {
        let torus = standing_torus(20.0, 6.0, 2.0);
        let skin = planning_mesh(&torus, 1.5).expect("remeshed");
        let topology = Topology::new(&skin).expect("closed");
        let (low, high) = torus.bounds().expect("bounds");
        let (middle, size) = (nalgebra::center(&low, &high), high - low);
        // The plane of the ring is the one across its thinnest extent.
        let axis = if size.x < size.y { Vector::x() } else { Vector::y() };
        let across = Vector::z().cross(&axis);
        let corner = |a: f64| {
            let (sin, cos) = a.sin_cos();
            // Beyond the hole's wall, and short of the other side of the limb.
            middle + (across * cos + Vector::z() * sin) * 16.0
        };
        let rim: Vec<Point> =
            (0..24).map(|k| corner(std::f64::consts::TAU * f64::from(k) / 24.0)).collect();
        let faces = (0..24).map(|k| [24, k, (k + 1) % 24]).collect();
        let disc = TriangleMesh { positions: rim.into_iter().chain([middle]).collect(), faces };
        // A disc that falls short of the wall somewhere tells the same.
        let mut torn = disc.clone();
        torn.faces.remove(5);
        torn.faces.remove(15);
        for disc in [disc, torn] {
            let hole = Hole::new(&skin, &topology, 1.5, &disc).expect("a hole");
            let wrapped = |towards: &Vector| {
                let faces = 0..skin.faces.len() as u32;
                let ahead = |f| (skin.face_middle(FaceId(f)) - middle).dot(towards) > 0.0;
                hole.is_wrapped(&topology, &faces.map(ahead).collect::<Vec<bool>>())
            };
            assert!(!wrapped(&axis));
            assert!(wrapped(&across));
            assert!(wrapped(&Vector::z()));
            // Aslant the plane still cuts the limb across twice.
            assert!(wrapped(&(axis + across * 3.0)));
        }
    }
}
