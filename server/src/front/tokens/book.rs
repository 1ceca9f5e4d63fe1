//! The tokens in force, read again when their file changes.

use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError, RwLock};
use std::time::{Duration, SystemTime};

use governor::clock::{Clock, MonotonicClock};
use governor::middleware::NoOpMiddleware;
use governor::state::{InMemoryState, NotKeyed};
use governor::{Quota, RateLimiter};

use super::file::parse;
use super::{Role, TokenEntry, TokenFault, TokenHash};
use crate::store::Owner;

type Pace =
    RateLimiter<NotKeyed, InMemoryState, MonotonicClock, NoOpMiddleware<std::time::Instant>>;

/// A token in force.
struct Token {
    entry: Arc<TokenEntry>,
    pace: Option<Arc<Pace>>,
}

/// The tokens in force.
pub struct TokenBook {
    file: PathBuf,
    tokens: RwLock<Vec<Token>>,
    /// What the file held when it was last read, good or not.
    last_read: Mutex<Option<Vec<u8>>>,
}

impl std::fmt::Debug for TokenBook {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        out.debug_struct("TokenBook").field("file", &self.file).finish_non_exhaustive()
    }
}

/// Why a caller is not let in.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Denied {
    /// No token was sent.
    #[error("a token is needed: send the metadata `authorization: Bearer TOKEN`")]
    Missing,
    /// The metadata is no bearer token.
    #[error("the metadata `authorization` is not of the form `Bearer TOKEN`")]
    Malformed,
    /// Nobody's token.
    #[error("the token is not known here: it may have been withdrawn")]
    Unknown,
    /// Out of date.
    #[error("the token {0} has expired: ask for a new one")]
    Expired(String),
}

/// A token has made as many calls as it may. Counted in memory, by each process for itself: a minute is
/// soon over.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "token {token}: it has made as many calls as it may in a minute, {most}: call again in {} s",
    retry.as_secs_f64().ceil()
)]
pub struct PaceFault {
    /// Name of the token.
    pub token: String,
    /// Most calls in a minute.
    pub most: u32,
    /// When another try does better.
    pub retry: Duration,
}

impl TokenBook {
    /// Reads a tokens' file, which has to hold at least one.
    pub fn open(file: &Path) -> Result<Self, TokenFault> {
        let bytes = read(file)?;
        let entries = decode(&bytes)?;
        if entries.is_empty() {
            return Err(TokenFault::Empty);
        }
        Ok(Self {
            file: file.to_owned(),
            tokens: RwLock::new(entries.into_iter().map(|entry| Token::new(entry, &[])).collect()),
            last_read: Mutex::new(Some(bytes)),
        })
    }

    /// Reads the file again if it changed. A damaged file leaves the tokens as they are. One without
    /// any token is none that is damaged: nobody is let in any more.
    ///
    /// Returns the number of tokens after a change, `None` when nothing changed.
    pub fn reload(&self) -> Result<Option<usize>, TokenFault> {
        let mut last = self.last_read.lock().unwrap_or_else(PoisonError::into_inner);
        let bytes = match read(&self.file) {
            Ok(bytes) => bytes,
            // Told once, not at each look.
            Err(_) if last.is_none() => return Ok(None),
            Err(fault) => {
                *last = None;
                return Err(fault);
            }
        };
        if last.as_ref() == Some(&bytes) {
            return Ok(None);
        }
        let entries = decode(&bytes);
        *last = Some(bytes);
        let entries = entries?;
        let count = entries.len();
        let mut tokens = self.tokens.write().unwrap_or_else(PoisonError::into_inner);
        let new = entries.into_iter().map(|entry| Token::new(entry, &tokens)).collect();
        *tokens = new;
        Ok(Some(count))
    }

    /// Who sent this `authorization` metadata.
    pub fn caller(&self, authorization: Option<&[u8]>) -> Result<Caller, Denied> {
        let sent = authorization.ok_or(Denied::Missing)?;
        let sent = std::str::from_utf8(sent).map_err(|_| Denied::Malformed)?;
        let (scheme, token) = sent.split_once(' ').ok_or(Denied::Malformed)?;
        if !scheme.eq_ignore_ascii_case("bearer") {
            return Err(Denied::Malformed);
        }
        let hash = TokenHash::of(token.trim());
        let tokens = self.tokens.read().unwrap_or_else(PoisonError::into_inner);
        // All are looked at, whichever it is.
        let mut found = None;
        for token in tokens.iter() {
            if token.entry.hash.same(&hash).into() {
                found = Some(token);
            }
        }
        let token = found.ok_or(Denied::Unknown)?;
        if token.entry.expires.is_some_and(|end| SystemTime::now() >= end) {
            return Err(Denied::Expired(token.entry.name.clone()));
        }
        Ok(Caller(Some(Known { entry: Arc::clone(&token.entry), pace: token.pace.clone() })))
    }
}

impl Token {
    fn new(entry: TokenEntry, before: &[Self]) -> Self {
        // An edit of the file is no fresh minute for those who did not change.
        let same = before.iter().find(|token| {
            token.entry.name == entry.name
                && token.entry.requests_per_minute == entry.requests_per_minute
        });
        let pace = match same {
            Some(token) => token.pace.clone(),
            None => entry.requests_per_minute.map(|most| {
                Arc::new(Pace::direct_with_clock(Quota::per_minute(most), MonotonicClock))
            }),
        };
        Self { entry: Arc::new(entry), pace }
    }
}

