//! What PostgreSQL says went wrong, as the store says it.

use std::error::Error as _;

use postgres::error::SqlState;

use crate::store::StoreError;

/// Why a transaction came to nothing.
#[derive(Debug)]
pub enum Fault {
    /// It got in the way of another one: the same may do better at once.
    Clash(String),
    /// For good.
    Store(StoreError),
}

impl From<StoreError> for Fault {
    fn from(error: StoreError) -> Self {
        Self::Store(error)
    }
}

impl From<postgres::Error> for Fault {
    fn from(error: postgres::Error) -> Self {
        let text = told(&error);
        match error.code() {
            Some(&SqlState::T_R_SERIALIZATION_FAILURE | &SqlState::T_R_DEADLOCK_DETECTED) => {
                Self::Clash(text)
            }
            Some(&SqlState::DISK_FULL) => Self::Store(StoreError::NoRoom(text)),
            Some(&SqlState::DATA_CORRUPTED | &SqlState::INDEX_CORRUPTED) => {
                Self::Store(StoreError::Damaged(text))
            }
            _ => Self::Store(StoreError::Unavailable(text)),
        }
    }
}

impl From<Fault> for StoreError {
    fn from(fault: Fault) -> Self {
        match fault {
            Fault::Clash(text) => Self::Unavailable(text),
            Fault::Store(error) => error,
        }
    }
}

/// Whether nobody answers, or only to say that it is too early or too late: it may be otherwise soon.
pub fn is_away(error: &postgres::Error) -> bool {
    match error.code() {
        None => true,
        Some(code) => [
            &SqlState::CANNOT_CONNECT_NOW,
            &SqlState::TOO_MANY_CONNECTIONS,
            // A database that lets nobody in just now.
            &SqlState::OBJECT_NOT_IN_PREREQUISITE_STATE,
        ]
        .contains(&code),
    }
}

/// The error with what is behind it: the library's own words say only where it happened.
pub fn told(error: &postgres::Error) -> String {
    match error.source() {
        Some(source) => format!("{error}: {source}"),
        None => error.to_string(),
    }
}
