//! Room that is kept for calls that make room: a file beside the database, given up when the disk is full.
//!
//! Whoever cancels or deletes writes to the log first, and a log that was made anew has no room of its own. SQLite
//! brings the log into the database every 1000 pages, 4 MiB, and begins it anew: so twice as much room lasts for any
//! number of cancels and deletions, which make no database longer. Killed at any moment, a process leaves the file
//! whole, shorter or not at all, and the next one makes it as long as there is room for.

use std::fs::{self, File};
use std::io;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};

use rustix::fs::{FallocateFlags, fallocate, statvfs};

/// Bytes that are kept.
const WHOLE: u64 = 8 << 20;
/// Fewer are not worth a file.
const LEAST: u64 = 1 << 20;
/// Bytes that are left to others when what remains of the reserve is taken back.
const LEFT: u64 = 64 << 10;

/// What is said where there is too little room for it.
const NONE: &str =
    "no room can be kept for cancels and deletions: on a full disk they are refused like all else";

/// The file, there or not.
#[derive(Debug)]
pub struct Reserve {
    path: PathBuf,
    /// Whether it was told that there is none.
    is_told: AtomicBool,
}

impl Reserve {
    /// The reserve of a database, made where there is room.
    pub fn of(database: &Path) -> Self {
        let path = database.with_extension("reserve");
        let reserve = Self { path, is_told: AtomicBool::new(false) };
        reserve.make();
        reserve
    }

    /// Give it up. Tells whether there was one.
    pub fn give_up(&self) -> bool {
        let given = fs::remove_file(&self.path);
        match &given {
            Ok(()) => tracing::warn!(
                path = %self.path.display(),
                "the store is full: the room kept for cancels and deletions is given up"
            ),
            Err(error) if error.kind() == io::ErrorKind::NotFound => {}
            Err(error) => {
                tracing::error!(path = %self.path.display(), %error, "the reserve cannot be given up");
            }
        }
        given.is_ok()
    }

    /// Make it, or make it longer, of no more than half of the room that there is. Where that is too little this is
    /// logged, once.
    pub fn make(&self) {
        self.tell(self.lengthen(|has, free| has.saturating_add(free) / 2));
    }

    /// Take back what is left of it, before somebody else has it.
    pub fn take_back(&self) {
        self.tell(self.lengthen(|has, free| has.saturating_add(free.saturating_sub(LEFT))));
    }

    fn tell(&self, made: io::Result<u64>) {
        let is_there = made.as_ref().is_ok_and(|&bytes| bytes >= LEAST);
        let was_told = self.is_told.swap(!is_there, Ordering::Relaxed);
        if is_there && was_told {
            tracing::info!("room is kept again for cancels and deletions on a full disk");
        } else if !is_there && !was_told {
            let path = self.path.display().to_string();
            match made {
                Err(error) => tracing::warn!(path, %error, "{NONE}"),
                Ok(_) => tracing::warn!(path, "{NONE}"),
            }
        }
    }

    /// Make it as long as `wanted` says of its bytes and of those that are free, if that is longer than it is. The bytes
    /// that it has then.
    fn lengthen(&self, wanted: impl Fn(u64, u64) -> u64) -> io::Result<u64> {
        let has = match fs::metadata(&self.path) {
            Ok(there) => there.len(),
            Err(error) if error.kind() == io::ErrorKind::NotFound => 0,
            Err(error) => return Err(error),
        };
        if has >= WHOLE {
            return Ok(has);
        }
        let folder = self.path.parent().unwrap_or(Path::new("."));
        let disk = statvfs(folder)?;
        let wanted = WHOLE.min(wanted(has, disk.f_bavail.saturating_mul(disk.f_frsize)));
        if wanted < LEAST.max(has.saturating_add(1)) {
            return Ok(has);
        }
        let file = File::options().create(true).truncate(false).write(true).open(&self.path)?;
        // Of blocks that the disk really gives, not of a length alone.
        match fallocate(&file, FallocateFlags::empty(), 0, wanted).map_err(io::Error::from) {
            Ok(()) => Ok(wanted),
            // One that was there before is as good as it was.
            Err(_) if has >= LEAST => Ok(has),
            Err(error) => {
                // Of no use, and another try begins anew.
                let _ = fs::remove_file(&self.path);
                Err(error)
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use std::os::unix::fs::MetadataExt as _;

    use super::*;

    fn in_a_folder() -> (tempfile::TempDir, PathBuf) {
        let folder = tempfile::tempdir().expect("a folder");
        let database = folder.path().join("store.db");
        (folder, database)
    }

    #[test]
    fn it_takes_room_on_the_disk_and_gives_it_up_once() {
        let (_folder, database) = in_a_folder();
        let reserve = Reserve::of(&database);
        // The tests' disk has room. `stat` counts blocks of 512 bytes.
        let blocks = fs::metadata(&reserve.path).expect("there").blocks();
        assert!(blocks * 512 >= WHOLE, "{blocks}");
        assert!(reserve.give_up());
        assert!(!reserve.path.exists() && !reserve.give_up());
        for make in [Reserve::make, Reserve::take_back] {
            make(&reserve);
            assert_eq!(fs::metadata(&reserve.path).expect("there").len(), WHOLE);
            assert!(reserve.give_up());
        }
    }

    /// As a process leaves it that was killed while it made one.
    #[test]
    fn one_that_was_not_finished_is_made_whole() {
        for half in [0, LEAST / 2, LEAST, WHOLE - 1] {
            let (_folder, database) = in_a_folder();
            let file = File::create(database.with_extension("reserve")).expect("made");
            file.set_len(half).expect("set");
            let reserve = Reserve::of(&database);
            let there = fs::metadata(&reserve.path).expect("there");
            assert!(there.len() == WHOLE && there.blocks() * 512 >= WHOLE, "{there:?}");
        }
    }

    /// A folder that is none stands for whatever else goes wrong: the store is of use without a reserve.
    #[test]
    fn where_none_can_be_made_there_is_none() {
        let (folder, _) = in_a_folder();
        let reserve = Reserve::of(&folder.path().join("away").join("store.db"));
        assert!(reserve.is_told.load(Ordering::Relaxed) && !reserve.give_up());
    }
}
