//! The server: listening, the services side by side, and going down in good order.

use std::collections::{BTreeMap, HashSet};
use std::future::Future;
use std::sync::Arc;
use std::time::Duration;

use prost::Message as _;
use slitwright_proto::FILE_DESCRIPTOR_SET;
use slitwright_proto::v1::cut_planner_server::CutPlannerServer;
use tokio::net::TcpListener;
use tokio::task::JoinSet;
use tonic::transport::Server;
use tonic_web::GrpcWebLayer;

use crate::front::{
    CountedPlanner, Front, GateLayer, Metrics, OriginLayer, Scrape, Stock, answer_scrapes, cors,
    incoming, keep_up,
};
use crate::grpc::{Service, UploadRules};
use crate::jobs::{WithPlan, Workers};
use crate::planner::Planner;
use crate::store::{Store, StoreLimits};

/// Most bytes of one message.
const MESSAGE: usize = 4 << 20;
/// How long clients and workers get to finish once the server goes down.
const GRACE: Duration = Duration::from_secs(10);
/// Most calls under way on one connection, streams among them.
const STREAMS: u32 = 256;
/// Most bytes of the metadata of one call.
const METADATA: u32 = 16 << 10;
/// How often a silent connection is asked whether it is still there, and how long it may think.
const KEEPALIVE: (Duration, Duration) = (Duration::from_secs(30), Duration::from_secs(20));

/// How to serve.
#[derive(Debug)]
pub struct ServeConfig {
    /// Plans worked on at the same time.
    pub workers: usize,
    /// Plans that may wait.
    pub queue: usize,
    /// Limits of uploads.
    pub uploads: UploadRules,
    /// Limits of what is remembered.
    pub store: StoreLimits,
    /// What stands between the network and the service.
    pub front: Front,
}

impl Default for ServeConfig {
    fn default() -> Self {
        Self {
            workers: 1,
            queue: 32,
            uploads: UploadRules::default(),
            store: StoreLimits::default(),
            front: Front::default(),
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
    /// So could those that calls are counted by.
    #[error("the protocol's descriptors could not be read: {0}")]
    Descriptors(#[from] prost::DecodeError),
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
    let Front { tls, tokens, web_origins, connections, first_call, metrics: metrics_at } =
        config.front;
    let metrics = Arc::new(Metrics::default());
    let planner: Arc<dyn Planner> =
        Arc::new(CountedPlanner { inner: planner, metrics: Arc::clone(&metrics) });
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
    )?)
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
    // Ends with this function, however that ends.
    let mut beside = JoinSet::new();
    if let Some(tokens) = &tokens {
        beside.spawn(keep_up(Arc::clone(tokens), Arc::clone(&metrics)));
    }
    if let Some(at) = metrics_at {
        let store = Arc::clone(&store);
        let scrape = Scrape {
            metrics: Arc::clone(&metrics),
            stock: Box::new(move || stock(&store)),
            tokens: tokens.clone().filter(|_| at.with_token),
        };
        beside.spawn(answer_scrapes(at.listener, scrape));
    }
    let mut server = Server::builder()
        .concurrency_limit_per_connection(64)
        .max_concurrent_streams(STREAMS)
        .http2_max_header_list_size(METADATA)
        .http2_keepalive_interval(Some(KEEPALIVE.0))
        .http2_keepalive_timeout(Some(KEEPALIVE.1))
        .accept_http1(!web_origins.is_empty());
    if let Some(tls) = tls {
        server = server.tls_config(tls)?;
    }
    let serving = server
        .layer(cors(&web_origins))
        .layer(OriginLayer::new(&web_origins))
        .layer(GrpcWebLayer::new())
        .layer(GateLayer::new(tokens, Arc::clone(&metrics), methods()?))
        .add_service(planning)
        .add_service(health)
        .add_service(reflection)
        .serve_with_incoming_shutdown(incoming(listener, connections, first_call, metrics), signal);
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

/// The paths of all methods, by which calls are counted.
fn methods() -> Result<HashSet<String>, prost::DecodeError> {
    let mut methods = HashSet::new();
    for set in [
        FILE_DESCRIPTOR_SET,
        tonic_health::pb::FILE_DESCRIPTOR_SET,
        tonic_reflection::pb::v1::FILE_DESCRIPTOR_SET,
    ] {
        for file in prost_types::FileDescriptorSet::decode(set)?.file {
            for service in &file.service {
                methods.extend(service.method.iter().map(|method| {
                    format!("/{}.{}/{}", file.package(), service.name(), method.name())
                }));
            }
        }
    }
    Ok(methods)
}

/// What the store holds at this moment.
fn stock(store: &Store) -> Stock {
    let mut states = BTreeMap::new();
    for job in store.jobs(0, usize::MAX).0 {
        let state = job.to_proto(WithPlan::No).state().as_str_name();
        *states.entry(state.trim_start_matches("JOB_STATE_").to_lowercase()).or_insert(0) += 1;
    }
    let models = store.models(0, usize::MAX).0;
    Stock {
        queued: states.get("queued").copied().unwrap_or(0),
        jobs: states.into_iter().collect(),
        models: models.len() as u64,
        model_bytes: models.iter().map(|model| model.message.size_bytes).sum(),
    }
}
