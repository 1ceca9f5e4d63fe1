//! Rows of models.

use std::collections::HashSet;

use rusqlite::{OptionalExtension, Row, Transaction, params};
use slitwright_proto::v1;

use super::rows::{count, page_of};
use crate::store::rules;
use crate::store::{ModelEntry, Owner, Page, StoreError, StoreLimits, seal};

/// Whether one more model, whose file adds `bytes`, fits.
pub fn check_room(t: &Transaction<'_>, limits: &StoreLimits, bytes: u64) -> Result<(), StoreError> {
    let (models, taken) = counts(t)?;
    rules::check_models(limits, models, taken, bytes)
}

/// Whether the owner may have a model of `bytes` more.
pub fn check_owner(
    t: &Transaction<'_>,
    owner: Option<&Owner>,
    bytes: u64,
) -> Result<(), StoreError> {
    // Without a limit there is nothing to count.
    let Some(owner) = owner.filter(|owner| owner.most_model_bytes.is_some()) else {
        return Ok(());
    };
    let query = "SELECT coalesce(sum(size), 0) FROM models WHERE owner = ?";
    rules::check_models_of(owner, count(t, query, [&owner.name])?, bytes)
}

/// Models, and bytes of their files. Models of the same file share it.
pub fn counts(t: &Transaction<'_>) -> Result<(u64, u64), StoreError> {
    let models = count(t, "SELECT count(*) FROM models", [])?;
    let bytes = count(
        t,
        "SELECT coalesce(sum(size), 0) FROM (SELECT max(size) AS size FROM models GROUP BY sha256)",
        [],
    )?;
    Ok((models, bytes))
}

pub fn add(
    t: &Transaction<'_>,
    limits: &StoreLimits,
    model: &ModelEntry,
    owner: Option<&Owner>,
) -> Result<(), StoreError> {
    let message = &model.message;
    let shared = count(t, "SELECT count(*) FROM models WHERE sha256 = ?", [&message.sha256])? > 0;
    check_owner(t, owner, message.size_bytes)?;
    check_room(t, limits, if shared { 0 } else { message.size_bytes })?;
    t.prepare_cached(
        "INSERT INTO models (name, sha256, size, entry, options, owner) VALUES (?, ?, ?, ?, ?, ?)",
    )?
    .execute(params![
        message.name,
        message.sha256,
        message.size_bytes.cast_signed(),
        seal::seal(message),
        seal::seal(&model.options),
        owner.map(|owner| &owner.name),
    ])?;
    Ok(())
}

fn entry(row: &Row<'_>) -> Result<ModelEntry, StoreError> {
    let name: String = row.get("name")?;
    let blob = |column| -> Result<Vec<u8>, StoreError> { Ok(row.get(column)?) };
    Ok(ModelEntry {
        message: seal::open::<v1::Model>(&name, &blob("entry")?)?,
        options: seal::open(&format!("how {name} is prepared"), &blob("options")?)?,
    })
}

pub fn one(t: &Transaction<'_>, name: &str) -> Result<ModelEntry, StoreError> {
    let mut statement = t.prepare_cached("SELECT * FROM models WHERE name = ?")?;
    let mut rows = statement.query([name])?;
    entry(rows.next()?.ok_or_else(|| StoreError::NoModel(name.to_owned()))?)
}

pub fn page(t: &Transaction<'_>, after: u64, most: usize) -> Result<Page<ModelEntry>, StoreError> {
    let query = "SELECT * FROM models WHERE seq > ? ORDER BY seq LIMIT ?";
    page_of(t, query, [rules::position(after), rules::rows_for(most)], most, entry)
}

pub fn remove(t: &Transaction<'_>, name: &str) -> Result<ModelEntry, StoreError> {
    let model = one(t, name)?;
    let user: Option<String> = t
        .prepare_cached("SELECT name FROM jobs WHERE model = ? AND state IN (1, 2) LIMIT 1")?
        .query_row([name], |row| row.get(0))
        .optional()?;
    if let Some(job) = user {
        return Err(StoreError::ModelInUse { model: name.to_owned(), job });
    }
    t.prepare_cached("DELETE FROM models WHERE name = ?")?.execute([name])?;
    Ok(model)
}

pub fn contents(t: &Transaction<'_>) -> Result<HashSet<String>, StoreError> {
    let mut statement = t.prepare("SELECT DISTINCT sha256 FROM models")?;
    let sums = statement.query_map([], |row| row.get(0))?;
    Ok(sums.collect::<Result<_, _>>()?)
}