fn read(file: &Path) -> Result<Vec<u8>, TokenFault> {
    std::fs::read(file).map_err(|error| TokenFault::Unreadable(error.to_string()))
}

fn decode(bytes: &[u8]) -> Result<Vec<TokenEntry>, TokenFault> {
    let text = std::str::from_utf8(bytes)
        .map_err(|_| TokenFault::Unreadable("it is no text in UTF-8".to_owned()))?;
    parse(text)
}

/// Who calls: a token's holder, or anyone where there are no tokens.
#[derive(Clone, Default)]
pub struct Caller(Option<Known>);

#[derive(Clone)]
struct Known {
    entry: Arc<TokenEntry>,
    pace: Option<Arc<Pace>>,
}

impl Caller {
    /// Name of the token; `None` where there are none.
    pub fn name(&self) -> Option<&str> {
        self.0.as_ref().map(|known| known.entry.name.as_str())
    }

    /// What the token may do; `None` where there are none.
    pub fn role(&self) -> Option<Role> {
        self.0.as_ref().map(|known| known.entry.role)
    }

    /// Counts a call.
    pub fn count_call(&self) -> Result<(), PaceFault> {
        let Some(Known { entry, pace: Some(pace) }) = &self.0 else { return Ok(()) };
        pace.check().map_err(|until| PaceFault {
            token: entry.name.clone(),
            most: entry.requests_per_minute.map_or(0, std::num::NonZero::get),
            retry: until.wait_time_from(MonotonicClock.now()).max(Duration::from_millis(1)),
        })
    }

    /// Whose the caller's plans and models are, and how much of them it may have; `None` where there
    /// are no tokens.
    pub fn owner(&self) -> Option<Owner> {
        self.0.as_ref().map(|Known { entry, .. }| Owner {
            name: entry.name.clone(),
            most_jobs: entry.most_waiting_plans,
            most_model_bytes: entry.most_model_bytes,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(name: &str, token: &str, more: &str) -> String {
        format!(
            "[[token]]\nname = \"{name}\"\nsha256 = \"{}\"\nrole = \"write\"\n{more}\n",
            TokenHash::of(token)
        )
    }

    fn book(text: &str) -> (tempfile::TempDir, TokenBook) {
        let folder = tempfile::tempdir().expect("a folder");
        let file = folder.path().join("tokens.toml");
        std::fs::write(&file, text).expect("written");
        let book = TokenBook::open(&file).expect("a good file");
        (folder, book)
    }

    fn name(book: &TokenBook, sent: &str) -> Result<String, Denied> {
        book.caller(Some(sent.as_bytes()))
            .map(|caller| caller.name().unwrap_or_default().to_owned())
    }

    #[test]
    fn a_caller_is_who_holds_the_token() {
        let (_folder, book) = book(
            &(line("a", "one", "")
                + &line("b", "two", "")
                + &line("old", "three", "expires = 2020-01-01")),
        );
        assert_eq!(name(&book, "Bearer one").as_deref(), Ok("a"));
        assert_eq!(name(&book, "bearer two").as_deref(), Ok("b"));
        assert_eq!(name(&book, "Bearer three"), Err(Denied::Expired("old".to_owned())));
        assert_eq!(name(&book, "Bearer four"), Err(Denied::Unknown));
        assert_eq!(name(&book, "Bearer "), Err(Denied::Unknown));
        assert_eq!(name(&book, "Basic one"), Err(Denied::Malformed));
        assert_eq!(name(&book, "one"), Err(Denied::Malformed));
        assert_eq!(book.caller(None).map(|_| ()), Err(Denied::Missing));
        assert_eq!(book.caller(Some(b"Bearer \xff")).map(|_| ()), Err(Denied::Malformed));
    }

    #[test]
    fn a_changed_file_is_read_again_and_a_damaged_one_changes_nothing() {
        let (folder, book) = book(&line("a", "one", "requests-per-minute = 1"));
        let file = folder.path().join("tokens.toml");
        let write = |text: &str| std::fs::write(&file, text).expect("written");
        assert_eq!(book.reload(), Ok(None), "nothing changed");
        let first = book.caller(Some(b"Bearer one")).expect("let in");
        first.count_call().expect("the first call of the minute");

        write(&(line("a", "one", "requests-per-minute = 1") + &line("b", "two", "")));
        assert_eq!(book.reload(), Ok(Some(2)));
        assert_eq!(name(&book, "Bearer two").as_deref(), Ok("b"));
        let again = book.caller(Some(b"Bearer one")).expect("let in");
        let fault = again.count_call().expect_err("the minute goes on over the change");
        assert!(fault.retry <= Duration::from_secs(60), "{fault:?}");

        write("[[token]]\nname = ");
        assert!(matches!(book.reload(), Err(TokenFault::Syntax { line: 2, .. })));
        assert_eq!(book.reload(), Ok(None), "told once");
        assert_eq!(name(&book, "Bearer two").as_deref(), Ok("b"), "the old ones stay");
        std::fs::remove_file(&file).expect("removed");
        assert!(matches!(book.reload(), Err(TokenFault::Unreadable(_))));
        assert_eq!(book.reload(), Ok(None), "told once");
        assert_eq!(name(&book, "Bearer two").as_deref(), Ok("b"), "the old ones stay");
        write("# everyone was withdrawn\n");
        assert_eq!(book.reload(), Ok(Some(0)));
        assert_eq!(name(&book, "Bearer two"), Err(Denied::Unknown));
    }
}
