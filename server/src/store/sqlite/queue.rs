//! The queue: who is next, and what callers do to jobs that wait, run or have ended.
//!
//! Each job has a turn, a time: when it was queued, less ten minutes for each step of its priority.
//! The least turn is next. So a job of any priority is overtaken for a bounded time only: once it has
//! waited longer than priorities can make up for, nobody that comes later is before it.

use rusqlite::{OptionalExtension, Transaction, params};
use slitwright_proto::v1;

use super::rows::count;
use super::{jobs, models, now, runs};
use crate::store::{
    CancelRunning, Checkpoint, Claimed, Extension, Run, StoreError, StoreLimits, has_ended, seal,
};

/// What a step of priority is worth, milliseconds of waiting.
const STEP: i64 = 600_000;

/// The turn of a job that was queued at `time`.
pub fn turn(time: i64, priority: i32) -> i64 {
    time - i64::from(priority) * STEP
}

/// Why a job ended whose request or model cannot be read.
pub fn data_loss(fault: &StoreError) -> v1::Failure {
    v1::Failure { code: tonic::Code::DataLoss.into(), message: fault.to_string() }
}

pub fn check_room(t: &Transaction<'_>, limits: &StoreLimits) -> Result<(), StoreError> {
    let waiting = count(t, "SELECT count(*) FROM jobs WHERE state = 1", [])?;
    if waiting >= limits.waiting_jobs as u64 {
        return Err(StoreError::QueueFull(limits.waiting_jobs));
    }
    Ok(())
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
    let checkpoint = found.and_then(|(used_seconds, sealed)| {
        match seal::open_bytes(&format!("the checkpoint of {name}"), &sealed) {
            Ok(bytes) => Some(Checkpoint { bytes: bytes.to_vec(), used_seconds }),
            Err(error) => {
                tracing::warn!(job = name, %error, "the work starts over");
                None
            }
        }
    });
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
            .prepare_cached("INSERT OR IGNORE INTO extensions (job, request_id) VALUES (?, ?)")?
            .execute(params![seq, id])?;
        if new == 0 {
            return Ok((job, false));
        }
    }
    if job.state() == v1::JobState::Failed {
        return Err(StoreError::JobFailed(name.to_owned()));
    }
    let seconds = given + more.seconds;
    if seconds > more.most_seconds {
        return Err(StoreError::TooMuchTime {
            job: name.to_owned(),
            seconds: seconds.ceil() as u64,
            most: more.most_seconds as u64,
        });
    }
    t.prepare_cached("UPDATE jobs SET extra_seconds = extra_seconds + ? WHERE seq = ?")?
        .execute(params![more.seconds, seq])?;
    if has_ended(job.state()) {
        models::one(t, &job.model)?;
        check_room(t, limits)?;
        t.prepare_cached("UPDATE jobs SET state = 1, end_time = NULL, turn = ? WHERE seq = ?")?
            .execute(params![turn(now(), job.priority), seq])?;
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

pub fn recover(t: &Transaction<'_>) -> Result<usize, StoreError> {
    runs::put_back(t, "true", [])
}
