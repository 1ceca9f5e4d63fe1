//! Jobs being worked on: whose turn it is, the threads that work, who follows them.
//!
//! The queue itself lies in the [`Ledger`](crate::store::Ledger). Work runs on plain threads, so that
//! a long plan never holds up a connection.

mod best;
mod group;
mod hub;
mod keeper;
mod run;
mod shared;
mod slots;
mod workers;

pub use best::{figures, is_better};
pub use hub::{Hub, Live};
pub use workers::Workers;
