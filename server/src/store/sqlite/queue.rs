//! The queue: who is next, and what callers do to jobs that wait, run or have ended.

use rusqlite::{OptionalExtension, Transaction, params};
use slitwright_proto::v1;

use super::clock::now;
use super::rows::count;
use super::{jobs, models};
use crate::store::rules::{self, STEP, data_loss, turn};
use crate::store::{
    CancelRunning, Claimed, Extension, NewJob, Owner, Run, StoreError, StoreLimits, has_ended, seal,
};

pub fn submit(
    t: &Transaction<'_>,
    limits: &StoreLimits,
    new: &NewJob,
) -> Result<v1::PlanJob, StoreError> {
    if let Some(there) = submitted(t, new)? {
        return Ok(there);
    }
    if count(t, "SELECT count(*) FROM models WHERE name = ?", [&new.model])? == 0 {
        return Err(StoreError::NoModel(new.model.clone()));
    }
    check_owner(t, new.owner.as_ref())?;
    check_room(t, limits)?;
    let now = now();
    t.prepare_cached(
        "INSERT INTO jobs
            (name, model, request_id, request, state, priority, turn, submit_time, seconds, owner)
         VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
    )?
    .execute(params![
        new.name,
        new.model,
        new.request_id,
        seal::seal(&new.request),
        v1::JobState::Queued as i32,
        new.priority,
        turn(now, new.priority),
        now,
        new.seconds,
        new.owner.as_ref().map(|owner| &owner.name),
    ])?;
    jobs::one(t, &new.name)
}

/// The job that has the request id, when it is for the same.
pub fn submitted(t: &Transaction<'_>, new: &NewJob) -> Result<Option<v1::PlanJob>, StoreError> {
    let Some(id) = &new.request_id else { return Ok(None) };
    let name: Option<String> = t
        .prepare_cached("SELECT name FROM jobs WHERE request_id = ?")?
        .query_row([id], |row| row.get(0))
        .optional()?;
    let Some(name) = name else { return Ok(None) };
    rules::same_request(new, jobs::one(t, &name)?).map(Some)
}

/// Whether the owner may have one more job under way.
fn check_owner(t: &Transaction<'_>, owner: Option<&Owner>) -> Result<(), StoreError> {
    // Without a limit there is nothing to count.
    let Some(owner) = owner.filter(|owner| owner.most_jobs.is_some()) else { return Ok(()) };
    let query = "SELECT count(*) FROM jobs WHERE owner = ? AND state IN (1, 2)";
    rules::check_jobs_of(owner, count(t, query, [&owner.name])?)
}

fn check_room(t: &Transaction<'_>, limits: &StoreLimits) -> Result<(), StoreError> {
    let waiting = count(t, "SELECT count(*) FROM jobs WHERE state = 1", [])?;
    rules::check_queue(limits, waiting)
}

/// Row and name of the job that is next.
pub fn next(
    t: &Transaction<'_>,
    most_seconds: Option<f64>,
) -> Result<Option<(i64, String)>, StoreError> {
    Ok(t.prepare_cached(
        "SELECT seq, name FROM jobs
         WHERE state = 1 AND (?1 IS NULL OR seconds + extra_seconds - used_seconds <= ?1)
         ORDER BY turn, seq LIMIT 1",
    )?
    .query_row([most_seconds], |row| Ok((row.get(0)?, row.get(1)?)))
    .optional()?)
}

pub fn claim(
    t: &Transaction<'_>,
    most_seconds: Option<f64>,
) -> Result<Option<Claimed>, StoreError> {
    while let Some((seq, name)) = next(t, most_seconds)? {
        match claim_one(t, seq, &name) {
            Ok(claimed) => return Ok(Some(claimed)),
            // Nobody can ever work on it: it ends, and the others behind it get their turn.
            Err(fault @ (StoreError::Damaged(_) | StoreError::NoModel(_))) => {
                tracing::error!(job = name, %fault, "a job cannot be worked on");
                end_waiting(t, &name, v1::JobState::Failed, Some(&data_loss(&fault)))?;
            }
            Err(other) => return Err(other),
        }
    }
    Ok(None)
}

fn claim_one(t: &Transaction<'_>, seq: i64, name: &str) -> Result<Claimed, StoreError> {
    let job = jobs::one(t, name)?;
    let model = models::one(t, &job.model)?;
    let found: Option<(f64, Vec<u8>)> = t
        .prepare_cached("SELECT used_seconds, checkpoint FROM checkpoints WHERE job = ?")?
        .query_row([seq], |row| Ok((row.get(0)?, row.get(1)?)))
        .optional()?;
    let checkpoint = rules::checkpoint(name, found);
    let used = checkpoint.as_ref().map_or(0.0, |checkpoint| checkpoint.used_seconds);
    let number: i64 = t
        .prepare_cached(
            "UPDATE jobs SET state = 2, run = run + 1, used_seconds = ?,
                start_time = coalesce(start_time, ?)
             WHERE seq = ? RETURNING run",
        )?
        .query_row(params![used, now(), seq], |row| row.get(0))?;
    let run = Run { job: name.to_owned(), number };
    Ok(Claimed { run, job: jobs::one(t, name)?, model, checkpoint })
}

