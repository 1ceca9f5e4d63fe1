//! Where the knife goes: cut plans for one-piece flexible moulds.
//!
//! The crate is a pipeline; the modules are listed in the order data flows through them, and no
//! module reaches back to a later one. The two entry points are [`mesh::prepare`], which turns
//! bytes into a checked [`mesh::Model`], and [`plan::make_plan`], which turns a model and a
//! [`plan::PlanRequest`] into a [`plan::Plan`]. Beside it stands [`plan::judge_scheme`], for cuts that
//! somebody has drawn.
//!
//! Units everywhere: millimetres, megapascals, newtons, degrees in public data, grams, seconds.

pub mod advice;
pub mod body;
pub mod bridges;
pub mod control;
pub mod curves;
pub mod field;
pub mod girth;
pub mod mesh;
pub mod optimise;
pub mod outputs;
pub mod plan;
pub mod sheets;
pub mod sides;
pub mod trial;
mod union_find;

pub use nalgebra;
