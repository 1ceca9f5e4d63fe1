//! Finding the cheapest set of cuts that meets every row.

pub mod cut_set;
pub mod gap;
pub mod integer;
pub mod one_piece;
pub mod primal;
pub mod relaxation;
pub mod relief;
pub mod rows;
pub mod search;
pub mod separation;
mod settle;