/// Ends a job that nobody works on, or cuts off whoever does.
fn end_waiting(
    t: &Transaction<'_>,
    name: &str,
    state: v1::JobState,
    failure: Option<&v1::Failure>,
) -> Result<(), StoreError> {
    t.prepare_cached(
        "UPDATE jobs SET state = ?, end_time = ?, failure = ?, run = run + 1, cancel = 0
         WHERE name = ?",
    )?
    .execute(params![state as i32, now(), failure.map(seal::seal), name])?;
    Ok(())
}

pub fn cancel(
    t: &Transaction<'_>,
    name: &str,
    running: CancelRunning,
) -> Result<v1::PlanJob, StoreError> {
    match (jobs::one(t, name)?.state(), running) {
        (v1::JobState::Queued, _) | (v1::JobState::Running, CancelRunning::AtOnce) => {
            end_waiting(t, name, v1::JobState::Cancelled, None)?;
        }
        (v1::JobState::Running, CancelRunning::ByItsRun) => {
            t.prepare_cached("UPDATE jobs SET cancel = 1 WHERE name = ?")?.execute([name])?;
        }
        _ => {}
    }
    jobs::one(t, name)
}

pub fn extend(
    t: &Transaction<'_>,
    limits: &StoreLimits,
    name: &str,
    more: &Extension,
) -> Result<(v1::PlanJob, bool), StoreError> {
    let job = jobs::one(t, name)?;
    let (seq, given): (i64, f64) = t
        .prepare_cached("SELECT seq, seconds + extra_seconds FROM jobs WHERE name = ?")?
        .query_row([name], |row| Ok((row.get(0)?, row.get(1)?)))?;
    if let Some(id) = &more.request_id {
        let new = t
            .prepare_cached(
                "INSERT OR IGNORE INTO extensions (job, request_id, seconds) VALUES (?, ?, ?)",
            )?
            .execute(params![seq, id, more.seconds])?;
        if new == 0 {
            let before = t
                .prepare_cached("SELECT seconds FROM extensions WHERE job = ? AND request_id = ?")?
                .query_row(params![seq, id], |row| row.get(0))?;
            rules::same_extension(name, more, id, before)?;
            return Ok((job, false));
        }
    }
    rules::check_extension(&job, given, more)?;
    t.prepare_cached("UPDATE jobs SET extra_seconds = extra_seconds + ? WHERE seq = ?")?
        .execute(params![more.seconds, seq])?;
    if has_ended(job.state()) {
        models::one(t, &job.model)?;
        check_owner(t, more.owner.as_ref())?;
        check_room(t, limits)?;
        let owner = more.owner.as_ref().map(|owner| &owner.name);
        t.prepare_cached(
            "UPDATE jobs SET state = 1, end_time = NULL, failure = NULL, turn = ?, owner = ?
             WHERE seq = ?",
        )?
        .execute(params![turn(now(), job.priority), owner, seq])?;
    }
    Ok((jobs::one(t, name)?, true))
}

pub fn prioritise(
    t: &Transaction<'_>,
    name: &str,
    priority: i32,
) -> Result<v1::PlanJob, StoreError> {
    t.prepare_cached(
        "UPDATE jobs SET turn = turn + (priority - ?1) * ?2, priority = ?1 WHERE name = ?3",
    )?
    .execute(params![priority, STEP, name])?;
    jobs::one(t, name)
}

/// Every job that seems to be worked on was lost: nobody else works from this database.
pub fn recover(t: &Transaction<'_>, limits: &StoreLimits) -> Result<usize, StoreError> {
    let lost: Vec<(i64, String, bool, u32)> = t
        .prepare_cached("SELECT seq, name, cancel, lost + 1 FROM jobs WHERE state = 2")?
        .query_map([], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?)))?
        .collect::<Result<_, _>>()?;
    for (seq, name, cancelled, times) in &lost {
        let (state, failure) = rules::after_loss(limits, *cancelled, *times);
        t.prepare_cached("UPDATE jobs SET state = 1, lost = ? WHERE seq = ?")?
            .execute(params![times, seq])?;
        if has_ended(state) {
            tracing::warn!(job = name, state = state.as_str_name(), "a job is not gone on with");
            end_waiting(t, name, state, failure.as_ref())?;
        }
    }
    Ok(lost.len())
}
