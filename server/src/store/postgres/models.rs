//! Rows of models, and their files in parts.

use postgres::Row;
use postgres::fallible_iterator::FallibleIterator as _;
use slitwright_proto::v1;

use super::fault::{Fault, told};
use super::link::{Lock, Work, get};
use crate::store::{ModelEntry, Owner, Page, StoreError, StoreLimits, digest, rules, seal};

/// Bytes of a part of a file.
const PART: usize = 1 << 20;

pub fn check_room(t: &mut Work<'_>, limits: &StoreLimits, bytes: u64) -> Result<(), Fault> {
    let (models, taken) = counts(t)?;
    Ok(rules::check_models(limits, models, taken, bytes)?)
}

/// Whether the owner may have a model of `bytes` more.
pub fn check_owner(t: &mut Work<'_>, owner: Option<&Owner>, bytes: u64) -> Result<(), Fault> {
    // Without a limit there is nothing to count.
    let Some(owner) = owner.filter(|owner| owner.most_model_bytes.is_some()) else {
        return Ok(());
    };
    let query = "SELECT coalesce(sum(size), 0)::bigint FROM slitwright.models WHERE owner = $1";
    let taken = t.count(query, &[&owner.name])?;
    Ok(rules::check_models_of(owner, taken, bytes)?)
}

/// Models, and bytes of their files. Models of the same file share it.
pub fn counts(t: &mut Work<'_>) -> Result<(u64, u64), Fault> {
    Ok((
        t.count("SELECT count(*) FROM slitwright.models", &[])?,
        t.count("SELECT coalesce(sum(size), 0)::bigint FROM slitwright.files", &[])?,
    ))
}

/// Keeps a model and its file. The file's row is held from here to the end, so that no other process
/// takes the file away in between.
pub fn add(
    t: &mut Work<'_>,
    limits: &StoreLimits,
    model: &ModelEntry,
    owner: Option<&Owner>,
    bytes: &[u8],
) -> Result<(), Fault> {
    let message = &model.message;
    let size = message.size_bytes.cast_signed();
    t.execute(
        "INSERT INTO slitwright.files (sha256, size) VALUES ($1, $2)
         ON CONFLICT (sha256) DO UPDATE SET size = excluded.size",
        &[&message.sha256, &size],
    )?;
    // One that is there already should be the same; if it was damaged it is whole again.
    t.execute("DELETE FROM slitwright.file_parts WHERE sha256 = $1", &[&message.sha256])?;
    for (part, bytes) in (0_i32..).zip(bytes.chunks(PART)) {
        t.execute(
            "INSERT INTO slitwright.file_parts (sha256, part, bytes) VALUES ($1, $2, $3)",
            &[&message.sha256, &part, &bytes],
        )?;
    }
    // Only now, for others wait for this lock. The file counts already.
    t.lock(Lock::Models)?;
    check_owner(t, owner, message.size_bytes)?;
    check_room(t, limits, 0)?;
    t.execute(
        "INSERT INTO slitwright.models (name, sha256, size, entry, options, owner)
         VALUES ($1, $2, $3, $4, $5, $6)",
        &[
            &message.name,
            &message.sha256,
            &size,
            &seal::seal(message),
            &seal::seal(&model.options),
            &owner.map(|owner| &owner.name),
        ],
    )?;
    Ok(())
}

fn entry(row: &Row) -> Result<ModelEntry, Fault> {
    let name: String = get(row, "name")?;
    Ok(ModelEntry {
        message: seal::open::<v1::Model>(&name, &get::<Vec<u8>>(row, "entry")?)?,
        options: seal::open(&format!("how {name} is prepared"), &get::<Vec<u8>>(row, "options")?)?,
    })
}

fn known(row: Option<Row>, name: &str) -> Result<ModelEntry, Fault> {
    entry(&row.ok_or_else(|| StoreError::NoModel(name.to_owned()))?)
}

pub fn one(t: &mut Work<'_>, name: &str) -> Result<ModelEntry, Fault> {
    known(t.row("SELECT * FROM slitwright.models WHERE name = $1", &[&name])?, name)
}

/// Sees to it that a model stays until this transaction is over.
pub fn hold(t: &mut Work<'_>, name: &str) -> Result<(), Fault> {
    let query = "SELECT seq FROM slitwright.models WHERE name = $1 FOR SHARE";
    match t.value::<i64>(query, &[&name])? {
        Some(_) => Ok(()),
        None => Err(StoreError::NoModel(name.to_owned()).into()),
    }
}

pub fn page(t: &mut Work<'_>, after: u64, most: usize) -> Result<Page<ModelEntry>, Fault> {
    let rows = t.rows(
        "SELECT * FROM slitwright.models WHERE seq > $1 ORDER BY seq LIMIT $2",
        &[&rules::position(after), &rules::rows_for(most)],
    )?;
    let found = rows.iter().map(|row| Ok((get(row, "seq")?, entry(row)?)));
    Ok(rules::page(found.collect::<Result<_, Fault>>()?, most))
}

/// Forgets a model, and its file when no other model shares it. In the order that `add` goes by: who
/// adds a model of the same file waits for this, or this for that one.
pub fn remove(t: &mut Work<'_>, name: &str) -> Result<(), Fault> {
    let query = "SELECT sha256 FROM slitwright.models WHERE name = $1 FOR UPDATE";
    let Some(sha256) = t.value::<String>(query, &[&name])? else {
        return Err(StoreError::NoModel(name.to_owned()).into());
    };
    let query = "SELECT name FROM slitwright.jobs WHERE model = $1 AND state IN (1, 2) LIMIT 1";
    if let Some(job) = t.value(query, &[&name])? {
        return Err(StoreError::ModelInUse { model: name.to_owned(), job }.into());
    }
    t.row("SELECT size FROM slitwright.files WHERE sha256 = $1 FOR UPDATE", &[&sha256])?;
    t.execute("DELETE FROM slitwright.models WHERE name = $1", &[&name])?;
    t.execute(
        "DELETE FROM slitwright.files WHERE sha256 = $1
         AND NOT EXISTS (SELECT 1 FROM slitwright.models WHERE sha256 = $1)",
        &[&sha256],
    )?;
    Ok(())
}

pub fn read_file(t: &mut Work<'_>, sha256: &str) -> Result<Vec<u8>, Fault> {
    let query = "SELECT bytes FROM slitwright.file_parts WHERE sha256 = $1 ORDER BY part";
    let mut bytes = Vec::new();
    let mut parts = t.each(query, &[&sha256])?;
    while let Some(part) = parts.next()? {
        let part: &[u8] = part.try_get(0).map_err(|error| StoreError::Damaged(told(&error)))?;
        bytes.extend_from_slice(part);
    }
    if digest(&bytes) != sha256 {
        let text = format!(
            "the model file {sha256} is missing or not as it was written: send the model again"
        );
        return Err(StoreError::Damaged(text).into());
    }
    Ok(bytes)
}
