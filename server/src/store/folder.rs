//! The folder that holds a store, and the lock that keeps other processes out of it.

use std::fs::{DirBuilder, File, TryLockError};
use std::os::unix::fs::DirBuilderExt as _;
use std::path::{Path, PathBuf};

use super::{Content, SqliteLedger, StoreError, StoreLimits};

/// A store's folder, for this process alone until it is dropped.
#[derive(Debug)]
pub struct Folder {
    path: PathBuf,
    // Held open: the system lets go of the lock when the process ends, however it ends.
    _lock: File,
}

impl Folder {
    /// Takes the folder, which is made if it is missing, readable by its owner only.
    pub fn open(path: &Path) -> Result<Self, StoreError> {
        let fault = |what: &str, error: std::io::Error| {
            StoreError::file(&format!("{what} {}", path.display()), &error)
        };
        DirBuilder::new()
            .recursive(true)
            .mode(0o700)
            .create(path)
            .map_err(|error| fault("making the folder", error))?;
        let lock = File::options()
            .create(true)
            .truncate(false)
            .write(true)
            .open(path.join("lock"))
            .map_err(|error| fault("opening the lock in", error))?;
        match lock.try_lock() {
            Ok(()) => Ok(Self { path: path.to_owned(), _lock: lock }),
            Err(TryLockError::WouldBlock) => Err(StoreError::Locked(path.display().to_string())),
            Err(TryLockError::Error(error)) => Err(fault("locking", error)),
        }
    }

    /// The ledger in it. A new one is not made beside model files: it would take them for left over.
    pub fn ledger(&self, limits: StoreLimits) -> Result<SqliteLedger, StoreError> {
        let file = self.path.join("store.db");
        let is_new = match std::fs::metadata(&file) {
            // As SQLite leaves it before it first writes.
            Ok(there) => there.len() == 0,
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => true,
            Err(error) => return Err(StoreError::file("looking at store.db", &error)),
        };
        let files = if is_new { self.content()?.count()? } else { 0 };
        if files > 0 {
            return Err(StoreError::NoLedger { folder: self.path.display().to_string(), files });
        }
        SqliteLedger::open(&file, limits)
    }

    /// The model files in it.
    pub fn content(&self) -> Result<Content, StoreError> {
        Content::open(self.path.join("models"))
    }
}

/// Where the store is unless someone says: `$STATE_DIRECTORY`, as systemd sets it for a service, or
/// else `slitwright` in the person's folder for data (XDG Base Directory Specification 0.8).
pub fn default_folder() -> Option<PathBuf> {
    let absolute =
        |name: &str| std::env::var_os(name).map(PathBuf::from).filter(|path| path.is_absolute());
    absolute("STATE_DIRECTORY").or_else(|| {
        absolute("XDG_DATA_HOME")
            .or_else(|| std::env::home_dir().map(|home| home.join(".local/share")))
            .map(|data| data.join("slitwright"))
    })
}
