//! What can go wrong between the service and its store.

/// Something asked of the store cannot be done.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum StoreError {
    /// No such model.
    #[error("there is no model named {0}: ListModels shows those that there are")]
    NoModel(String),
    /// No such job.
    #[error("there is no plan named {0}: ListPlans shows those that there are")]
    NoJob(String),
    /// Models take up all the room that they are given.
    #[error("no room for another model ({0}): delete one that is no longer needed")]
    ModelsFull(String),
    /// As many plans wait as may.
    #[error("{0} plans are waiting already: try again when one has ended")]
    QueueFull(usize),
    /// The owner has as many plans under way as it may.
    #[error(
        "token {owner}: {most} of its plans are queued or running, as many as it may have: wait for one to end or cancel one"
    )]
    TooManyJobs {
        /// Name of the token.
        owner: String,
        /// Most plans.
        most: u32,
    },
    /// The owner's models take as many bytes as they may.
    #[error(
        "token {owner}: its model files would take more than {most_mib} MiB, as many as it may have: delete one that is no longer needed"
    )]
    TooManyBytes {
        /// Name of the token.
        owner: String,
        /// Most MiB.
        most_mib: u64,
    },
    /// A job for the model has not ended.
    #[error("{model} is in use by {job}: cancel it or wait for its end")]
    ModelInUse {
        /// The model.
        model: String,
        /// The job.
        job: String,
    },
    /// The job has not ended.
    #[error("{0} has not ended: cancel it first")]
    JobActive(String),
    /// The job has failed and has nothing to go on from.
    #[error("{0} has failed and cannot go on: submit a new plan")]
    JobFailed(String),
    /// A job would get more time than any may have.
    #[error(
        "{job} would have {seconds} seconds in all, at most {most} are allowed: give it less, or submit a new plan"
    )]
    TooMuchTime {
        /// The job.
        job: String,
        /// Seconds that it would have.
        seconds: u64,
        /// Most seconds.
        most: u64,
    },
    /// The same request id came with something else.
    #[error("request_id {id} was used for {job} with something else asked: choose a new one")]
    RequestIdTaken {
        /// The id.
        id: String,
        /// The job that has it.
        job: String,
    },
    /// Someone else has the job by now, or it has ended: what this worker found no longer counts.
    #[error("the work on {0} has passed to someone else")]
    RunLost(String),
    /// The disk, or what the store may use of it, is full.
    #[error(
        "the store is full ({0}): nothing that was accepted is lost; free some room on its disk, delete plans or models, or raise its limits"
    )]
    NoRoom(String),
    /// What was stored cannot be read as it was written.
    #[error(
        "the store is damaged ({0}): take a copy of it before anything else, then restore it from a backup"
    )]
    Damaged(String),
    /// Another process has the folder.
    #[error(
        "{0} is in use by another process: stop that one, or give this one a folder of its own"
    )]
    Locked(String),
    /// A newer version of the program wrote the store.
    #[error(
        "the store has format {found}, this program knows formats up to {known}: use the newer program; nothing was changed"
    )]
    Newer {
        /// Format found.
        found: i64,
        /// Newest format known.
        known: i64,
    },
    /// The file is a database of some other program.
    #[error("{0} was not written by this program: give another folder; nothing was changed")]
    Foreign(String),
    /// There are model files, and no ledger that knows of them.
    #[error(
        "{folder} holds {files} model files but no store.db that knows of them: put store.db back from a backup, or move the folder models away to begin anew; nothing was changed"
    )]
    NoLedger {
        /// The store's folder.
        folder: String,
        /// How many files.
        files: usize,
    },
    /// The store cannot be reached just now.
    #[error("the store cannot be used at the moment ({0}): try again")]
    Unavailable(String),
}

impl StoreError {
    /// A fault of a file. `what` was being done.
    pub fn file(what: &str, error: &std::io::Error) -> Self {
        use std::io::ErrorKind;
        let text = format!("{what}: {error}");
        match error.kind() {
            ErrorKind::StorageFull | ErrorKind::QuotaExceeded | ErrorKind::FileTooLarge => {
                Self::NoRoom(text)
            }
            _ => Self::Unavailable(text),
        }
    }

    /// Whether the same may succeed later without anybody asking for something else.
    pub fn is_passing(&self) -> bool {
        matches!(self, Self::NoRoom(_) | Self::Unavailable(_))
    }
}

impl From<rusqlite::Error> for StoreError {
    fn from(error: rusqlite::Error) -> Self {
        use rusqlite::ErrorCode;
        let text = error.to_string();
        match error.sqlite_error_code() {
            Some(ErrorCode::DiskFull) => Self::NoRoom(text),
            Some(ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase) => Self::Damaged(text),
            // A column that holds what the program never writes there.
            None => Self::Damaged(text),
            Some(_) => Self::Unavailable(text),
        }
    }
}

#[cfg(test)]
mod tests {
    use std::io::{Error, ErrorKind};

    use super::*;

    #[test]
    fn a_full_disk_is_told_from_other_faults_of_a_file() {
        let full = StoreError::file("writing", &Error::from(ErrorKind::StorageFull));
        assert!(matches!(full, StoreError::NoRoom(_)));
        let other = StoreError::file("writing", &Error::from(ErrorKind::PermissionDenied));
        assert!(matches!(other, StoreError::Unavailable(_)));
    }
}
