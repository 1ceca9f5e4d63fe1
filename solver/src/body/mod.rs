//! The mould body: rubber, its shape round the model, and the gate.

mod rubber;
mod shape;

pub use rubber::{Rubber, RubberClass, RubberError};
pub use shape::{GateChoice, MouldShape};
