//! Model files, each stored once under its SHA-256.
//!
//! Files, not rows of the database: a file of hundreds of MiB would go through the write-ahead log
//! and hold up every other write for as long.

use std::collections::HashSet;
use std::fmt::Write as _;
use std::fs::{self, File};
use std::io::Write as _;
use std::path::{Path, PathBuf};

use sha2::{Digest, Sha256};
use tempfile::NamedTempFile;

use super::StoreError;

/// What files that are being written are called until they are whole.
const UNFINISHED: &str = ".unfinished-";

/// A folder of model files.
#[derive(Debug)]
pub struct Content {
    folder: PathBuf,
}

/// A file that is on the disk for good, but not under its name yet.
#[derive(Debug)]
pub struct Staged(NamedTempFile);

/// SHA-256 as 64 hexadecimal digits.
pub fn digest(bytes: &[u8]) -> String {
    let mut text = String::with_capacity(64);
    for byte in Sha256::digest(bytes) {
        // Writing to a string cannot fail.
        let _ = write!(text, "{byte:02x}");
    }
    text
}

impl Content {
    /// The files in `folder`, which is made if it is missing.
    pub fn open(folder: PathBuf) -> Result<Self, StoreError> {
        fs::create_dir_all(&folder).map_err(|error| fault("making the folder", &folder, &error))?;
        Ok(Self { folder })
    }

    /// Writes a file under a name of its own, and waits until the disk has it.
    pub fn stage(&self, bytes: &[u8]) -> Result<Staged, StoreError> {
        let written = tempfile::Builder::new().prefix(UNFINISHED).tempfile_in(&self.folder);
        let written = written.and_then(|mut file| {
            file.write_all(bytes)?;
            file.as_file().sync_all()?;
            Ok(file)
        });
        written.map(Staged).map_err(|error| fault("writing a model file", &self.folder, &error))
    }

    /// Gives a file its name. One that is there already is replaced: it should be the same, and if it
    /// was damaged it is whole again.
    pub fn keep(&self, staged: Staged, sha256: &str) -> Result<(), StoreError> {
        let path = self.path(sha256);
        staged
            .0
            .persist(&path)
            .map_err(|error| fault("naming the model file", &path, &error.error))?;
        // The name is only on the disk once the folder is.
        File::open(&self.folder)
            .and_then(|folder| folder.sync_all())
            .map_err(|error| fault("writing the folder", &self.folder, &error))
    }

    /// The bytes of a file, if they are as they were written.
    pub fn read(&self, sha256: &str) -> Result<Vec<u8>, StoreError> {
        let path = self.path(sha256);
        let bytes = fs::read(&path).map_err(|error| match error.kind() {
            std::io::ErrorKind::NotFound => {
                StoreError::Damaged(format!("the model file {sha256} is missing"))
            }
            _ => fault("reading a model file", &path, &error),
        })?;
        if digest(&bytes) != sha256 {
            return Err(StoreError::Damaged(format!(
                "the model file {sha256} is not as it was written: send the model again"
            )));
        }
        Ok(bytes)
    }

    /// Forgets a file. One that cannot be removed is left for [`Self::sweep`].
    pub fn remove(&self, sha256: &str) {
        let path = self.path(sha256);
        if let Err(error) = fs::remove_file(&path) {
            tracing::warn!(path = %path.display(), %error, "a model file could not be removed");
        }
    }

    /// How many files there are.
    pub fn count(&self) -> Result<usize, StoreError> {
        let mut files = 0;
        self.each(|name| files += usize::from(is_sum(name)))?;
        Ok(files)
    }

    /// The names of what is in the folder, one by one.
    fn each(&self, mut see: impl FnMut(&str)) -> Result<(), StoreError> {
        let read = |error| fault("reading the folder", &self.folder, &error);
        for entry in fs::read_dir(&self.folder).map_err(read)? {
            // A name that is no text was not given by this program.
            if let Some(name) = entry.map_err(read)?.file_name().to_str() {
                see(name);
            }
        }
        Ok(())
    }

    /// Removes files that no model needs, as a process that was killed half-way may leave them.
    pub fn sweep(&self, needed: &HashSet<String>) -> Result<(), StoreError> {
        // What is neither an unfinished file nor a sum was not put there by this program.
        self.each(|name| {
            if name.starts_with(UNFINISHED) || (is_sum(name) && !needed.contains(name)) {
                tracing::warn!(name, "a file that no model needs is removed");
                self.remove(name);
            }
        })
    }

    fn path(&self, sha256: &str) -> PathBuf {
        self.folder.join(sha256)
    }
}

/// Whether a file is called like one of a model.
fn is_sum(name: &str) -> bool {
    name.len() == 64 && name.bytes().all(|b| b.is_ascii_hexdigit())
}

fn fault(what: &str, path: &Path, error: &std::io::Error) -> StoreError {
    StoreError::file(&format!("{what} {}", path.display()), error)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// FIPS 180-2, appendix B.1.
    #[test]
    fn the_sum_is_sha_256() {
        assert_eq!(
            digest(b"abc"),
            "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
        );
    }

    #[test]
    fn files_are_kept_whole_or_called_damaged_and_heal_when_sent_again() {
        let folder = tempfile::tempdir().expect("a folder");
        let content = Content::open(folder.path().join("models")).expect("made");
        let keep = |bytes: &[u8]| {
            let staged = content.stage(bytes).expect("staged");
            content.keep(staged, &digest(bytes)).expect("kept");
            digest(bytes)
        };
        let sum = keep(b"a plinth");
        assert_eq!(content.read(&sum).as_deref(), Ok(&b"a plinth"[..]));
        fs::write(content.path(&sum), b"a plynth").expect("written");
        assert!(matches!(content.read(&sum), Err(StoreError::Damaged(_))));
        keep(b"a plinth");
        assert_eq!(content.read(&sum).as_deref(), Ok(&b"a plinth"[..]));
        content.remove(&sum);
        assert!(matches!(content.read(&sum), Err(StoreError::Damaged(_))));
    }

    #[test]
    fn sweeping_leaves_what_is_needed_and_what_is_not_its_own() {
        let folder = tempfile::tempdir().expect("a folder");
        let content = Content::open(folder.path().to_owned()).expect("made");
        for bytes in [&b"needed"[..], b"left over"] {
            let staged = content.stage(bytes).expect("staged");
            content.keep(staged, &digest(bytes)).expect("kept");
        }
        for name in [format!("{UNFINISHED}7"), "README".to_owned()] {
            fs::write(content.path(&name), "x").expect("written");
        }
        content.sweep(&HashSet::from([digest(b"needed")])).expect("swept");
        let mut left: Vec<_> = fs::read_dir(folder.path())
            .expect("read")
            .map(|entry| entry.expect("an entry").file_name().into_string().expect("a name"))
            .collect();
        left.sort();
        assert_eq!(left, ["README".to_owned(), digest(b"needed")]);
    }
}
