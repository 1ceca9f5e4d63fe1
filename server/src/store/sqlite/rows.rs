//! What rows of every kind share, and a row of `jobs`.

use rusqlite::{Params, Row, Transaction};

use crate::store::rules::{self, JobRow};
use crate::store::{Page, StoreError};

/// The number that a query counts.
pub fn count(t: &Transaction<'_>, query: &str, of: impl Params) -> Result<u64, StoreError> {
    let number: i64 = t.prepare_cached(query)?.query_row(of, |row| row.get(0))?;
    Ok(number.cast_unsigned())
}

/// A page of the rows of a query that has a column `seq`.
pub fn page_of<T>(
    t: &Transaction<'_>,
    query: &str,
    values: impl Params,
    most: usize,
    read: impl Fn(&Row<'_>) -> Result<T, StoreError>,
) -> Result<Page<T>, StoreError> {
    let mut statement = t.prepare_cached(query)?;
    let mut rows = statement.query(values)?;
    let mut found = Vec::new();
    while let Some(row) = rows.next()? {
        found.push((row.get("seq")?, read(row)?));
    }
    Ok(rules::page(found, most))
}

pub fn job(row: &Row<'_>) -> Result<JobRow, StoreError> {
    Ok(JobRow {
        name: row.get("name")?,
        model: row.get("model")?,
        request: row.get("request")?,
        state: row.get("state")?,
        priority: row.get("priority")?,
        submit_time: row.get("submit_time")?,
        start_time: row.get("start_time")?,
        end_time: row.get("end_time")?,
        extra_seconds: row.get("extra_seconds")?,
        used_seconds: row.get("used_seconds")?,
        progress: row.get("progress")?,
        best: row.get("best")?,
        failure: row.get("failure")?,
    })
}
