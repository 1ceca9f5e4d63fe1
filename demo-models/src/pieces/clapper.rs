//! The clapper of the stage bell: a ball on a rod.

use super::Piece;
use crate::mesher::Space;
use crate::sdf::{P, ball, rod};

/// The rod's end stands on the board; the ball is more than twice as wide as the rod.
pub(super) fn piece() -> Piece {
    let stem = rod(P::new(0.0, 0.0, -20.0), 9.0, P::new(0.0, 0.0, 110.0), 9.0);
    Piece {
        name: "clapper",
        about: "clapper of the stage bell: a ball on a rod, the rod's end on the board",
        holes: 0,
        request: include_str!("../../requests/clapper.json"),
        solid: ball(P::new(0.0, 0.0, 125.0), 30.0).blend(&stem, 5.0),
        space: Space { x: -36.0..36.0, y: -36.0..36.0, height: 160.0 },
        cell: 1.0,
    }
}
