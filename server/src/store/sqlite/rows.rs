//! What rows of every kind share, and a row of `jobs` as a message.

use prost::Message;
use rusqlite::{Params, Row, Transaction};
use slitwright_proto::v1;

use crate::store::{Page, StoreError, seal};

/// The number that a query counts.
pub fn count(t: &Transaction<'_>, query: &str, of: impl Params) -> Result<u64, StoreError> {
    let number: i64 = t.prepare_cached(query)?.query_row(of, |row| row.get(0))?;
    Ok(number.cast_unsigned())
}

/// A position in a list as the database counts; one beyond all is the last.
pub fn position(after: u64) -> i64 {
    i64::try_from(after).unwrap_or(i64::MAX)
}

/// A page of the rows of a query over `(after, limit)` that has a column `seq`.
pub fn page_of<T>(
    t: &Transaction<'_>,
    query: &str,
    after: i64,
    most: usize,
    read: impl Fn(&Row<'_>) -> Result<T, StoreError>,
) -> Result<Page<T>, StoreError> {
    let mut statement = t.prepare_cached(query)?;
    // One more than asked for tells whether there is another page.
    let limit = i64::try_from(most).unwrap_or(i64::MAX).saturating_add(1);
    let mut rows = statement.query([after, limit])?;
    let (mut items, mut last, mut next) = (Vec::new(), None, None);
    while let Some(row) = rows.next()? {
        if items.len() == most {
            next = last;
            break;
        }
        items.push(read(row)?);
        last = Some(row.get::<_, i64>("seq")?.cast_unsigned());
    }
    Ok(Page { items, next })
}

/// A sealed message that may be missing.
fn optional<M: Message + Default>(
    row: &Row<'_>,
    column: &str,
    what: &str,
) -> Result<Option<M>, StoreError> {
    let blob: Option<Vec<u8>> = row.get(column)?;
    blob.map(|blob| seal::open(what, &blob)).transpose()
}

/// A job without its plan. When its request is damaged it comes without that, and the fault beside.
pub fn job(row: &Row<'_>) -> Result<(v1::PlanJob, Option<StoreError>), StoreError> {
    let name: String = row.get("name")?;
    let state: i32 = row.get("state")?;
    let state = v1::JobState::try_from(state)
        .map_err(|_| StoreError::Damaged(format!("{name} is in a state that there is not")))?;
    let request: Vec<u8> = row.get("request")?;
    let (request, fault) = match seal::open(&format!("the request of {name}"), &request) {
        Ok(request) => (Some(request), None),
        Err(fault) => (None, Some(fault)),
    };
    // A report is worth less than the job that it is about.
    let progress = optional(row, "progress", "progress").unwrap_or_else(|error| {
        tracing::warn!(job = name, %error, "the last report is left out");
        None
    });
    let job = v1::PlanJob {
        model: row.get("model")?,
        request,
        state: state.into(),
        submit_time: Some(timestamp(row.get("submit_time")?)),
        start_time: row.get::<_, Option<i64>>("start_time")?.map(timestamp),
        end_time: row.get::<_, Option<i64>>("end_time")?.map(timestamp),
        progress,
        plan: None,
        failure: optional(row, "failure", &format!("the failure of {name}"))?,
        priority: row.get("priority")?,
        extra_seconds: row.get("extra_seconds")?,
        used_seconds: row.get("used_seconds")?,
        best: optional(row, "best", &format!("the figures of {name}"))?,
        name,
    };
    Ok((job, fault))
}

/// A time for the protocol, from milliseconds since 1970.
fn timestamp(millis: i64) -> pbjson_types::Timestamp {
    let nanos = i32::try_from(millis.rem_euclid(1000)).unwrap_or_default() * 1_000_000;
    pbjson_types::Timestamp { seconds: millis.div_euclid(1000), nanos }
}
