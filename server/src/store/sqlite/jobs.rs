//! Rows of jobs, as callers see them.

use rusqlite::{OptionalExtension, Transaction, params};
use slitwright_proto::v1;

use super::clock::{millis, now};
use super::rows::{self, page_of};
use crate::store::rules;
use crate::store::{Listing, Page, StoreError, StoreLimits, seal};

pub fn one(t: &Transaction<'_>, name: &str) -> Result<v1::PlanJob, StoreError> {
    let mut statement = t.prepare_cached("SELECT * FROM jobs WHERE name = ?")?;
    let mut found = statement.query([name])?;
    let row = found.next()?.ok_or_else(|| StoreError::NoJob(name.to_owned()))?;
    rows::job(row)?.whole()
}

pub fn with_plan(t: &Transaction<'_>, name: &str) -> Result<v1::PlanJob, StoreError> {
    let job = one(t, name)?;
    let plan: Option<Vec<u8>> = t
        .prepare_cached("SELECT plan FROM plans JOIN jobs ON job = seq WHERE name = ?")?
        .query_row([name], |row| row.get(0))
        .optional()?;
    let plan = plan.map(|plan| seal::open(&format!("the plan of {name}"), &plan)).transpose()?;
    Ok(rules::with_plan(job, plan))
}

pub fn with_record(
    t: &Transaction<'_>,
    name: &str,
) -> Result<(v1::PlanJob, Option<Vec<u8>>), StoreError> {
    let job = with_plan(t, name)?;
    let number = job.best.map(|best| best.number);
    let sealed: Option<Vec<u8>> = t
        .prepare_cached(
            "SELECT record FROM records JOIN jobs ON job = seq WHERE name = ? AND number = ?",
        )?
        .query_row(params![name, number], |row| row.get(0))
        .optional()?;
    Ok((job, rules::record(name, sealed)?))
}

pub fn page(t: &Transaction<'_>, listing: &Listing) -> Result<Page<v1::PlanJob>, StoreError> {
    let query = if listing.newest_first {
        "SELECT * FROM jobs WHERE seq < ?1 AND (?3 IS NULL OR state = ?3)
            AND (?4 IS NULL OR model = ?4)
         ORDER BY seq DESC LIMIT ?2"
    } else {
        "SELECT * FROM jobs WHERE seq > ?1 AND (?3 IS NULL OR state = ?3)
            AND (?4 IS NULL OR model = ?4)
         ORDER BY seq LIMIT ?2"
    };
    let (from, limit) = (rules::start(listing), rules::rows_for(listing.most));
    let state = listing.state.map(i32::from);
    let values = params![from, limit, state, listing.model];
    page_of(t, query, values, listing.most, |row| rows::job(row)?.listed())
}

pub fn counts(t: &Transaction<'_>) -> Result<Vec<(v1::JobState, u64)>, StoreError> {
    let mut statement = t.prepare_cached("SELECT state, count(*) FROM jobs GROUP BY state")?;
    let counts =
        statement.query_map([], |row| Ok((row.get::<_, i32>(0)?, row.get::<_, i64>(1)?)))?;
    counts
        .map(|count| {
            let (state, count) = count?;
            // A damaged state is told by whoever reads the job.
            let state = v1::JobState::try_from(state).unwrap_or_default();
            Ok((state, count.cast_unsigned()))
        })
        .collect()
}

pub fn better_plans(
    t: &Transaction<'_>,
    name: &str,
    after: u32,
) -> Result<Vec<v1::BetterPlan>, StoreError> {
    let mut statement = t.prepare_cached(
        "SELECT figures FROM better_plans JOIN jobs ON job = seq
         WHERE name = ? AND number > ? ORDER BY number",
    )?;
    let blobs = statement.query_map(params![name, after], |row| row.get::<_, Vec<u8>>(0))?;
    blobs.map(|blob| seal::open(&format!("figures of {name}"), &blob?)).collect()
}

pub fn remove(t: &Transaction<'_>, name: &str) -> Result<(), StoreError> {
    let ended: Option<bool> = t
        .prepare_cached("SELECT state > 2 FROM jobs WHERE name = ?")?
        .query_row([name], |row| row.get(0))
        .optional()?;
    match ended {
        None => Err(StoreError::NoJob(name.to_owned())),
        Some(false) => Err(StoreError::JobActive(name.to_owned())),
        Some(true) => {
            t.prepare_cached("DELETE FROM jobs WHERE name = ?")?.execute([name])?;
            Ok(())
        }
    }
}

/// Those that ended longest ago go first.
pub fn forget_old(t: &Transaction<'_>, limits: &StoreLimits) -> Result<usize, StoreError> {
    let kept = i64::try_from(limits.ended_jobs).unwrap_or(i64::MAX);
    let oldest = now().saturating_sub(millis(limits.ended_age));
    let surplus = t
        .prepare_cached(
            "DELETE FROM jobs WHERE seq IN (
                SELECT seq FROM jobs WHERE state > 2
                ORDER BY end_time DESC, seq DESC LIMIT -1 OFFSET ?)",
        )?
        .execute([kept])?;
    let old =
        t.prepare_cached("DELETE FROM jobs WHERE state > 2 AND end_time < ?")?.execute([oldest])?;
    Ok(surplus + old)
}
