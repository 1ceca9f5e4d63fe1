//! A region of space, given by a signed distance.

use super::solid::Skin;
use crate::mesh::Point;

/// A region of space.
pub trait Region: Sync {
    /// Signed distance, mm, or any continuous stand-in with its sign and about its slope: negative
    /// inside.
    fn level(&self, point: &Point) -> f64;
    /// The skin that a point on the boundary lies on.
    fn skin(&self, point: &Point) -> Skin;
    /// Size of elements that is wanted at a point, mm, where they may be as fine as `finest` in general.
    fn size(&self, _point: &Point, finest: f64) -> f64 {
        finest
    }
    /// A box round the region, mm.
    fn bounds(&self) -> (Point, Point);
}
