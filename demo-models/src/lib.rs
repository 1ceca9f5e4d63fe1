//! Demo pieces of a small puppet theatre's casting studio.
//!
//! Each piece is a signed-distance shape in millimetres ([`sdf`]), meshed on a grid ([`mesher`])
//! so that it is closed, smooth and stands on the board z = 0 with a flat face, which is its gate.
//! With it goes a request: what the studio would ask of the planner. [`pieces`] lists them all;
//! the program `demo-models` writes them to files.
//!
//! The studio, the pieces and their sizes are made up.

pub mod mesher;
pub mod pieces;
pub mod sdf;
pub mod stl;

pub use mesher::{MeshError, Space};
pub use pieces::{Piece, piece, pieces};
