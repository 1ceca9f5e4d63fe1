//! What a person or another program takes away: pictures, a page of words, pages and a template for the bench,
//! cautions.

mod advice_words;
pub mod bench;
pub mod cautions;
mod comparison;
#[cfg(test)]
mod every_plan;
#[cfg(test)]
mod fixtures;
mod girths;
pub mod glb;
mod parting;
pub mod pictures;
mod pose_words;
pub mod record;
mod sheet_words;
mod stretches;
mod summary;
mod trial_words;
mod verdict;
mod whereabouts;
mod words;

pub use comparison::comparison_table;
pub use pose_words::{on_gate, pose_text};
pub use summary::summary;
pub use trial_words::{trial_doubts, trial_verdict};
