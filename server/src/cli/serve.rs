//! `slitwright serve`.

use std::net::SocketAddr;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

use clap::Args;
use tokio::net::TcpListener;
use tokio::signal::unix::{SignalKind, signal};

use super::CliError;
use super::front::FrontArgs;
use crate::store::{DatabaseConfig, default_folder};
use crate::{ServeConfig, SolverPlanner, StoreLimits, UploadRules, serve};

/// How to serve.
#[derive(Args)]
pub struct ServeArgs {
    /// Address and port. Beyond loopback it takes --tokens, and TLS or a proxy that speaks it
    #[arg(long, default_value = "127.0.0.1:50151")]
    listen: SocketAddr,
    /// Plans worked on at the same time; by default one for every two processors. With --database it
    /// may be 0: then this process answers calls, and others work
    #[arg(long, value_parser = clap::value_parser!(u16).range(0..=256))]
    workers: Option<u16>,
    /// Folder of models, requests and plans; by default $STATE_DIRECTORY, or else slitwright in
    /// $XDG_DATA_HOME, which is ~/.local/share unless set. Made if missing
    #[arg(long, value_name = "FOLDER")]
    store: Option<PathBuf>,
    /// PostgreSQL database in place of a folder, shared by any number of these processes, such as
    /// postgres://studio@queue.example/plans?sslmode=require. A password belongs in the environment
    /// variable, which nobody else on the machine can read
    #[arg(
        long,
        value_name = "URL",
        env = "SLITWRIGHT_DATABASE",
        hide_env_values = true,
        conflicts_with_all = ["store", "max_plans_mb"]
    )]
    database: Option<String>,
    /// Certificates of authorities, PEM, one of which must vouch for the database's server; by default
    /// those that the system knows
    #[arg(long, value_name = "FILE", requires = "database")]
    database_ca: Option<PathBuf>,
    /// Seconds after which the plans of a process that is not heard of go to another one
    #[arg(
        long,
        value_name = "SECONDS",
        default_value_t = 30,
        requires = "database",
        value_parser = clap::value_parser!(u64).range(1..=3600)
    )]
    lease: u64,
    /// End a plan as failed once the process that works on it has fallen so often before the plan got
    /// any further
    #[arg(
        long,
        value_name = "TIMES",
        default_value_t = 3,
        value_parser = clap::value_parser!(u32).range(1..)
    )]
    lost_runs: u32,
    /// Plans that may wait
    #[arg(long, default_value_t = 1000)]
    queue: u32,
    /// Most MiB of one model file
    #[arg(long, default_value_t = 512, value_parser = clap::value_parser!(u64).range(1..=65_536))]
    max_mesh_mb: u64,
    /// Most triangles of one model
    #[arg(long, default_value_t = 5_000_000)]
    max_triangles: u64,
    /// Most MiB of all model files together
    #[arg(long, default_value_t = 4096, value_parser = clap::value_parser!(u64).range(1..=1_048_576))]
    max_store_mb: u64,
    /// Ended plans that are kept; the oldest is forgotten first
    #[arg(long, default_value_t = 1000)]
    keep_plans: u32,
    /// Days after which an ended plan is forgotten
    #[arg(long, default_value_t = 90, value_parser = clap::value_parser!(u64).range(1..=36_500))]
    keep_days: u64,
    /// Most MiB of requests, plans and checkpoints together
    #[arg(long, default_value_t = 16_384, value_parser = clap::value_parser!(u64).range(1..=1_048_576))]
    max_plans_mb: u64,
    /// Drop an upload that sends less than 16 KiB in so many seconds
    #[arg(long, default_value_t = 30, value_parser = clap::value_parser!(u64).range(1..=3600))]
    upload_idle: u64,
    /// Longest that one upload may take to come, seconds
    #[arg(long, default_value_t = 3600, value_parser = clap::value_parser!(u64).range(1..=86_400))]
    upload_seconds: u64,
    /// Serve a page for the browser too, at the same address
    #[arg(long)]
    page: bool,
    #[command(flatten)]
    pub(super) front: FrontArgs,
}

impl ServeArgs {
    fn database(&self) -> Result<Option<DatabaseConfig>, CliError> {
        let Some(url) = &self.database else {
            if self.workers == Some(0) {
                return Err(CliError::Input(
                    "--workers 0 takes --database: nobody else works on what is in a folder"
                        .to_owned(),
                ));
            }
            return Ok(None);
        };
        let database = DatabaseConfig::new(url, self.database_ca.as_deref())
            .map_err(|fault| CliError::Input(format!("--database: {fault}")))?;
        Ok(Some(database.with_lease(Duration::from_secs(self.lease))))
    }
}

/// Serves until ctrl-c or SIGTERM.
pub fn run(args: &ServeArgs) -> Result<(), CliError> {
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .build()
        .map_err(|error| CliError::Failed(format!("the server could not start: {error}")))?;
    let outcome = runtime.block_on(listen(args));
    // A worker that does not look at its cancel flag must not hold up the way out.
    runtime.shutdown_timeout(Duration::from_secs(1));
    outcome
}

async fn listen(args: &ServeArgs) -> Result<(), CliError> {
    let failed =
        |error: std::io::Error| CliError::Failed(format!("the server could not start: {error}"));
    let front = args.front.front(args.listen).await?;
    let listener = TcpListener::bind(args.listen)
        .await
        .map_err(|error| CliError::Input(format!("--listen {}: {error}", args.listen)))?;
    let database = args.database()?;
    let folder = match &database {
        Some(_) => None,
        None => Some(args.store.clone().or_else(default_folder).ok_or_else(|| {
            CliError::Input(
                "--store is missing, and there is no home folder to take its place".to_owned(),
            )
        })?),
    };
    let processors = std::thread::available_parallelism().map_or(1, std::num::NonZero::get);
    let config = ServeConfig {
        workers: args.workers.map_or_else(|| (processors / 2).max(1), usize::from),
        folder,
        database,
        uploads: UploadRules {
            most_bytes: args.max_mesh_mb << 20,
            most_triangles: args.max_triangles,
            idle: Duration::from_secs(args.upload_idle),
            longest: Duration::from_secs(args.upload_seconds),
            ..UploadRules::default()
        },
        store: StoreLimits {
            model_bytes: args.max_store_mb << 20,
            waiting_jobs: args.queue as usize,
            ended_jobs: args.keep_plans as usize,
            ended_age: Duration::from_secs(86_400 * args.keep_days),
            database_bytes: args.max_plans_mb << 20,
            lost_runs: args.lost_runs,
            ..StoreLimits::default()
        },
        front,
        page: args.page,
    };
    let mut terminate = signal(SignalKind::terminate()).map_err(failed)?;
    let address = listener.local_addr().map_err(failed)?;
    let (tls, tokens) = (config.front.tls.is_some(), config.front.tokens.is_some());
    tracing::info!(%address, tls, tokens, workers = config.workers, "listening");
    if args.page {
        let scheme = if tls { "https" } else { "http" };
        tracing::info!(address = format!("{scheme}://{address}/"), "the page is served");
    }
    let shutdown = async move {
        tokio::select! {
            _ = tokio::signal::ctrl_c() => {}
            _ = terminate.recv() => {}
        }
    };
    serve(config, listener, Arc::new(SolverPlanner), shutdown)
        .await
        .map_err(|error| CliError::Failed(error.to_string()))
}
