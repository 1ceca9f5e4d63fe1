//! Whether one side of the model runs all round a limb that goes round a hole.
//!
//! Rubber of a side that does cannot come off the limb, however true the sides are elsewhere: it is a sleeve. A closed curve on the
//! skin goes round the limb once for each time that it runs through the hole, so what is asked is whether a side has a closed
//! curve that crosses the disc across the hole more often one way than the other: whether the crossings of the disc, summed up
//! along the skin of that side, depend on the way.

use crate::mesh::{FaceId, LocatorError, Point, SurfaceLocator, Topology, TriangleMesh};
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
        Ok(Self { through: topology.edge_faces.iter().map(crossed).collect() })
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
