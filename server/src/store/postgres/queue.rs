//! The queue: who is next, and what callers do to jobs that wait, run or have ended.

use postgres::Row;
use slitwright_proto::v1;

use super::fault::Fault;
use super::lessee::Lessee;
use super::link::{Lock, Work, get};
use super::{jobs, models};
use crate::store::rules::{self, STEP, data_loss, turn};
use crate::store::{
    CancelRunning, Claimed, Extension, NewJob, News, Owner, Run, StoreError, StoreLimits,
    has_ended, seal,
};

pub fn submit(t: &mut Work<'_>, limits: &StoreLimits, new: &NewJob) -> Result<v1::PlanJob, Fault> {
    t.lock(Lock::Jobs)?;
    if let Some(there) = submitted(t, new)? {
        return Ok(there);
    }
    models::hold(t, &new.model)?;
    check_owner(t, new.owner.as_ref())?;
    check_room(t, limits)?;
    let now = jobs::now(t)?;
    let made = t.row(
        "INSERT INTO slitwright.jobs
            (name, model, request_id, request, state, priority, turn, submit_time, seconds, owner)
         VALUES ($1, $2, $3, $4, 1, $5, $6, $7, $8, $9) RETURNING *",
        &[
            &new.name,
            &new.model,
            &new.request_id,
            &seal::seal(&new.request),
            &new.priority,
            &turn(now, new.priority),
            &now,
            &new.seconds,
            &new.owner.as_ref().map(|owner| &owner.name),
        ],
    )?;
    t.tell(&News::Queued)?;
    jobs::known(made, &new.name)
}

/// The job that has the request id, when it is for the same.
pub fn submitted(t: &mut Work<'_>, new: &NewJob) -> Result<Option<v1::PlanJob>, Fault> {
    let Some(id) = &new.request_id else { return Ok(None) };
    let there = t.row("SELECT * FROM slitwright.jobs WHERE request_id = $1", &[id])?;
    let Some(there) = there else { return Ok(None) };
    Ok(Some(rules::same_request(new, jobs::known(Some(there), &new.name)?)?))
}

/// Whether the owner may have one more job under way.
fn check_owner(t: &mut Work<'_>, owner: Option<&Owner>) -> Result<(), Fault> {
    // Without a limit there is nothing to count.
    let Some(owner) = owner.filter(|owner| owner.most_jobs.is_some()) else { return Ok(()) };
    let query = "SELECT count(*) FROM slitwright.jobs WHERE owner = $1 AND state IN (1, 2)";
    let active = t.count(query, &[&owner.name])?;
    Ok(rules::check_jobs_of(owner, active)?)
}

fn check_room(t: &mut Work<'_>, limits: &StoreLimits) -> Result<(), Fault> {
    let waiting = t.count("SELECT count(*) FROM slitwright.jobs WHERE state = 1", &[])?;
    Ok(rules::check_queue(limits, waiting)?)
}

/// Claims the job that is next and that nobody else is just claiming.
pub fn claim(
    t: &mut Work<'_>,
    lessee: &Lessee,
    most_seconds: Option<f64>,
) -> Result<Option<Claimed>, Fault> {
    let next = "SELECT seq, name FROM slitwright.jobs
         WHERE state = 1
            AND ($1::float8 IS NULL OR seconds + extra_seconds - used_seconds <= $1)
         ORDER BY turn, seq LIMIT 1 FOR UPDATE SKIP LOCKED";
    while let Some(row) = t.row(next, &[&most_seconds])? {
        let (seq, name): (i64, String) = (get(&row, 0)?, get(&row, 1)?);
        match claim_one(t, lessee, seq, &name) {
            Ok(claimed) => return Ok(Some(claimed)),
            // Nobody can ever work on it: it ends, and the others behind it get their turn.
            Err(Fault::Store(fault @ (StoreError::Damaged(_) | StoreError::NoModel(_)))) => {
                tracing::error!(job = name, %fault, "a job cannot be worked on");
                cut_off(t, &name, v1::JobState::Failed, Some(&data_loss(&fault)))?;
            }
            Err(other) => return Err(other),
        }
    }
    Ok(None)
}

fn claim_one(t: &mut Work<'_>, lessee: &Lessee, seq: i64, name: &str) -> Result<Claimed, Fault> {
    let model = jobs::one(t, name)?.model;
    let model = models::one(t, &model)?;
    let query = "SELECT used_seconds, checkpoint FROM slitwright.checkpoints WHERE job = $1";
    let found = t.row(query, &[&seq])?;
    let found = found.map(|row| Ok::<_, Fault>((get(&row, 0)?, get(&row, 1)?))).transpose()?;
    let checkpoint = rules::checkpoint(name, found);
    let used = checkpoint.as_ref().map_or(0.0, |checkpoint| checkpoint.used_seconds);
    let number = t.value(
        "UPDATE slitwright.jobs SET state = 2, run = run + 1, used_seconds = $1, worker = $2,
            lease_end = slitwright.millis() + $3,
            start_time = coalesce(start_time, slitwright.millis())
         WHERE seq = $4 RETURNING run",
        &[&used, &lessee.worker, &lessee.millis(), &seq],
    )?;
    let number = number.ok_or_else(|| StoreError::NoJob(name.to_owned()))?;
    t.tell(&News::Job(name.to_owned()))?;
    let run = Run { job: name.to_owned(), number };
    Ok(Claimed { run, job: jobs::one(t, name)?, model, checkpoint })
}

