//! What the service keeps for good: models, requests, plans, and where the work on them is.
//!
//! [`Ledger`] is what the service needs of a store; [`SqliteLedger`] is the one that there is. Model
//! files lie beside it as [`Content`], each once under its SHA-256. [`Models`] puts the two together
//! and holds the models that are being worked on.

mod content;
mod error;
mod folder;
mod ledger;
mod limits;
mod models;
mod seal;
mod sqlite;

pub use content::{Content, digest};
pub use error::StoreError;
pub use folder::{Folder, default_folder};
pub use ledger::{
    CancelRunning, Checkpoint, Claimed, Counts, Ending, Extension, Ledger, ModelEntry, NewJob,
    Orders, Page, Run, Step, has_ended,
};
pub use limits::StoreLimits;
pub use models::{ModelFault, Models};
pub use sqlite::SqliteLedger;

use std::time::SystemTime;

/// A time for the protocol.
pub fn timestamp(time: SystemTime) -> pbjson_types::Timestamp {
    // A clock before 1970 is no case for an error of its own.
    let since = time.duration_since(SystemTime::UNIX_EPOCH).unwrap_or_default();
    pbjson_types::Timestamp {
        seconds: i64::try_from(since.as_secs()).unwrap_or(i64::MAX),
        nanos: since.subsec_nanos().cast_signed(),
    }
}
