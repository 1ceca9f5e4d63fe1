//! The database's tables, and how it is opened.

use std::path::Path;
use std::time::Duration;

use rusqlite::{Connection, OpenFlags};

use crate::store::StoreError;

/// Marks a database as this program's: "slit" in ASCII.
const APPLICATION: i64 = 0x736c_6974;

/// What turns a store of one format into the next, from an empty one on. The format of a store is
/// the number of these that it has been through. Never change one that was released: add another.
const STEPS: [&str; 4] = [
    "
    CREATE TABLE models (
        seq INTEGER PRIMARY KEY AUTOINCREMENT,
        name TEXT NOT NULL UNIQUE,
        sha256 TEXT NOT NULL,
        size INTEGER NOT NULL,
        entry BLOB NOT NULL,
        options BLOB NOT NULL
    ) STRICT;
    CREATE INDEX models_by_content ON models (sha256);

    -- Times are milliseconds since 1970. `turn` orders the queue, see rules.rs. Blobs are sealed
    -- messages of the protocol.
    CREATE TABLE jobs (
        seq INTEGER PRIMARY KEY AUTOINCREMENT,
        name TEXT NOT NULL UNIQUE,
        model TEXT NOT NULL,
        request_id TEXT UNIQUE,
        request BLOB NOT NULL,
        state INTEGER NOT NULL,
        run INTEGER NOT NULL DEFAULT 0,
        cancel INTEGER NOT NULL DEFAULT 0,
        priority INTEGER NOT NULL,
        turn INTEGER NOT NULL,
        submit_time INTEGER NOT NULL,
        start_time INTEGER,
        end_time INTEGER,
        seconds REAL NOT NULL,
        extra_seconds REAL NOT NULL DEFAULT 0,
        used_seconds REAL NOT NULL DEFAULT 0,
        progress BLOB,
        best BLOB,
        failure BLOB
    ) STRICT;
    CREATE INDEX jobs_waiting ON jobs (turn, seq) WHERE state = 1;
    CREATE INDEX jobs_running ON jobs (seq) WHERE state = 2;
    CREATE INDEX jobs_ended ON jobs (end_time, seq) WHERE state > 2;
    CREATE INDEX jobs_by_model ON jobs (model);

    CREATE TABLE plans (
        job INTEGER PRIMARY KEY REFERENCES jobs (seq) ON DELETE CASCADE,
        plan BLOB NOT NULL
    ) STRICT;
    CREATE TABLE checkpoints (
        job INTEGER PRIMARY KEY REFERENCES jobs (seq) ON DELETE CASCADE,
        used_seconds REAL NOT NULL,
        checkpoint BLOB NOT NULL
    ) STRICT;
    CREATE TABLE better_plans (
        job INTEGER NOT NULL REFERENCES jobs (seq) ON DELETE CASCADE,
        number INTEGER NOT NULL,
        figures BLOB NOT NULL,
        PRIMARY KEY (job, number)
    ) STRICT, WITHOUT ROWID;
    CREATE TABLE extensions (
        job INTEGER NOT NULL REFERENCES jobs (seq) ON DELETE CASCADE,
        request_id TEXT NOT NULL,
        PRIMARY KEY (job, request_id)
    ) STRICT, WITHOUT ROWID;
",
    "
    -- `owner`: name of the token. `lost`: runs that were lost since the job last got further.
    ALTER TABLE models ADD COLUMN owner TEXT;
    ALTER TABLE jobs ADD COLUMN owner TEXT;
    ALTER TABLE jobs ADD COLUMN lost INTEGER NOT NULL DEFAULT 0;
    CREATE INDEX models_by_owner ON models (owner) WHERE owner IS NOT NULL;
    CREATE INDEX jobs_by_owner ON jobs (owner) WHERE owner IS NOT NULL AND state IN (1, 2);
",
    "
    -- `seconds`: NULL where they were given before they were written down. `pulse` is written to see
    -- whether anything can be.
    ALTER TABLE extensions ADD COLUMN seconds REAL;
    CREATE TABLE pulse (time INTEGER NOT NULL) STRICT;
    INSERT INTO pulse VALUES (0);
",
    "
    -- Plans in full, to be drawn from. `number`: of the better plan that it is.
    CREATE TABLE records (
        job INTEGER PRIMARY KEY REFERENCES jobs (seq) ON DELETE CASCADE,
        number INTEGER NOT NULL,
        record BLOB NOT NULL
    ) STRICT;
",
];

/// How long to wait for another program that reads the database, such as a backup.
const PATIENCE: Duration = Duration::from_secs(5);
/// A log that has grown beyond this is cut back, bytes.
const LOG: i64 = 64 << 20;

/// Opens the database, makes it if it is missing and brings an older one up to date. Nothing is
/// changed before it is known to be this program's and of a format that is known.
pub fn open(path: &Path, most_bytes: u64) -> Result<Connection, StoreError> {
    let flags = OpenFlags::SQLITE_OPEN_READ_WRITE
        | OpenFlags::SQLITE_OPEN_CREATE
        | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let mut database = Connection::open_with_flags(path, flags)?;
    database.busy_timeout(PATIENCE)?;
    database.set_prepared_statement_cache_capacity(64);
    let format = check(&database, path)?;
    // Space of what was forgotten goes back to the disk. Takes effect on an empty file only.
    database.pragma_update(None, "auto_vacuum", "INCREMENTAL")?;
    let mode: String =
        database.pragma_update_and_check(None, "journal_mode", "WAL", |row| row.get(0))?;
    if mode != "wal" {
        return Err(StoreError::Unavailable(format!(
            "{}: its file system cannot do write-ahead logging",
            path.display()
        )));
    }
    // A commit returns when the disk has it: what was accepted outlives a power cut.
    database.pragma_update(None, "synchronous", "FULL")?;
    database.pragma_update(None, "foreign_keys", true)?;
    database.pragma_update(None, "trusted_schema", false)?;
    database.pragma_update(None, "cell_size_check", true)?;
    database.pragma_update(None, "journal_size_limit", LOG)?;
    let page: i64 = database.pragma_query_value(None, "page_size", |row| row.get(0))?;
    let pages = (i64::try_from(most_bytes).unwrap_or(i64::MAX) / page).max(1);
    database.pragma_update_and_check(None, "max_page_count", pages, |_| Ok(()))?;
    migrate(&mut database, format)?;
    Ok(database)
}

/// The format of the store; 0 for one that is new.
fn check(database: &Connection, path: &Path) -> Result<usize, StoreError> {
    let pragma = |name| database.pragma_query_value(None, name, |row| row.get::<_, i64>(0));
    let (application, found) = (pragma("application_id")?, pragma("user_version")?);
    let tables: i64 =
        database.query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get(0))?;
    if application != APPLICATION && (tables > 0 || application != 0 || found != 0) {
        return Err(StoreError::Foreign(path.display().to_string()));
    }
    match usize::try_from(found) {
        Ok(format) if format <= STEPS.len() => Ok(format),
        _ => Err(StoreError::Newer { found, known: STEPS.len() as i64 }),
    }
}

fn migrate(database: &mut Connection, format: usize) -> Result<(), StoreError> {
    if format == STEPS.len() {
        return Ok(());
    }
    let change = database.transaction()?;
    for step in &STEPS[format..] {
        change.execute_batch(step)?;
    }
    change.pragma_update(None, "application_id", APPLICATION)?;
    change.pragma_update(None, "user_version", STEPS.len() as i64)?;
    change.commit()?;
    Ok(())
}
