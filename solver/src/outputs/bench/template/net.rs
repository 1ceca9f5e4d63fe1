//! A net: the outside of a mould laid flat, seen from outside. Millimetres from the lower left corner of its walls,
//! y up.

use super::block::Block;
use super::flat::{Border, Flat};
use super::tube::Tube;
use crate::body::Outside;
use crate::mesh::{Point, Vector};

/// The outside of a mould laid flat.
pub(super) enum Net {
    Block(Block),
    Tube(Tube),
}

impl Net {
    /// `front` is the side that comes next to the left one; `underside` asks for the lower face too. All in the
    /// mould frame. `None` for a blanket.
    pub fn new(outside: &Outside, front: &Vector, underside: bool) -> Option<Self> {
        match *outside {
            Outside::Box { low, high } => {
                Some(Self::Block(Block::new(low, high, front, underside)))
            }
            Outside::Cylinder { axis, radius, bottom, top } => {
                Some(Self::Tube(Tube::new(axis, radius, [bottom, top], front, underside)))
            }
            Outside::Offset { .. } => None,
        }
    }

    /// Where a place of the outside lies; `None` for what is on no face of the net.
    pub fn at(&self, p: &Point) -> Option<Flat> {
        match self {
            Self::Block(block) => block.at(p),
            Self::Tube(tube) => tube.at(p),
        }
    }

    /// The shortest way over the outside from one place to another, in the parts that it has on the net: they
    /// hang together but where it leaves the net at one border and comes back at another. `None` where a place is
    /// on no face of the net, or the two are on faces that do not meet.
    pub fn way(&self, a: &Point, b: &Point) -> Option<Vec<[Flat; 2]>> {
        match self {
            Self::Block(block) => block.way(a, b),
            Self::Tube(tube) => tube.way(a, b),
        }
    }

    pub fn borders(&self) -> Vec<Border> {
        match self {
            Self::Block(block) => block.borders(),
            Self::Tube(tube) => tube.borders(),
        }
    }

    /// Length of the base and height of the walls, mm.
    pub fn walls(&self) -> [f64; 2] {
        match self {
            Self::Block(block) => block.walls(),
            Self::Tube(tube) => tube.walls(),
        }
    }

    /// Upper left corners of faces and directions to name, each with a direction from the middle outward.
    pub fn names(&self) -> Vec<(Flat, Vector)> {
        match self {
            Self::Block(block) => block.names(),
            Self::Tube(tube) => tube.names(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::outputs::bench::template::flat::length;

    /// From a wall to the top of a box, over its edge: sqrt(20^2 + (10 + 15)^2); and from the front to the back of a tube's
    /// wall the way over the seam comes in two parts that are together as long as the helix.
    #[test]
    fn ways_over_edges_and_seams_have_their_closed_forms() {
        let block =
            Outside::Box { low: Point::new(-30.0, -30.0, 0.0), high: Point::new(30.0, 30.0, 60.0) };
        let tube = Outside::Cylinder { axis: (0.0, 0.0), radius: 30.0, bottom: 0.0, top: 60.0 };
        let front = Vector::new(0.0, -1.0, 0.0);
        let net = Net::new(&block, &front, false).expect("a net");
        let far = |a, b| length(&net.way(&a, &b).expect("a way"));
        let over = far(Point::new(-10.0, -30.0, 50.0), Point::new(10.0, -15.0, 60.0));
        assert!((over - 20f64.hypot(25.0)).abs() < 1e-9, "{over}");
        let over = far(Point::new(20.0, -30.0, 10.0), Point::new(30.0, -10.0, 30.0));
        assert!((over - 30f64.hypot(20.0)).abs() < 1e-9, "{over}");
        let net = Net::new(&tube, &front, false).expect("a net");
        let far = |a, b| length(&net.way(&a, &b).expect("a way"));
        let (sin, cos) = 0.4f64.sin_cos();
        let seam = far(
            Point::new(30.0 * sin, 30.0 * cos, 10.0),
            Point::new(-30.0 * sin, 30.0 * cos, 25.0),
        );
        assert!((seam - (30.0 * 0.8f64).hypot(15.0)).abs() < 1e-9, "{seam}");
        // Straight up the wall and on to the middle of the top.
        let rim = far(Point::new(30.0, 0.0, 50.0), Point::new(10.0, 0.0, 60.0));
        assert!((rim - 30.0).abs() < 1e-6, "{rim}");
    }
}
