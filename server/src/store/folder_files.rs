//! Models in an SQLite ledger, with their files in a folder.

use std::sync::{Arc, Mutex, PoisonError};

use super::{Content, ModelEntry, ModelFiles, Owner, SqliteLedger, StoreError};

/// Keeps entries and files together.
pub struct FolderFiles {
    ledger: Arc<SqliteLedger>,
    content: Content,
    /// Held while an entry and its file come or go together.
    changes: Mutex<()>,
}

impl FolderFiles {
    /// Models of a ledger and a folder of files. Files that no model needs are removed.
    pub fn new(ledger: Arc<SqliteLedger>, content: Content) -> Result<Self, StoreError> {
        content.sweep(&ledger.contents()?)?;
        Ok(Self { ledger, content, changes: Mutex::new(()) })
    }

    fn drop_file_unless_needed(&self, sha256: &str) {
        match self.ledger.contents() {
            Ok(needed) if needed.contains(sha256) => {}
            Ok(_) => self.content.remove(sha256),
            Err(error) => {
                tracing::warn!(sha256, %error, "a model file stays until the next start");
            }
        }
    }
}

impl ModelFiles for FolderFiles {
    fn add(
        &self,
        model: &ModelEntry,
        owner: Option<&Owner>,
        bytes: &[u8],
    ) -> Result<(), StoreError> {
        let sha256 = &model.message.sha256;
        let staged = self.content.stage(bytes)?;
        let _changes = self.changes.lock().unwrap_or_else(PoisonError::into_inner);
        self.content.keep(staged, sha256)?;
        self.ledger.add_model(model, owner).inspect_err(|_| self.drop_file_unless_needed(sha256))
    }

    fn remove(&self, name: &str) -> Result<(), StoreError> {
        let _changes = self.changes.lock().unwrap_or_else(PoisonError::into_inner);
        let model = self.ledger.remove_model(name)?;
        self.drop_file_unless_needed(&model.message.sha256);
        Ok(())
    }

    fn read(&self, sha256: &str) -> Result<Vec<u8>, StoreError> {
        self.content.read(sha256)
    }
}
