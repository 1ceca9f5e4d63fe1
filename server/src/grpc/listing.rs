//! Which plans of a list are wanted, and in which order: the part of Google's AIP-160 ("Filtering") and
//! AIP-132 ("Standard methods: List") that makes sense of plans.

use slitwright_proto::v1::JobState;
use tonic::Status;

use super::errors::invalid_field;
use super::paging::{QUOTED, check_name};
use crate::store::Listing;
use crate::text::shortened;

/// Reads a filter and an order.
pub fn listing(filter: &str, order_by: &str) -> Result<Listing, Status> {
    let mut listing = Listing { newest_first: newest_first(order_by)?, ..Listing::default() };
    if filter.trim().is_empty() {
        return Ok(listing);
    }
    for term in filter.split(" AND ") {
        let (field, value) = term.split_once('=').ok_or_else(|| unclear(term))?;
        let value = value.trim();
        let value = match value.strip_prefix('"') {
            Some(quoted) => quoted.strip_suffix('"').ok_or_else(|| unclear(term))?,
            None => value,
        };
        match field.trim() {
            "state" if listing.state.is_none() => listing.state = Some(state(value, term)?),
            "model" if listing.model.is_none() => {
                check_name("filter", value, "models")?;
                listing.model = Some(value.to_owned());
            }
            _ => return Err(unclear(term)),
        }
    }
    Ok(listing)
}

fn state(value: &str, term: &str) -> Result<JobState, Status> {
    JobState::from_str_name(value)
        .or_else(|| JobState::from_str_name(&format!("JOB_STATE_{value}")))
        .filter(|state| *state != JobState::Unspecified)
        .ok_or_else(|| unclear(term))
}

fn newest_first(order_by: &str) -> Result<bool, Status> {
    let words: Vec<_> = order_by.split_whitespace().collect();
    match words.as_slice() {
        [] | ["submit_time"] => Ok(false),
        ["submit_time", "desc"] => Ok(true),
        _ => Err(invalid_field(
            "order_by",
            format!("is {:?}: give submit_time or submit_time desc", shortened(order_by, QUOTED)),
        )),
    }
}

fn unclear(term: &str) -> Status {
    let words = format!(
        "has {:?}: give state = FAILED, or model = \"models/{{id}}\", or both with AND between",
        shortened(term, QUOTED)
    );
    invalid_field("filter", words)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn filters_and_orders_are_read() {
        let read = |filter, order| listing(filter, order).expect("clear");
        assert_eq!(read("", ""), Listing::default());
        assert_eq!(read(" ", "submit_time"), Listing::default());
        assert!(read("", "submit_time  desc").newest_first);
        let both = Listing {
            state: Some(JobState::Failed),
            model: Some("models/a".to_owned()),
            ..Listing::default()
        };
        for filter in
            ["state = FAILED AND model = \"models/a\"", "model=models/a AND state=JOB_STATE_FAILED"]
        {
            assert_eq!(read(filter, ""), both, "{filter}");
        }
    }

    #[test]
    fn what_is_unclear_is_refused() {
        for filter in [
            "state",
            "state = LOST",
            "state = UNSPECIFIED",
            "state = FAILED OR state = QUEUED",
            "state = FAILED AND state = QUEUED",
            "colour = red",
            "model = \"models/a",
            "model = plans/a",
            "state != FAILED",
            "AND",
        ] {
            listing(filter, "").expect_err(filter);
        }
        for order in ["name", "submit_time asc desc", "desc", "submit_time, name"] {
            listing("", order).expect_err(order);
        }
    }
}