/// Ends a job that nobody works on, or cuts off whoever does.
fn cut_off(
    t: &mut Work<'_>,
    name: &str,
    state: v1::JobState,
    failure: Option<&v1::Failure>,
) -> Result<(), Fault> {
    t.execute(
        "UPDATE slitwright.jobs SET state = $1, end_time = slitwright.millis(), failure = $2,
            run = run + 1, cancel = false
         WHERE name = $3",
        &[&(state as i32), &failure.map(seal::seal), &name],
    )?;
    t.tell(&News::Job(name.to_owned()))?;
    t.tell(&News::Orders)
}

pub fn cancel(t: &mut Work<'_>, name: &str, running: CancelRunning) -> Result<v1::PlanJob, Fault> {
    match (jobs::one_to_change(t, name)?.state(), running) {
        (v1::JobState::Queued, _) | (v1::JobState::Running, CancelRunning::AtOnce) => {
            cut_off(t, name, v1::JobState::Cancelled, None)?;
        }
        (v1::JobState::Running, CancelRunning::ByItsRun) => {
            t.execute("UPDATE slitwright.jobs SET cancel = true WHERE name = $1", &[&name])?;
            t.tell(&News::Orders)?;
        }
        _ => {}
    }
    jobs::one(t, name)
}

pub fn extend(
    t: &mut Work<'_>,
    limits: &StoreLimits,
    name: &str,
    more: &Extension,
) -> Result<(v1::PlanJob, bool), Fault> {
    // Before the job's row, as everywhere: who waits for each other's would wait for ever.
    t.lock(Lock::Jobs)?;
    let job = jobs::one_to_change(t, name)?;
    let row = t.row(
        "SELECT seq, seconds + extra_seconds FROM slitwright.jobs WHERE name = $1",
        &[&name],
    )?;
    let row = row.ok_or_else(|| StoreError::NoJob(name.to_owned()))?;
    let (seq, given): (i64, f64) = (get(&row, 0)?, get(&row, 1)?);
    if let Some(id) = &more.request_id {
        let new = t.execute(
            "INSERT INTO slitwright.extensions (job, request_id, seconds) VALUES ($1, $2, $3)
             ON CONFLICT DO NOTHING",
            &[&seq, id, &more.seconds],
        )?;
        if new == 0 {
            let query =
                "SELECT seconds FROM slitwright.extensions WHERE job = $1 AND request_id = $2";
            let before: Option<Option<f64>> = t.value(query, &[&seq, id])?;
            rules::same_extension(name, more, id, before.flatten())?;
            return Ok((job, false));
        }
    }
    rules::check_extension(&job, given, more)?;
    t.execute(
        "UPDATE slitwright.jobs SET extra_seconds = extra_seconds + $1 WHERE seq = $2",
        &[&more.seconds, &seq],
    )?;
    if has_ended(job.state()) {
        models::hold(t, &job.model)?;
        check_owner(t, more.owner.as_ref())?;
        check_room(t, limits)?;
        let turn = turn(jobs::now(t)?, job.priority);
        t.execute(
            "UPDATE slitwright.jobs SET state = 1, end_time = NULL, failure = NULL, turn = $1,
                owner = $2
             WHERE seq = $3",
            &[&turn, &more.owner.as_ref().map(|owner| &owner.name), &seq],
        )?;
        t.tell(&News::Job(name.to_owned()))?;
        t.tell(&News::Queued)?;
    } else {
        t.tell(&News::Orders)?;
    }
    Ok((jobs::one(t, name)?, true))
}

pub fn prioritise(t: &mut Work<'_>, name: &str, priority: i32) -> Result<v1::PlanJob, Fault> {
    t.execute(
        "UPDATE slitwright.jobs SET turn = turn + (priority - $1)::bigint * $2, priority = $1
         WHERE name = $3",
        &[&priority, &STEP, &name],
    )?;
    jobs::one(t, name)
}

/// Jobs whose leases have run out wait again, or end.
pub fn recover(t: &mut Work<'_>, limits: &StoreLimits) -> Result<usize, Fault> {
    let lost = t.rows(
        "SELECT seq, name, cancel, lost + 1 FROM slitwright.jobs
         WHERE state = 2 AND lease_end < slitwright.millis() FOR UPDATE SKIP LOCKED",
        &[],
    )?;
    for row in &lost {
        put_back_lost(t, limits, row)?;
    }
    if !lost.is_empty() {
        t.tell(&News::Queued)?;
    }
    Ok(lost.len())
}

fn put_back_lost(t: &mut Work<'_>, limits: &StoreLimits, row: &Row) -> Result<(), Fault> {
    let (seq, name): (i64, String) = (get(row, 0)?, get(row, 1)?);
    let (cancelled, times): (bool, i32) = (get(row, 2)?, get(row, 3)?);
    let (state, failure) = rules::after_loss(limits, cancelled, times.cast_unsigned());
    t.execute("UPDATE slitwright.jobs SET state = 1, lost = $1 WHERE seq = $2", &[&times, &seq])?;
    if has_ended(state) {
        tracing::warn!(job = name, state = state.as_str_name(), "a job is not gone on with");
        cut_off(t, &name, state, failure.as_ref())?;
    }
    t.tell(&News::Job(name))
}
