//! Plans that are cut between two sides of the model: which directions, which pieces of the border, how short.

mod additions;
mod confirm;
mod cut;
mod draw;
mod first;
mod passed;
mod pattern;
mod plugs;
mod shorten;
mod tries;
mod views;

pub(super) use passed::Passed;
pub(super) use shorten::{Shortened, Shortening};
pub(super) use views::Views;
