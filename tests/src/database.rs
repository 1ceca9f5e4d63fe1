//! PostgreSQL databases for tests, each for one test alone.

use std::sync::atomic::{AtomicU32, Ordering};

use postgres::config::Host;
use postgres::{Config, NoTls};

/// The variable that says where the tests' PostgreSQL is.
const VARIABLE: &str = "SLITWRIGHT_TEST_DATABASE";

static NUMBER: AtomicU32 = AtomicU32::new(0);

/// A new, empty database. It goes when this is dropped.
pub struct TestDatabase {
    name: String,
    server: Config,
}

impl TestDatabase {
    /// Makes one on the PostgreSQL that `SLITWRIGHT_TEST_DATABASE` names. Fails when there is none: a
    /// test that is left out tests nothing.
    #[must_use]
    pub fn new() -> Self {
        let url = std::env::var(VARIABLE).unwrap_or_else(|_| {
            panic!("{VARIABLE} names no PostgreSQL: run this under tests/with-postgres.sh")
        });
        let server: Config = url.parse().expect("the address of a PostgreSQL");
        let number = NUMBER.fetch_add(1, Ordering::Relaxed);
        let name = format!("test_{}_{number}", std::process::id());
        let made = Self { name, server };
        made.on_server(format!("CREATE DATABASE {}", made.name));
        made
    }

    /// How to connect to it.
    #[must_use]
    pub fn url(&self) -> String {
        let host = self.server.get_hosts().first().map(|host| match host {
            Host::Tcp(name) => name.clone(),
            Host::Unix(path) => path.display().to_string(),
        });
        let user = self.server.get_user().unwrap_or("postgres");
        let port = self.server.get_ports().first().copied().unwrap_or(5432);
        format!("host={} port={port} user={user} dbname={}", host.unwrap_or_default(), self.name)
    }

    /// From now on it lets nobody in, and whoever is in is thrown out, as when PostgreSQL is stopped.
    pub fn stop(&self) {
        self.on_server(format!("ALTER DATABASE {} ALLOW_CONNECTIONS false", self.name));
        self.throw_all_out();
    }

    /// It lets in whoever wants again.
    pub fn start(&self) {
        self.on_server(format!("ALTER DATABASE {} ALLOW_CONNECTIONS true", self.name));
    }

    /// Ends all connections to it.
    pub fn throw_all_out(&self) {
        self.on_server(format!(
            "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = '{}'",
            self.name
        ));
    }

    /// Runs statements in it.
    pub fn run(&self, statements: &str) {
        execute(self.inside(), statements.to_owned());
    }

    /// Whether a query over it finds any row.
    pub fn finds(&self, query: &str) -> bool {
        let (config, query) = (self.inside(), query.to_owned());
        apart(move || Ok(!config.connect(NoTls)?.query(&query, &[])?.is_empty()))
    }

    fn inside(&self) -> Config {
        let mut config = self.server.clone();
        config.dbname(&self.name);
        config
    }

    fn on_server(&self, statement: String) {
        execute(self.server.clone(), statement);
    }
}

impl Default for TestDatabase {
    fn default() -> Self {
        Self::new()
    }
}

impl Drop for TestDatabase {
    fn drop(&mut self) {
        // Servers of a test that has failed may still hang on to it.
        self.on_server(format!("DROP DATABASE {} WITH (FORCE)", self.name));
    }
}

fn execute(config: Config, statements: String) {
    apart(move || config.connect(NoTls)?.batch_execute(&statements));
}

/// On a thread of its own: the client waits, which tasks must not.
fn apart<T: Send + 'static>(
    work: impl FnOnce() -> Result<T, postgres::Error> + Send + 'static,
) -> T {
    let done = std::thread::spawn(work).join().expect("no panic");
    done.unwrap_or_else(|error| panic!("the tests' PostgreSQL: {error:?}"))
}
