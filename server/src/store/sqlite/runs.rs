//! What runs hand in.

use rusqlite::{OptionalExtension, Transaction, params};
use slitwright_proto::v1;

use super::clock::now;
use crate::store::{Ending, Orders, Run, Step, StoreError, seal};

/// Row of the job, if the run still has it.
fn row_of(t: &Transaction<'_>, run: &Run) -> Result<i64, StoreError> {
    t.prepare_cached("SELECT seq FROM jobs WHERE name = ? AND run = ? AND state = 2")?
        .query_row(params![run.job, run.number], |row| row.get(0))
        .optional()?
        .ok_or_else(|| StoreError::RunLost(run.job.clone()))
}

pub fn keep(t: &Transaction<'_>, run: &Run, step: &Step<'_>) -> Result<Orders, StoreError> {
    let seq = row_of(t, run)?;
    if let Some(checkpoint) = step.checkpoint {
        t.prepare_cached(
            "INSERT OR REPLACE INTO checkpoints (job, used_seconds, checkpoint) VALUES (?, ?, ?)",
        )?
        .execute(params![seq, step.used_seconds, seal::seal_bytes(checkpoint)])?;
    }
    if step.checkpoint.is_some() || step.better.is_some() {
        t.prepare_cached("UPDATE jobs SET lost = 0 WHERE seq = ?")?.execute([seq])?;
    }
    if let Some((figures, plan)) = step.better {
        keep_plan(t, seq, figures, plan, step.record)?;
    }
    let progress = step.progress.map(seal::seal);
    t.prepare_cached(
        "UPDATE jobs SET used_seconds = ?, progress = coalesce(?, progress) WHERE seq = ?",
    )?
    .execute(params![step.used_seconds, progress, seq])?;
    let orders = t
        .prepare_cached("SELECT cancel, extra_seconds FROM jobs WHERE seq = ?")?
        .query_row([seq], |row| Ok(Orders { cancel: row.get(0)?, extra_seconds: row.get(1)? }))?;
    Ok(orders)
}

fn keep_plan(
    t: &Transaction<'_>,
    seq: i64,
    figures: &v1::BetterPlan,
    plan: &v1::Plan,
    record: Option<&[u8]>,
) -> Result<(), StoreError> {
    let sealed = seal::seal(figures);
    t.prepare_cached("INSERT OR REPLACE INTO plans (job, plan) VALUES (?, ?)")?
        .execute(params![seq, seal::seal(plan)])?;
    t.prepare_cached(
        "INSERT OR REPLACE INTO better_plans (job, number, figures) VALUES (?, ?, ?)",
    )?
    .execute(params![seq, figures.number, sealed])?;
    t.prepare_cached("UPDATE jobs SET best = ? WHERE seq = ?")?.execute(params![sealed, seq])?;
    // One of another plan is of no use any more.
    t.prepare_cached("DELETE FROM records WHERE job = ? AND number <> ?")?
        .execute(params![seq, figures.number])?;
    if let Some(record) = record {
        t.prepare_cached("INSERT OR REPLACE INTO records (job, number, record) VALUES (?, ?, ?)")?
            .execute(params![seq, figures.number, seal::seal_bytes(record)])?;
    }
    Ok(())
}

pub fn end(t: &Transaction<'_>, run: &Run, ending: &Ending) -> Result<v1::JobState, StoreError> {
    let seq = row_of(t, run)?;
    if let Some((figures, plan)) = &ending.plan {
        keep_plan(t, seq, figures, plan, ending.record.as_deref())?;
    }
    t.prepare_cached(
        "UPDATE jobs SET state = ?, end_time = ?, cancel = 0, used_seconds = ?,
            progress = coalesce(?, progress), failure = ?
         WHERE seq = ?",
    )?
    .execute(params![
        ending.state as i32,
        now(),
        ending.used_seconds,
        ending.progress.as_ref().map(seal::seal),
        ending.failure.as_ref().map(seal::seal),
        seq,
    ])?;
    let more = t
        .prepare_cached(
            "UPDATE jobs SET state = 1, end_time = NULL WHERE seq = ? AND extra_seconds > ?",
        )?
        // Nothing is more than what is not told.
        .execute(params![seq, ending.time_given])?;
    Ok(if more > 0 { v1::JobState::Queued } else { ending.state })
}

/// The job waits again, or ends if someone has asked for that.
pub fn give_back(t: &Transaction<'_>, run: &Run) -> Result<(), StoreError> {
    let seq = row_of(t, run)?;
    t.prepare_cached(
        "UPDATE jobs SET state = iif(cancel, ?, 1), end_time = iif(cancel, ?, NULL), cancel = 0
         WHERE seq = ?",
    )?
    .execute(params![v1::JobState::Cancelled as i32, now(), seq])?;
    Ok(())
}
