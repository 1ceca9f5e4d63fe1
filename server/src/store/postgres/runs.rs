//! What runs hand in.

use slitwright_proto::v1;

use super::fault::Fault;
use super::lessee::Lessee;
use super::link::{Work, get};
use crate::store::{Ending, News, Orders, Run, Step, StoreError, seal};

/// Row of the job, if the run still has it. Nobody takes it away until this transaction is over.
fn row_of(t: &mut Work<'_>, run: &Run) -> Result<i64, Fault> {
    let query = "SELECT seq FROM slitwright.jobs
        WHERE name = $1 AND run = $2 AND state = 2 FOR UPDATE";
    let row = t.value(query, &[&run.job, &run.number])?;
    Ok(row.ok_or_else(|| StoreError::RunLost(run.job.clone()))?)
}

pub fn keep(
    t: &mut Work<'_>,
    lessee: &Lessee,
    run: &Run,
    step: &Step<'_>,
) -> Result<Orders, Fault> {
    let seq = row_of(t, run)?;
    if let Some(checkpoint) = step.checkpoint {
        t.execute(
            "INSERT INTO slitwright.checkpoints (job, used_seconds, checkpoint)
             VALUES ($1, $2, $3) ON CONFLICT (job)
             DO UPDATE SET used_seconds = excluded.used_seconds, checkpoint = excluded.checkpoint",
            &[&seq, &step.used_seconds, &seal::seal_bytes(checkpoint)],
        )?;
    }
    if let Some((figures, plan)) = step.better {
        keep_plan(t, seq, figures, plan, step.record)?;
    }
    let further = step.checkpoint.is_some() || step.better.is_some();
    let row = t.row(
        "UPDATE slitwright.jobs SET used_seconds = $1, progress = coalesce($2, progress),
            lease_end = slitwright.millis() + $3, lost = CASE WHEN $4 THEN 0 ELSE lost END
         WHERE seq = $5 RETURNING cancel, extra_seconds",
        &[&step.used_seconds, &step.progress.map(seal::seal), &lessee.millis(), &further, &seq],
    )?;
    let row = row.ok_or_else(|| StoreError::RunLost(run.job.clone()))?;
    t.tell(&News::Job(run.job.clone()))?;
    Ok(Orders { cancel: get(&row, 0)?, extra_seconds: get(&row, 1)? })
}

fn keep_plan(
    t: &mut Work<'_>,
    seq: i64,
    figures: &v1::BetterPlan,
    plan: &v1::Plan,
    record: Option<&[u8]>,
) -> Result<(), Fault> {
    let sealed = seal::seal(figures);
    t.execute(
        "INSERT INTO slitwright.plans (job, plan) VALUES ($1, $2)
         ON CONFLICT (job) DO UPDATE SET plan = excluded.plan",
        &[&seq, &seal::seal(plan)],
    )?;
    t.execute(
        "INSERT INTO slitwright.better_plans (job, number, figures) VALUES ($1, $2, $3)
         ON CONFLICT (job, number) DO UPDATE SET figures = excluded.figures",
        &[&seq, &i64::from(figures.number), &sealed],
    )?;
    t.execute("UPDATE slitwright.jobs SET best = $1 WHERE seq = $2", &[&sealed, &seq])?;
    let number = i64::from(figures.number);
    // One of another plan is of no use any more.
    t.execute("DELETE FROM slitwright.records WHERE job = $1 AND number <> $2", &[&seq, &number])?;
    if let Some(record) = record {
        t.execute(
            "INSERT INTO slitwright.records (job, number, record) VALUES ($1, $2, $3)
             ON CONFLICT (job) DO UPDATE SET number = excluded.number, record = excluded.record",
            &[&seq, &number, &seal::seal_bytes(record)],
        )?;
    }
    Ok(())
}

pub fn end(t: &mut Work<'_>, run: &Run, ending: &Ending) -> Result<v1::JobState, Fault> {
    let seq = row_of(t, run)?;
    if let Some((figures, plan)) = &ending.plan {
        keep_plan(t, seq, figures, plan, ending.record.as_deref())?;
    }
    t.execute(
        "UPDATE slitwright.jobs SET state = $1, end_time = slitwright.millis(), cancel = false,
            used_seconds = $2, progress = coalesce($3, progress), failure = $4
         WHERE seq = $5",
        &[
            &(ending.state as i32),
            &ending.used_seconds,
            &ending.progress.as_ref().map(seal::seal),
            &ending.failure.as_ref().map(seal::seal),
            &seq,
        ],
    )?;
    let more = t.execute(
        "UPDATE slitwright.jobs SET state = 1, end_time = NULL
         WHERE seq = $1 AND extra_seconds > $2",
        // Nothing is more than what is not told.
        &[&seq, &ending.time_given],
    )?;
    t.tell(&News::Job(run.job.clone()))?;
    if more == 0 {
        return Ok(ending.state);
    }
    t.tell(&News::Queued)?;
    Ok(v1::JobState::Queued)
}

/// The job waits again, or ends if someone has asked for that.
pub fn give_back(t: &mut Work<'_>, run: &Run) -> Result<(), Fault> {
    let seq = row_of(t, run)?;
    t.execute(
        "UPDATE slitwright.jobs SET state = CASE WHEN cancel THEN $1 ELSE 1 END,
            end_time = CASE WHEN cancel THEN slitwright.millis() END, cancel = false
         WHERE seq = $2",
        &[&(v1::JobState::Cancelled as i32), &seq],
    )?;
    t.tell(&News::Job(run.job.clone()))?;
    t.tell(&News::Queued)
}

pub fn renew(t: &mut Work<'_>, lessee: &Lessee, runs: &[Run]) -> Result<Vec<(Run, Orders)>, Fault> {
    let names: Vec<&str> = runs.iter().map(|run| run.job.as_str()).collect();
    let numbers: Vec<i64> = runs.iter().map(|run| run.number).collect();
    // In one order, so that nobody waits for each other.
    let rows = t.rows(
        "UPDATE slitwright.jobs SET lease_end = slitwright.millis() + $3
         WHERE seq IN (
            SELECT seq FROM slitwright.jobs
            JOIN unnest($1::text[], $2::bigint[]) AS mine (job, number)
                ON name = mine.job AND run = mine.number
            WHERE state = 2 ORDER BY seq FOR UPDATE OF jobs)
         RETURNING name, run, cancel, extra_seconds",
        &[&names, &numbers, &lessee.millis()],
    )?;
    rows.iter()
        .map(|row| {
            let run = Run { job: get(row, 0)?, number: get(row, 1)? };
            Ok((run, Orders { cancel: get(row, 2)?, extra_seconds: get(row, 3)? }))
        })
        .collect()
}
