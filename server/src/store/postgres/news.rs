//! Hears what the processes that share a database tell each other.

use std::time::Duration;

use postgres::fallible_iterator::FallibleIterator as _;

use super::config::DatabaseConfig;
use super::fault::Fault;
use super::link::connect;
use super::notice::{CHANNEL, read};
use crate::store::{News, StoreError};

/// How long to wait for a message before whoever listens is asked whether to go on.
const TICK: Duration = Duration::from_millis(250);
/// Silence after which the connection is tried.
const DOUBT: u32 = 40;

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
