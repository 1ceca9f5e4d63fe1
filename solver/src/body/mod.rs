//! The mould body: rubber, its shape round the model, and the gate.

mod frame;
mod gate;
mod mould;
mod rubber;
mod shape;

pub use gate::{Gate, GateError};
pub use mould::{Exit, ExitSide, MouldBody, MouldError, Outside};
pub use rubber::{Rubber, RubberClass, RubberError};
pub use shape::{GateChoice, MouldShape};
