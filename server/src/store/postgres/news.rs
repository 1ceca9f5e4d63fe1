//! News between the processes that share a database, by LISTEN and NOTIFY.
//!
//! A message is short, whatever it is about: who sent it, what kind it is, and the job's name. What
//! there is to know is read from the tables.

use std::time::Duration;

use postgres::fallible_iterator::FallibleIterator as _;

use super::DatabaseConfig;
use super::fault::Fault;
use super::link::{CHANNEL, connect};
use crate::store::{News, StoreError};

/// How long to wait for a message before whoever listens is asked whether to go on.
const TICK: Duration = Duration::from_millis(250);
/// Silence after which the connection is tried.
const DOUBT: u32 = 40;

/// A message from `me`; none for what is not sent.
pub fn text(me: &str, news: &News) -> Option<String> {
    match news {
        News::Listening | News::Silence => None,
        News::Queued => Some(format!("{me} queued")),
        News::Orders => Some(format!("{me} orders")),
        News::Job(name) => Some(format!("{me} job {name}")),
    }
}

/// What a message tells; nothing when it is my own, or not one of these.
pub fn read(me: &str, text: &str) -> Option<News> {
    let mut words = text.split(' ');
    if words.next()? == me {
        return None;
    }
    match (words.next()?, words.next()) {
        ("queued", None) => Some(News::Queued),
        ("orders", None) => Some(News::Orders),
        ("job", Some(name)) => Some(News::Job(name.to_owned())),
        _ => None,
    }
}

/// Listens on a connection of its own until `hear` says no.
pub fn listen(config: &DatabaseConfig, me: &str, hear: &dyn Fn(News) -> bool) -> Result<(), Fault> {
    let mut client = connect(config)?;
    client.batch_execute(&format!("LISTEN {CHANNEL}"))?;
    let mut go_on = hear(News::Listening);
    let mut silent = 0;
    while go_on {
        let message = client.notifications().timeout_iter(TICK).next()?;
        go_on = match message.and_then(|message| read(me, message.payload())) {
            Some(news) => {
                silent = 0;
                hear(news)
            }
            None => {
                silent += 1;
                hear(News::Silence)
            }
        };
        if client.is_closed() {
            return Err(StoreError::Unavailable("the connection was closed".to_owned()).into());
        }
        if silent >= DOUBT {
            client.batch_execute("")?;
            silent = 0;
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_told_is_read_by_others_and_fits() {
        let name = format!("plans/{}", uuid::Uuid::new_v4());
        for news in [News::Queued, News::Orders, News::Job(name)] {
            let text = text("me", &news).expect("it is sent");
            // PostgreSQL's documentation, "NOTIFY": shorter than 8000 bytes.
            assert!(text.len() < 100, "{text}");
            assert_eq!(read("other", &text), Some(news));
            assert_eq!(read("me", &text), None);
        }
        for odd in ["", "x", "x y", "x job", "x queued twice"] {
            assert_eq!(read("me", odd), None, "{odd:?}");
        }
    }
}
