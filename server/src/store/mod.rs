//! What the service keeps for good: models, requests, plans, and where the work on them is.
//!
//! [`Ledger`] is what the service needs of a store, [`ModelFiles`] what it needs of whatever keeps the
//! models with their files, each once under its SHA-256. On one machine these are [`SqliteLedger`] and
//! a folder ([`Content`], [`FolderFiles`]); several share a [`PostgresLedger`], which is both.
//! [`Models`] holds the models that are being worked on.

mod content;
mod error;
mod folder;
mod folder_files;
mod ledger;
mod limits;
mod models;
mod postgres;
mod rules;
mod seal;
mod sqlite;

pub use content::{Content, digest};
pub use error::StoreError;
pub use folder::{Folder, default_folder};
pub use folder_files::FolderFiles;
pub use ledger::{
    CancelRunning, Checkpoint, Claimed, Counts, Ending, Extension, Group, Ledger, Listing,
    ModelEntry, ModelFiles, NewJob, News, Orders, Owner, Page, Run, Step, has_ended,
};
pub use limits::StoreLimits;
pub use models::{ModelFault, Models};
pub use postgres::{DatabaseConfig, DatabaseFault, PostgresLedger};
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
