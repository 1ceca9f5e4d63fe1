//! `slitwright serve`.

use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use clap::Args;
use tokio::net::TcpListener;
use tokio::signal::unix::{SignalKind, signal};

use super::CliError;
use super::front::FrontArgs;
use crate::{ServeConfig, SolverPlanner, StoreLimits, UploadRules, serve};

/// How to serve.
#[derive(Args)]
pub struct ServeArgs {
    /// Address and port. Beyond loopback it takes --tokens, and TLS or a proxy that speaks it
    #[arg(long, default_value = "127.0.0.1:50151")]
    listen: SocketAddr,
    /// Plans worked on at the same time; by default one for every two processors
    #[arg(long, value_parser = clap::value_parser!(u16).range(1..=256))]
    workers: Option<u16>,
    /// Plans that may wait
    #[arg(long, default_value_t = 32)]
    queue: u16,
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
    /// Drop an upload that sends nothing for so many seconds
    #[arg(long, default_value_t = 30, value_parser = clap::value_parser!(u64).range(1..=3600))]
    upload_idle: u64,
    #[command(flatten)]
    pub(super) front: FrontArgs,
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
    let processors = std::thread::available_parallelism().map_or(1, std::num::NonZero::get);
    let config = ServeConfig {
        workers: args.workers.map_or_else(|| (processors / 2).max(1), usize::from),
        queue: usize::from(args.queue),
        uploads: UploadRules {
            most_bytes: args.max_mesh_mb << 20,
            most_triangles: args.max_triangles,
            idle: Duration::from_secs(args.upload_idle),
            ..UploadRules::default()
        },
        store: StoreLimits {
            model_bytes: args.max_store_mb << 20,
            ended_jobs: args.keep_plans as usize,
            ..StoreLimits::default()
        },
        front,
    };
    let mut terminate = signal(SignalKind::terminate()).map_err(failed)?;
    let address = listener.local_addr().map_err(failed)?;
    let (tls, tokens) = (config.front.tls.is_some(), config.front.tokens.is_some());
    tracing::info!(%address, tls, tokens, workers = config.workers, "listening");
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
