//! The enchanted tree of the forest scene.

use super::Piece;
use crate::mesher::Space;
use crate::sdf::{P, V, ellipsoid, limb, turned};

/// No hole: branches and crowns keep clear of each other.
pub(super) fn piece() -> Piece {
    let p = P::new;
    let root = turned(&[
        (44.0, -8.0),
        (40.0, 0.0),
        (30.0, 6.0),
        (20.0, 14.0),
        (15.0, 26.0),
        (12.0, 40.0),
        (0.0, 50.0),
    ]);
    let trunk = limb(&[
        (p(0.0, 0.0, 20.0), 14.0),
        (p(2.0, 1.0, 55.0), 11.5),
        (p(-3.0, 0.0, 95.0), 10.0),
        (p(1.0, -2.0, 135.0), 8.0),
        (p(0.0, 0.0, 172.0), 6.5),
    ]);
    let mut solid = root.blend(&trunk, 10.0);
    // Where each branch leaves the trunk, its bend, its end, and the half-axes of its crown.
    let branches = [
        (p(0.0, 0.0, 62.0), p(28.0, 8.0, 74.0), p(46.0, 14.0, 96.0), V::new(18.0, 16.0, 13.0)),
        (p(-1.0, 0.0, 78.0), p(-26.0, 12.0, 88.0), p(-46.0, 18.0, 108.0), V::new(17.0, 17.0, 13.0)),
        (
            p(-3.0, 0.0, 88.0),
            p(-10.0, -26.0, 96.0),
            p(-14.0, -44.0, 114.0),
            V::new(16.0, 15.0, 12.0),
        ),
        (
            p(-2.0, 0.0, 112.0),
            p(26.0, -10.0, 124.0),
            p(42.0, -16.0, 144.0),
            V::new(16.0, 15.0, 13.0),
        ),
        (p(0.0, -1.0, 124.0), p(-22.0, 2.0, 136.0), p(-38.0, 2.0, 156.0), V::new(15.0, 15.0, 12.0)),
        (p(1.0, -2.0, 130.0), p(10.0, 22.0, 140.0), p(16.0, 36.0, 158.0), V::new(15.0, 14.0, 12.0)),
    ];
    for (from, bend, to, half) in branches {
        let branch = limb(&[(from, 8.0), (bend, 6.0), (to, 5.0)]);
        solid = solid.blend(&branch, 8.0).blend(&ellipsoid(to, half), 6.0);
    }
    let top = ellipsoid(p(0.0, -2.0, 188.0), V::new(21.0, 20.0, 17.0));
    Piece {
        name: "tree",
        about: "the enchanted tree: a trunk, six branches, leafy crowns that keep apart",
        holes: 0,
        request: include_str!("../../requests/tree.json"),
        solid: solid.blend(&top, 6.0),
        space: Space { x: -72.0..72.0, y: -66.0..58.0, height: 212.0 },
        cell: 1.3,
    }
}
