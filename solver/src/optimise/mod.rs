//! Finding the cheapest set of cuts that meets every row.

mod builder;
mod by_integers;
mod climb;
mod complete;
pub mod cut_set;
pub mod gap;
pub mod integer;
pub mod look;
pub mod one_piece;
pub mod pool;
pub mod relaxation;
pub mod relief;
pub mod rows;
pub mod search;
pub mod separation;
pub mod settings;
mod settle;
mod strips;
mod trim;
mod vary;

pub(crate) use strips::{signed_distance, stretch_at};
