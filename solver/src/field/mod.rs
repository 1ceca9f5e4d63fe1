//! The potential in the rubber: 0 on the model, 1 on the outside of the mould body, harmonic between.
//!
//! Its field lines leave the model and reach the outside at right angles and never meet each other:
//! sheets of cuts grow along them. In a hole that is filled with rubber it has a saddle; the disc
//! of field lines that runs down from there is the ideal cut across the bridge.
//!
//! [`Potential::solve`] solves for it on a grid ([`Grid`], [`Resolution`]) in a [`Domain`], as a
//! rule [`RubberDomain`]. In order: where the grid lines meet the skins (`domain`, `crossings`,
//! `offset`), the difference equations (`level`), their solution (`multigrid`, `solve`), values and
//! slopes anywhere (`sample`), field lines (`line`), saddles (`star`, `morse`, `saddle`) and discs (`disc`).
//!
//! Lengths in mm; the potential has no unit.

mod crossings;
mod disc;
mod domain;
mod grid;
mod level;
mod line;
mod morse;
mod multigrid;
mod offset;
mod potential;
mod rubber;
mod saddle;
mod sample;
mod sides;
mod solve;
mod star;
#[cfg(test)]
mod tests;

pub use disc::SaddleDisc;
pub use domain::{Domain, ImplicitDomain, Lines, Skin, Stretch};
pub use grid::{Grid, Resolution};
pub use level::Place;
pub use line::{Course, FieldLine};
pub use potential::{Equations, FieldError, Potential, SOLVE_TOLERANCE};
pub use rubber::RubberDomain;
pub use saddle::{RESOLVED_WIDTH, Saddle, SaddleKind, SaddleReport};
pub use solve::SolveReport;
