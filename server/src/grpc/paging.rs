//! Page sizes, page tokens and resource names.

use sha2::{Digest as _, Sha256};
use tonic::Status;

use super::errors::invalid_field;
use crate::text::shortened;

const DEFAULT_SIZE: usize = 50;
/// Most items of a page.
pub const GREATEST_SIZE: usize = 200;
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

/// Page tokens of one list: they go with what was asked for, and say nothing to whoever holds them
/// (Google's AIP-158, "Pagination").
pub struct Pages([u8; SUM]);

/// Bytes of the sum that tells what a token goes with.
const SUM: usize = 8;

impl Pages {
    /// Those of the list `what` with these further words of the request.
    pub fn of(what: &str, words: &[&str]) -> Self {
        let mut sum = Sha256::new();
        for word in std::iter::once(&what).chain(words) {
            sum.update((word.len() as u64).to_le_bytes());
            sum.update(word);
        }
        let mut first = [0; SUM];
        first.copy_from_slice(&sum.finalize()[..SUM]);
        Self(first)
    }

    /// Position after which a page begins; `None` for the first page.
    pub fn position(&self, token: &str) -> Result<Option<u64>, Status> {
        if token.is_empty() {
            return Ok(None);
        }
        let halves = token.split_at_checked(2 * SUM).filter(|(_, place)| place.len() == 2 * SUM);
        let number = |digits| u64::from_str_radix(digits, 16).ok();
        let read = halves.and_then(|(sum, place)| Some((number(sum)?, number(place)?)));
        let own = u64::from_be_bytes(self.0);
        match read {
            Some((sum, place)) if sum == own => Ok(Some(place ^ own)),
            _ => Err(invalid_field(
                "page_token",
                "is not a token of this list: give next_page_token of the page before, with the same \
                 filter and order",
            )),
        }
    }

    /// Token of the page after a position; empty when there is none.
    pub fn token(&self, position: Option<u64>) -> String {
        let own = u64::from_be_bytes(self.0);
        position.map_or_else(String::new, |position| format!("{own:016x}{:016x}", position ^ own))
    }
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
    fn tokens_go_there_and_back_in_their_own_list_only() {
        let pages = Pages::of("plans", &["state = FAILED", ""]);
        for at in [1, 15, 16, u64::MAX] {
            assert_eq!(pages.position(&pages.token(Some(at))).expect("own token"), Some(at));
        }
        assert_eq!(pages.token(None), "");
        assert_eq!(pages.position("").expect("the first page"), None);
        let token = pages.token(Some(7));
        for other in [Pages::of("plans", &["", "state = FAILED"]), Pages::of("models", &[])] {
            assert!(other.position(&token).is_err());
        }
        for bad in ["-1", "zz", "7", &token[1..], &format!("{token}0"), "ä"] {
            assert!(pages.position(bad).is_err(), "{bad}");
        }
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
