//! The database's tables, in a schema of their own.

use postgres::Client;

use super::fault::Fault;
use crate::store::StoreError;

/// What turns a store of one format into the next, from an empty one on. The format of a store is
/// the number of these that it has been through. Never change one that was released: add another.
const STEPS: [&str; 3] = [
    "
    CREATE FUNCTION slitwright.millis() RETURNS bigint LANGUAGE sql VOLATILE
        AS 'SELECT (1000 * extract(epoch FROM clock_timestamp()))::bigint';

    -- Model files in parts, each file once under its SHA-256.
    CREATE TABLE slitwright.files (
        sha256 text PRIMARY KEY,
        size bigint NOT NULL
    );
    CREATE TABLE slitwright.file_parts (
        sha256 text NOT NULL REFERENCES slitwright.files ON DELETE CASCADE,
        part integer NOT NULL,
        bytes bytea NOT NULL,
        PRIMARY KEY (sha256, part)
    );
    ALTER TABLE slitwright.file_parts ALTER COLUMN bytes SET STORAGE EXTERNAL;

    CREATE TABLE slitwright.models (
        seq bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
        name text NOT NULL UNIQUE,
        sha256 text NOT NULL REFERENCES slitwright.files,
        size bigint NOT NULL,
        entry bytea NOT NULL,
        options bytea NOT NULL,
        owner text
    );
    CREATE INDEX models_by_file ON slitwright.models (sha256);
    CREATE INDEX models_by_owner ON slitwright.models (owner) WHERE owner IS NOT NULL;

    -- Times are milliseconds since 1970 by the database's clock. `turn` orders the queue, see
    -- rules.rs. `lost`: runs that were lost since the job last got further. Blobs are sealed messages
    -- of the protocol.
    CREATE TABLE slitwright.jobs (
        seq bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
        name text NOT NULL UNIQUE,
        model text NOT NULL,
        owner text,
        request_id text UNIQUE,
        request bytea NOT NULL,
        state integer NOT NULL,
        run bigint NOT NULL DEFAULT 0,
        worker text,
        lease_end bigint,
        lost integer NOT NULL DEFAULT 0,
        cancel boolean NOT NULL DEFAULT false,
        priority integer NOT NULL,
        turn bigint NOT NULL,
        submit_time bigint NOT NULL,
        start_time bigint,
        end_time bigint,
        seconds double precision NOT NULL,
        extra_seconds double precision NOT NULL DEFAULT 0,
        used_seconds double precision NOT NULL DEFAULT 0,
        progress bytea,
        best bytea,
        failure bytea
    );
    CREATE INDEX jobs_waiting ON slitwright.jobs (turn, seq) WHERE state = 1;
    CREATE INDEX jobs_running ON slitwright.jobs (seq) WHERE state = 2;
    CREATE INDEX jobs_ended ON slitwright.jobs (end_time, seq) WHERE state > 2;
    CREATE INDEX jobs_by_model ON slitwright.jobs (model);
    CREATE INDEX jobs_by_owner ON slitwright.jobs (owner)
        WHERE owner IS NOT NULL AND state IN (1, 2);

    CREATE TABLE slitwright.plans (
        job bigint PRIMARY KEY REFERENCES slitwright.jobs ON DELETE CASCADE,
        plan bytea NOT NULL
    );
    CREATE TABLE slitwright.checkpoints (
        job bigint PRIMARY KEY REFERENCES slitwright.jobs ON DELETE CASCADE,
        used_seconds double precision NOT NULL,
        checkpoint bytea NOT NULL
    );
    CREATE TABLE slitwright.better_plans (
        job bigint NOT NULL REFERENCES slitwright.jobs ON DELETE CASCADE,
        number bigint NOT NULL,
        figures bytea NOT NULL,
        PRIMARY KEY (job, number)
    );
    CREATE TABLE slitwright.extensions (
        job bigint NOT NULL REFERENCES slitwright.jobs ON DELETE CASCADE,
        request_id text NOT NULL,
        PRIMARY KEY (job, request_id)
    );
",
    "
    -- `seconds`: NULL where they were given before they were written down. `pulse` is written to see
    -- whether anything can be.
    ALTER TABLE slitwright.extensions ADD COLUMN seconds double precision;
    CREATE TABLE slitwright.pulse (time bigint NOT NULL);
    INSERT INTO slitwright.pulse VALUES (0);
",
    "
    -- Plans in full, to be drawn from. `number`: of the better plan that it is.
    CREATE TABLE slitwright.records (
        job bigint PRIMARY KEY REFERENCES slitwright.jobs ON DELETE CASCADE,
        number bigint NOT NULL,
        record bytea NOT NULL
    );
    ALTER TABLE slitwright.records ALTER COLUMN record SET STORAGE EXTERNAL;
",
];

/// Makes the tables if they are missing and brings older ones up to date. One process at a time;
/// those that start at the same moment wait for it. Nothing is changed before the schema is known to
/// be this program's and of a format that is known.
pub fn migrate(client: &mut Client) -> Result<(), Fault> {
    let mut t = client.transaction()?;
    // "slit" in ASCII; as for the locks of single changes, beside which this is number 0.
    t.execute("SELECT pg_advisory_xact_lock(1936488820, 0)", &[])?;
    let found: (bool, bool) = {
        let row = t.query_one(
            "SELECT to_regnamespace('slitwright') IS NOT NULL,
                to_regclass('slitwright.format') IS NOT NULL",
            &[],
        )?;
        (row.try_get(0)?, row.try_get(1)?)
    };
    let format: i64 = match found {
        (false, _) => {
            t.batch_execute(
                "CREATE SCHEMA slitwright;
                 CREATE TABLE slitwright.format (format bigint NOT NULL);
                 INSERT INTO slitwright.format VALUES (0)",
            )?;
            0
        }
        (true, true) => {
            t.query_one("SELECT max(format) FROM slitwright.format", &[])?.try_get(0)?
        }
        (true, false) => {
            let name = "the schema slitwright of the database".to_owned();
            return Err(StoreError::Foreign(name).into());
        }
    };
    let newer = || StoreError::Newer { found: format, known: STEPS.len() as i64 };
    let done = usize::try_from(format).map_err(|_| newer())?;
    let steps = STEPS.get(done..).ok_or_else(newer)?;
    if steps.is_empty() {
        return Ok(());
    }
    for step in steps {
        t.batch_execute(step)?;
    }
    t.execute("UPDATE slitwright.format SET format = $1", &[&(STEPS.len() as i64)])?;
    t.commit()?;
    Ok(())
}
