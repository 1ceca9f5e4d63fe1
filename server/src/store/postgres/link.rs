//! Connections, and transactions on them.

use std::collections::HashMap;
use std::time::Duration;

use postgres::types::{FromSqlOwned, ToSql};
use postgres::{Client, IsolationLevel, NoTls, Row, RowIter, Statement};
use tokio_postgres_rustls::MakeRustlsConnect;

use super::config::DatabaseConfig;
use super::fault::Fault;
use super::notice::{self, CHANNEL};
use crate::store::{News, StoreError};

/// What every connection is told first: the database is to notice when this process is gone, whatever
/// it was doing, and nobody is to wait for ever.
const GREETING: &str = "
    SET idle_in_transaction_session_timeout = '20s';
    SET lock_timeout = '10s';
    SET tcp_keepalives_idle = 10;
    SET tcp_keepalives_interval = 5;
    SET tcp_keepalives_count = 3;
    SET client_min_messages = warning;
";

/// A pool of connections.
pub type Pool = r2d2::Pool<Manager>;

/// Makes connections for the pool.
pub struct Manager(pub DatabaseConfig);

/// A connection and what was prepared on it.
pub struct Link {
    client: Client,
    prepared: HashMap<&'static str, Statement>,
}

/// A connection that is greeted.
pub fn connect(config: &DatabaseConfig) -> Result<Client, postgres::Error> {
    let mut client = match &config.tls {
        Some(tls) => config.connect.connect(MakeRustlsConnect::new(tls.as_ref().clone()))?,
        None => config.connect.connect(NoTls)?,
    };
    client.batch_execute(GREETING)?;
    Ok(client)
}

/// At most `size` connections. None is made before it is needed.
pub fn pool(config: &DatabaseConfig, size: u32, patience: Duration) -> Pool {
    r2d2::Pool::builder()
        .max_size(size)
        .min_idle(Some(0))
        .connection_timeout(patience)
        .error_handler(Box::new(Quiet))
        .build_unchecked(Manager(config.clone()))
}

/// Whoever needs a connection is told why there is none; no need to tell it twice.
#[derive(Debug)]
struct Quiet;

impl r2d2::HandleError<postgres::Error> for Quiet {
    fn handle_error(&self, error: postgres::Error) {
        tracing::debug!(%error, "no connection to the database");
    }
}

impl r2d2::ManageConnection for Manager {
    type Connection = Link;
    type Error = postgres::Error;

    fn connect(&self) -> Result<Link, postgres::Error> {
        Ok(Link { client: connect(&self.0)?, prepared: HashMap::new() })
    }
    fn is_valid(&self, link: &mut Link) -> Result<(), postgres::Error> {
        link.client.batch_execute("")
    }
    fn has_broken(&self, link: &mut Link) -> bool {
        link.client.is_closed()
    }
}

impl Link {
    /// Reads what belongs together: all of it as it is at one moment.
    pub fn read<T>(
        &mut self,
        work: impl Fn(&mut Work<'_>) -> Result<T, Fault>,
    ) -> Result<T, Fault> {
        let Self { client, prepared } = self;
        let t = client
            .build_transaction()
            .isolation_level(IsolationLevel::RepeatableRead)
            .read_only(true)
            .start()?;
        let mut t = Work { t, prepared, me: "" };
        let found = work(&mut t)?;
        t.t.commit()?;
        Ok(found)
    }

    /// Makes a change that is durable when this returns `Ok`, and is none otherwise; but when the
    /// connection is lost in the middle of a commit nobody knows. `me` is told with news.
    pub fn change<T>(
        &mut self,
        me: &str,
        work: impl Fn(&mut Work<'_>) -> Result<T, Fault>,
    ) -> Result<T, Fault> {
        let Self { client, prepared } = self;
        let mut t = Work { t: client.transaction()?, prepared, me };
        let found = work(&mut t)?;
        t.t.commit()?;
        Ok(found)
    }
}

/// A transaction.
pub struct Work<'a> {
    t: postgres::Transaction<'a>,
    prepared: &'a mut HashMap<&'static str, Statement>,
    me: &'a str,
}

type Values<'v> = &'v [&'v (dyn ToSql + Sync)];

impl Work<'_> {
    fn statement(&mut self, query: &'static str) -> Result<Statement, Fault> {
        if let Some(statement) = self.prepared.get(query) {
            return Ok(statement.clone());
        }
        let statement = self.t.prepare(query)?;
        self.prepared.insert(query, statement.clone());
        Ok(statement)
    }

    /// Changes rows; tells how many.
    pub fn execute(&mut self, query: &'static str, values: Values<'_>) -> Result<u64, Fault> {
        let statement = self.statement(query)?;
        Ok(self.t.execute(&statement, values)?)
    }

    /// All rows.
    pub fn rows(&mut self, query: &'static str, values: Values<'_>) -> Result<Vec<Row>, Fault> {
        let statement = self.statement(query)?;
        Ok(self.t.query(&statement, values)?)
    }

    /// Rows as they come.
    pub fn each(&mut self, query: &'static str, values: Values<'_>) -> Result<RowIter<'_>, Fault> {
        let statement = self.statement(query)?;
        Ok(self.t.query_raw(&statement, values.iter().copied())?)
    }

    /// One row, if there is one.
    pub fn row(&mut self, query: &'static str, values: Values<'_>) -> Result<Option<Row>, Fault> {
        let statement = self.statement(query)?;
        Ok(self.t.query_opt(&statement, values)?)
    }

    /// The first column of one row, if there is one.
    pub fn value<T: FromSqlOwned>(
        &mut self,
        query: &'static str,
        values: Values<'_>,
    ) -> Result<Option<T>, Fault> {
        self.row(query, values)?.map(|row| get(&row, 0)).transpose()
    }

    /// The number that a query counts.
    pub fn count(&mut self, query: &'static str, values: Values<'_>) -> Result<u64, Fault> {
        Ok(self.value::<i64>(query, values)?.unwrap_or_default().cast_unsigned())
    }

    /// One transaction at a time goes on from here with what the lock is for.
    pub fn lock(&mut self, lock: Lock) -> Result<(), Fault> {
        self.execute("SELECT pg_advisory_xact_lock(1936488820, $1)", &[&(lock as i32)])?;
        Ok(())
    }

    /// Tells the other processes once this is committed.
    pub fn tell(&mut self, news: &News) -> Result<(), Fault> {
        if let Some(text) = notice::text(self.me, news) {
            self.execute("SELECT pg_notify($1, $2)", &[&CHANNEL, &text])?;
        }
        Ok(())
    }
}

/// What is done by one transaction at a time.
#[derive(Clone, Copy)]
pub enum Lock {
    /// Counting jobs and adding one; so they are seen in the order of their numbers, too.
    Jobs = 1,
    /// The same for models.
    Models = 2,
}

/// A column. One that holds what the program never writes there is damaged.
pub fn get<T: FromSqlOwned>(
    row: &Row,
    column: impl postgres::row::RowIndex + std::fmt::Display,
) -> Result<T, Fault> {
    row.try_get(column).map_err(|error| StoreError::Damaged(error.to_string()).into())
}
