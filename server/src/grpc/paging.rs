//! Page sizes, page tokens and resource names.

use tonic::Status;

use super::errors::invalid_field;
use crate::text::shortened;

const DEFAULT_SIZE: usize = 50;
const GREATEST_SIZE: usize = 200;
/// Longest id of a resource, characters; the service's own have 36.
const LONGEST_ID: usize = 64;
/// How much of a string from outside is quoted, bytes.
pub const QUOTED: usize = 60;

/// Number of items of a page.
pub fn page_size(asked: i32) -> Result<usize, Status> {
    match usize::try_from(asked) {
        Err(_) => Err(invalid_field("page_size", format!("is {asked}: give 0 or more"))),
        Ok(0) => Ok(DEFAULT_SIZE),
        Ok(size) => Ok(size.min(GREATEST_SIZE)),
    }
}

/// Position after which a page begins.
pub fn position(token: &str) -> Result<u64, Status> {
    if token.is_empty() {
        return Ok(0);
    }
    u64::from_str_radix(token, 16).map_err(|_| {
        invalid_field(
            "page_token",
            "is not a token of this server: give next_page_token of the page before",
        )
    })
}

/// Token of the page after a position; empty when there is none.
pub fn token(position: Option<u64>) -> String {
    position.map_or_else(String::new, |position| format!("{position:x}"))
}

/// Refuses a name that cannot be one of the collection.
pub fn check_name(field: &str, name: &str, collection: &str) -> Result<(), Status> {
    match name.split_once('/') {
        Some((before, id))
            if before == collection
                && (1..=LONGEST_ID).contains(&id.len())
                && id.bytes().all(|b| b.is_ascii_alphanumeric() || b"-_.".contains(&b)) =>
        {
            Ok(())
        }
        _ => Err(invalid_field(
            field,
            format!("is {:?}: give a name like {collection}/{{id}}", shortened(name, QUOTED)),
        )),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tokens_go_there_and_back() {
        for at in [1, 15, 16, u64::MAX] {
            assert_eq!(position(&token(Some(at))).expect("own token"), at);
        }
        assert_eq!(token(None), "");
        assert!(position("-1").is_err() && position("zz").is_err());
    }

    #[test]
    fn names_need_collection_and_id() {
        assert!(check_name("name", "models/a", "models").is_ok());
        let long = format!("models/{}", "a".repeat(65));
        for bad in
            ["", "models", "models/", "plans/a", "models/a/b", "/models/a", "models/ä", &long]
        {
            assert!(check_name("name", bad, "models").is_err(), "{bad:?}");
        }
    }
}
