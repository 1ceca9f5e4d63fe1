//! The plinth under the king's bust: widest at the board, every side with draft.

use super::Piece;
use crate::mesher::Space;
use crate::sdf::drafted_block;

/// It slips out of an uncut mould.
pub(super) fn piece() -> Piece {
    let step = drafted_block([62.0, 50.0], 26.0, 6.0, 9.0);
    let shaft = drafted_block([47.0, 37.0], 112.0, 5.0, 10.0);
    Piece {
        name: "plinth",
        about: "plinth for the king's bust: widest at the board, draft on every side",
        holes: 0,
        request: include_str!("../../requests/plinth.json"),
        solid: step.blend(&shaft, 10.0),
        space: Space { x: -70.0..70.0, y: -58.0..58.0, height: 118.0 },
        cell: 1.6,
    }
}
