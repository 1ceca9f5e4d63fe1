//! The curtain ring of the royal box: a ring standing up, with a crown on top.

use std::f64::consts::TAU;

use super::Piece;
use crate::mesher::Space;
use crate::sdf::{P, V, ball, ring, rod, turned};

/// One hole, through the ring. The crown is solid between its points.
pub(super) fn piece() -> Piece {
    let foot = turned(&[
        (29.0, -8.0),
        (28.0, 0.0),
        (26.0, 5.0),
        (17.0, 9.0),
        (12.0, 13.0),
        (10.0, 20.0),
        (0.0, 24.0),
    ]);
    let hoop = ring(P::new(0.0, 0.0, 70.0), V::y(), 44.0, 10.0);
    // The crown: a cup that widens upwards, a cushion inside, and eight points with pearls.
    let cup = turned(&[
        (0.0, 118.0),
        (9.0, 119.0),
        (12.0, 122.0),
        (13.0, 127.0),
        (15.5, 134.0),
        (15.0, 136.5),
        (8.0, 139.0),
        (0.0, 140.0),
    ]);
    let mut solid = foot.blend(&hoop, 8.0).blend(&cup, 5.0);
    for k in 0..8 {
        let (sine, cosine) = (TAU * (f64::from(k) + 0.5) / 8.0).sin_cos();
        let at = |out: f64, z: f64| P::new(out * cosine, out * sine, z);
        let point = rod(at(13.5, 131.0), 3.2, at(17.5, 144.0), 1.9);
        solid = solid.blend(&point, 2.5).blend(&ball(at(17.8, 146.0), 2.9), 1.5);
    }
    let knob = ball(P::new(0.0, 0.0, 143.5), 5.0);
    Piece {
        name: "crowned-ring",
        about: "curtain ring of the royal box: a ring standing on a foot, a crown on top",
        holes: 1,
        request: include_str!("../../requests/crowned-ring.json"),
        solid: solid.blend(&knob, 3.0),
        space: Space { x: -60.0..60.0, y: -36.0..36.0, height: 156.0 },
        cell: 1.0,
    }
}
