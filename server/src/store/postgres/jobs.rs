//! Rows of jobs, as callers see them.

use postgres::Row;
use slitwright_proto::v1;

use super::fault::Fault;
use super::link::{Work, get};
use crate::store::rules::{self, JobRow};
use crate::store::{Listing, Page, StoreError, StoreLimits, seal};

fn row(row: &Row) -> Result<JobRow, Fault> {
    Ok(JobRow {
        name: get(row, "name")?,
        model: get(row, "model")?,
        request: get(row, "request")?,
        state: get(row, "state")?,
        priority: get(row, "priority")?,
        submit_time: get(row, "submit_time")?,
        start_time: get(row, "start_time")?,
        end_time: get(row, "end_time")?,
        extra_seconds: get(row, "extra_seconds")?,
        used_seconds: get(row, "used_seconds")?,
        progress: get(row, "progress")?,
        best: get(row, "best")?,
        failure: get(row, "failure")?,
    })
}

/// Milliseconds since 1970 by the database's clock, which is one for all processes.
pub fn now(t: &mut Work<'_>) -> Result<i64, Fault> {
    Ok(t.value("SELECT slitwright.millis()", &[])?.unwrap_or_default())
}

/// The job in a row that was looked for under a name.
pub fn known(found: Option<Row>, name: &str) -> Result<v1::PlanJob, Fault> {
    let found = found.ok_or_else(|| StoreError::NoJob(name.to_owned()))?;
    Ok(row(&found)?.whole()?)
}

pub fn one(t: &mut Work<'_>, name: &str) -> Result<v1::PlanJob, Fault> {
    known(t.row("SELECT * FROM slitwright.jobs WHERE name = $1", &[&name])?, name)
}

/// The same, and nobody changes it until this transaction is over.
pub fn one_to_change(t: &mut Work<'_>, name: &str) -> Result<v1::PlanJob, Fault> {
    known(t.row("SELECT * FROM slitwright.jobs WHERE name = $1 FOR UPDATE", &[&name])?, name)
}

pub fn with_plan(t: &mut Work<'_>, name: &str) -> Result<v1::PlanJob, Fault> {
    let job = one(t, name)?;
    let plan: Option<Vec<u8>> = t.value(
        "SELECT plan FROM slitwright.plans JOIN slitwright.jobs ON job = seq WHERE name = $1",
        &[&name],
    )?;
    let plan = plan.map(|plan| seal::open(&format!("the plan of {name}"), &plan)).transpose()?;
    Ok(rules::with_plan(job, plan))
}

pub fn with_record(t: &mut Work<'_>, name: &str) -> Result<(v1::PlanJob, Option<Vec<u8>>), Fault> {
    let job = with_plan(t, name)?;
    let number = job.best.map(|best| i64::from(best.number));
    let sealed: Option<Vec<u8>> = t.value(
        "SELECT record FROM slitwright.records JOIN slitwright.jobs ON job = seq
         WHERE name = $1 AND number = $2",
        &[&name, &number],
    )?;
    Ok((job, rules::record(name, sealed)?))
}

pub fn page(t: &mut Work<'_>, listing: &Listing) -> Result<Page<v1::PlanJob>, Fault> {
    let query = if listing.newest_first {
        "SELECT * FROM slitwright.jobs WHERE seq < $1 AND ($3::integer IS NULL OR state = $3)
            AND ($4::text IS NULL OR model = $4)
         ORDER BY seq DESC LIMIT $2"
    } else {
        "SELECT * FROM slitwright.jobs WHERE seq > $1 AND ($3::integer IS NULL OR state = $3)
            AND ($4::text IS NULL OR model = $4)
         ORDER BY seq LIMIT $2"
    };
    let (from, limit) = (rules::start(listing), rules::rows_for(listing.most));
    let state = listing.state.map(i32::from);
    let rows = t.rows(query, &[&from, &limit, &state, &listing.model])?;
    let found = rows.iter().map(|found| Ok((get(found, "seq")?, row(found)?.listed()?)));
    Ok(rules::page(found.collect::<Result<_, Fault>>()?, listing.most))
}

pub fn counts(t: &mut Work<'_>) -> Result<Vec<(v1::JobState, u64)>, Fault> {
    let rows = t.rows("SELECT state, count(*) FROM slitwright.jobs GROUP BY state", &[])?;
    let count = |row: &Row| {
        // A damaged state is told by whoever reads the job.
        let state = v1::JobState::try_from(get::<i32>(row, 0)?).unwrap_or_default();
        Ok((state, get::<i64>(row, 1)?.cast_unsigned()))
    };
    rows.iter().map(count).collect()
}

pub fn better_plans(
    t: &mut Work<'_>,
    name: &str,
    after: u32,
) -> Result<Vec<v1::BetterPlan>, Fault> {
    let rows = t.rows(
        "SELECT figures FROM slitwright.better_plans JOIN slitwright.jobs ON job = seq
         WHERE name = $1 AND number > $2 ORDER BY number",
        &[&name, &i64::from(after)],
    )?;
    let open = |row: &Row| Ok(seal::open(&format!("figures of {name}"), &get::<Vec<u8>>(row, 0)?)?);
    rows.iter().map(open).collect()
}

pub fn remove(t: &mut Work<'_>, name: &str) -> Result<(), Fault> {
    let query = "SELECT state > 2 FROM slitwright.jobs WHERE name = $1 FOR UPDATE";
    match t.value(query, &[&name])? {
        None => Err(StoreError::NoJob(name.to_owned()).into()),
        Some(false) => Err(StoreError::JobActive(name.to_owned()).into()),
        Some(true) => {
            t.execute("DELETE FROM slitwright.jobs WHERE name = $1", &[&name])?;
            Ok(())
        }
    }
}

/// Those that ended longest ago go first. Ones that someone is just giving more time are left.
pub fn forget_old(t: &mut Work<'_>, limits: &StoreLimits) -> Result<usize, Fault> {
    let kept = i64::try_from(limits.ended_jobs).unwrap_or(i64::MAX);
    let age = i64::try_from(limits.ended_age.as_millis()).unwrap_or(i64::MAX);
    let oldest = now(t)?.saturating_sub(age);
    let surplus = t.execute(
        "DELETE FROM slitwright.jobs WHERE seq IN (
            SELECT seq FROM slitwright.jobs WHERE state > 2 AND (end_time < $2 OR seq IN (
                SELECT seq FROM slitwright.jobs WHERE state > 2
                ORDER BY end_time DESC, seq DESC OFFSET $1))
            FOR UPDATE SKIP LOCKED)",
        &[&kept, &oldest],
    )?;
    Ok(usize::try_from(surplus).unwrap_or(usize::MAX))
}
