//! The server: listening, the services side by side, and going down in good order.

use std::future::Future;
use std::sync::Arc;
use std::time::Duration;

use slitwright_proto::FILE_DESCRIPTOR_SET;
use slitwright_proto::v1::cut_planner_server::CutPlannerServer;
use tokio::net::TcpListener;
use tokio_stream::wrappers::TcpListenerStream;
use tonic::transport::Server;

use crate::grpc::{Service, UploadRules};
use crate::jobs::Workers;
use crate::planner::Planner;
use crate::store::{Store, StoreLimits};

/// Most bytes of one message.
const MESSAGE: usize = 4 << 20;
/// How long clients and workers get to finish once the server goes down.
const GRACE: Duration = Duration::from_secs(10);

/// Limits of the service.
#[derive(Clone, Copy, Debug)]
pub struct ServeConfig {
    /// Plans worked on at the same time.
    pub workers: usize,
    /// Plans that may wait.
    pub queue: usize,
    /// Limits of uploads.
    pub uploads: UploadRules,
    /// Limits of what is remembered.
    pub store: StoreLimits,
}

impl Default for ServeConfig {
    fn default() -> Self {
        Self {
            workers: 1,
            queue: 32,
            uploads: UploadRules::default(),
            store: StoreLimits::default(),
        }
    }
}

/// The server could not start or had to stop.
#[derive(Debug, thiserror::Error)]
pub enum ServeError {
    /// Threads could not be started.
    #[error("worker threads could not be started: {0}")]
    Threads(std::io::Error),
    /// The descriptors of the protocol could not be read.
    #[error("the reflection service could not be set up: {0}")]
    Reflection(#[from] tonic_reflection::server::Error),
    /// The connection side failed.
    #[error("the server stopped: {0}")]
    Transport(#[from] tonic::transport::Error),
}

/// Serves on `listener` until `shutdown` is ready, then cancels what is running, lets clients hear
/// of it, and returns.
pub async fn serve(
    config: ServeConfig,
    listener: TcpListener,
    planner: Arc<dyn Planner>,
    shutdown: impl Future<Output = ()> + Send + 'static,
) -> Result<(), ServeError> {
    let store = Arc::new(Store::new(config.store));
    let workers = Arc::new(
        Workers::start(Arc::clone(&planner), config.workers, config.queue)
            .map_err(ServeError::Threads)?,
    );
    let planning = CutPlannerServer::new(Service::new(
        Arc::clone(&store),
        Arc::clone(&workers),
        planner,
        config.uploads,
    ))
    .max_decoding_message_size(MESSAGE);
    let (health_reporter, health) = tonic_health::server::health_reporter();
    health_reporter.set_serving::<CutPlannerServer<Service>>().await;
    let reflection = tonic_reflection::server::Builder::configure()
        .register_encoded_file_descriptor_set(FILE_DESCRIPTOR_SET)
        .register_encoded_file_descriptor_set(tonic_health::pb::FILE_DESCRIPTOR_SET)
        .build_v1()?;

    let (down, mut going_down) = tokio::sync::watch::channel(false);
    let signal = {
        let (store, workers) = (Arc::clone(&store), Arc::clone(&workers));
        async move {
            shutdown.await;
            tracing::info!("shutting down");
            health_reporter.set_not_serving::<CutPlannerServer<Service>>().await;
            workers.close();
            for job in store.active_jobs() {
                workers.cancel(&job);
            }
            // Nobody listens when serving has ended by itself already.
            let _ = down.send(true);
        }
    };
    let serving = Server::builder()
        .concurrency_limit_per_connection(64)
        .http2_keepalive_interval(Some(Duration::from_secs(30)))
        .add_service(planning)
        .add_service(health)
        .add_service(reflection)
        .serve_with_incoming_shutdown(TcpListenerStream::new(listener), signal);
    let too_late = async {
        if going_down.wait_for(|&down| down).await.is_err() {
            std::future::pending::<()>().await;
        }
        tokio::time::sleep(GRACE).await;
    };
    tokio::select! {
        served = serving => served?,
        () = too_late => tracing::warn!("some clients did not finish in time"),
    }
    workers.close();
    let joined = tokio::task::spawn_blocking(move || workers.join());
    if tokio::time::timeout(GRACE, joined).await.is_err() {
        tracing::warn!("a worker did not finish in time");
    }
    Ok(())
}
