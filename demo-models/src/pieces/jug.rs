//! The innkeeper's jug, solid, with a handle and a lip.

use super::Piece;
use crate::mesher::Space;
use crate::sdf::{P, Solid, limb, rod, turned};

/// One hole, through the handle.
pub(super) fn piece() -> Piece {
    let body = turned(&[
        (30.0, -8.0),
        (30.0, 0.0),
        (29.0, 5.0),
        (33.0, 14.0),
        (43.0, 34.0),
        (46.0, 54.0),
        (40.0, 76.0),
        (28.0, 96.0),
        (23.5, 112.0),
        (25.0, 126.0),
        (28.0, 136.0),
        (29.5, 148.0),
        (0.0, 152.0),
    ]);
    // The lip leans out of the neck; the filled mouth is cut level above both.
    let lip = rod(P::new(10.0, 0.0, 118.0), 12.0, P::new(36.0, 0.0, 150.0), 8.0);
    let level = Solid::new(|p| p.z - 141.0);
    let at = |x: f64, z: f64| P::new(x, 0.0, z);
    let handle = limb(&[
        (at(-24.0, 126.0), 6.5),
        (at(-38.0, 133.0), 6.2),
        (at(-56.0, 126.0), 5.8),
        (at(-67.0, 105.0), 5.6),
        (at(-67.0, 82.0), 5.6),
        (at(-56.0, 62.0), 6.0),
        (at(-42.0, 52.0), 7.0),
    ]);
    Piece {
        name: "jug",
        about: "the innkeeper's jug: solid, with one handle and a lip",
        holes: 1,
        request: include_str!("../../requests/jug.json"),
        solid: body.blend(&lip, 12.0).both(&level, 5.0).blend(&handle, 6.0),
        space: Space { x: -80.0..56.0, y: -54.0..54.0, height: 150.0 },
        cell: 1.3,
    }
}
