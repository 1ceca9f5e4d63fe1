//! The server: listening, the services side by side, and going down in good order.

use std::collections::HashSet;
use std::future::Future;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

use prost::Message as _;
use slitwright_proto::FILE_DESCRIPTOR_SET;
use slitwright_proto::v1::JobState;
use slitwright_proto::v1::cut_planner_server::CutPlannerServer;
use tokio::net::TcpListener;
use tokio::task::JoinSet;
use tonic::server::NamedService;
use tonic::transport::Server;
use tonic_health::ServingStatus;
use tonic_health::server::HealthReporter;
use tonic_web::GrpcWebLayer;

use crate::front::{
    CountedPlanner, DrainLayer, Front, GateLayer, Metrics, OriginLayer, OwnPage, Room, Scrape,
    Stock, answer_scrapes, cors, incoming, keep_up,
};
use crate::grpc::{Service, UploadRules};
use crate::jobs::{Hub, Workers};
use crate::page::PageLayer;
use crate::planner::Planner;
use crate::store::{
    DatabaseConfig, Folder, FolderFiles, Ledger, ModelFiles, Models, PostgresLedger, StoreError,
    StoreLimits,
};

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

/// How often ended plans are looked through for those that are too old.
const TIDY: Duration = Duration::from_secs(3600);

/// How often it is seen whether the store can be written.
const PULSE: Duration = Duration::from_secs(5);

/// How to serve.
#[derive(Debug)]
pub struct ServeConfig {
    /// Plans worked on at the same time; a quick one may run beside them. None at all: only calls are
    /// answered, which makes sense where others share the database.
    pub workers: usize,
    /// Limits of uploads.
    pub uploads: UploadRules,
    /// Folder of the store. `None`: one that goes when the server does.
    pub folder: Option<PathBuf>,
    /// A database that several processes share, in place of the folder.
    pub database: Option<DatabaseConfig>,
    /// Limits of what is kept.
    pub store: StoreLimits,
    /// What stands between the network and the service.
    pub front: Front,
    /// Whether the page in the browser is served beside the service.
    pub page: bool,
}

impl Default for ServeConfig {
    fn default() -> Self {
        Self {
            workers: 1,
            uploads: UploadRules::default(),
            folder: None,
            database: None,
            store: StoreLimits::default(),
            front: Front::default(),
            page: false,
        }
    }
}

/// The server could not start or had to stop.
#[derive(Debug, thiserror::Error)]
pub enum ServeError {
    /// The store could not be opened.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// Opening the store ended by a panic.
    #[error("opening the store stopped on a fault of the program: please report it")]
    Panic,
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

/// Serves on `listener` until `shutdown` is ready, then stores where running plans are, tells who
/// watches them, and returns.
pub async fn serve(
    config: ServeConfig,
    listener: TcpListener,
    planner: Arc<dyn Planner>,
    shutdown: impl Future<Output = ()> + Send + 'static,
) -> Result<(), ServeError> {
    let Front {
        tls,
        tokens,
        web_origins,
        connections: most,
        per_address,
        first_call,
        idle,
        metrics: metrics_at,
    } = config.front;
    let room = Room { most, per_address, first_call, idle };
    let metrics = Arc::new(Metrics::default());
    let planner: Arc<dyn Planner> =
        Arc::new(CountedPlanner { inner: planner, metrics: Arc::clone(&metrics) });
    let opening = {
        let (limits, workers) = (config.store, config.workers);
        let (folder, database) = (config.folder, config.database);
        let planner = Arc::clone(&planner);
        tokio::task::spawn_blocking(move || {
            let kept = match database {
                Some(database) => Kept::in_database(database, limits)?,
                None => Kept::in_folder(folder, limits)?,
            };
            open(kept, limits, workers, planner)
        })
    };
    let Opened { _place, ledger, models, workers, hub } =
        opening.await.map_err(|_| ServeError::Panic)??;
    let planning = CutPlannerServer::new(Service::new(
        Arc::clone(&ledger),
        models,
        Arc::clone(&workers),
        hub,
        planner,
        config.uploads,
        config.store,
    )?)
    .max_decoding_message_size(MESSAGE);
    let (health_reporter, health) = tonic_health::server::health_reporter();
    health_reporter.set_serving::<CutPlannerServer<Service>>().await;
    let reflection = tonic_reflection::server::Builder::configure()
        .register_encoded_file_descriptor_set(FILE_DESCRIPTOR_SET)
        .register_encoded_file_descriptor_set(tonic_health::pb::FILE_DESCRIPTOR_SET)
        .build_v1()?;
    // Tools of before 2023 ask for reflection by its older name.
    let older_reflection = tonic_reflection::server::Builder::configure()
        .register_encoded_file_descriptor_set(FILE_DESCRIPTOR_SET)
        .register_encoded_file_descriptor_set(tonic_health::pb::FILE_DESCRIPTOR_SET)
        .build_v1alpha()?;

    let (down, mut going_down) = tokio::sync::watch::channel(false);
    let (go, going) = tokio::sync::watch::channel(false);
    let signal = {
        let workers = Arc::clone(&workers);
        let health_reporter = health_reporter.clone();
        async move {
            shutdown.await;
            tracing::info!("shutting down");
            // Nobody listens when serving has ended by itself already.
            let _ = go.send(true);
            tell_all(&health_reporter, ServingStatus::NotServing).await;
            // On a thread that may wait: a worker may be at the store.
            let closed = tokio::task::spawn_blocking(move || workers.close()).await;
            if closed.is_err() {
                tracing::error!("the workers could not be told to stop");
            }
            // Nobody listens when serving has ended by itself already.
            let _ = down.send(true);
        }
    };
    // Ends with this function, however that ends.
    let mut beside = JoinSet::new();
    beside.spawn(tidy(Arc::clone(&ledger)));
    beside.spawn(tell_health(Arc::clone(&ledger), health_reporter, going));
    if let Some(tokens) = &tokens {
        beside.spawn(keep_up(Arc::clone(tokens), Arc::clone(&metrics)));
    }
    if let Some(at) = metrics_at {
        let ledger = Arc::clone(&ledger);
        let scrape = Scrape {
            metrics: Arc::clone(&metrics),
            stock: Arc::new(move || stock(ledger.as_ref())),
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
        .accept_http1(config.page || !web_origins.is_empty());
    let own_page = match (config.page, &tokens) {
        (false, _) => OwnPage::Absent,
        (true, None) => OwnPage::OnLoopback,
        (true, Some(_)) => OwnPage::WithToken,
    };
    if let Some(tls) = tls {
        server = server.tls_config(tls)?;
    }
    let serving = server
        .layer(DrainLayer)
        .layer(PageLayer::new(config.page)?)
        .layer(cors(&web_origins))
        .layer(OriginLayer::new(&web_origins, own_page))
        .layer(GrpcWebLayer::new())
        .layer(GateLayer::new(tokens, Arc::clone(&metrics), methods()?))
        .add_service(planning)
        .add_service(health)
        .add_service(reflection)
        .add_service(older_reflection)
        .serve_with_incoming_shutdown(incoming(listener, room, metrics), signal);
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
    // Whoever opens the store next finds it whole, whatever still hangs on here.
    if tokio::task::spawn_blocking(move || ledger.close()).await.is_err() {
        tracing::error!("the store could not be closed");
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
        tonic_reflection::pb::v1alpha::FILE_DESCRIPTOR_SET,
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
fn stock(ledger: &dyn Ledger) -> Result<Stock, StoreError> {
    let counts = ledger.counts()?;
    let name =
        |state: JobState| state.as_str_name().trim_start_matches("JOB_STATE_").to_lowercase();
    let queued = counts.jobs.iter().find(|(state, _)| *state == JobState::Queued);
    Ok(Stock {
        queued: queued.map_or(0, |(_, count)| *count),
        jobs: counts.jobs.iter().map(|(state, count)| (name(*state), *count)).collect(),
        models: counts.models,
        model_bytes: counts.model_bytes,
    })
}

/// A folder that is ours as long as these live.
struct Place {
    _folder: Folder,
    _temporary: Option<tempfile::TempDir>,
}

/// Where everything is kept.
struct Kept {
    place: Option<Place>,
    ledger: Arc<dyn Ledger>,
    files: Arc<dyn ModelFiles>,
}

impl Kept {
    fn in_folder(folder: Option<PathBuf>, limits: StoreLimits) -> Result<Self, StoreError> {
        let (temporary, path) = match folder {
            Some(path) => (None, path),
            None => {
                let folder = tempfile::tempdir()
                    .map_err(|error| StoreError::file("making a folder for the store", &error))?;
                let path = folder.path().to_owned();
                (Some(folder), path)
            }
        };
        let folder = Folder::open(&path)?;
        let ledger = Arc::new(folder.ledger(limits)?);
        let files = Arc::new(FolderFiles::new(Arc::clone(&ledger), folder.content()?)?);
        tracing::info!(folder = %path.display(), "the store is open");
        Ok(Self { place: Some(Place { _folder: folder, _temporary: temporary }), ledger, files })
    }

    fn in_database(database: DatabaseConfig, limits: StoreLimits) -> Result<Self, StoreError> {
        let told = database.told();
        let ledger = Arc::new(PostgresLedger::open(database, limits)?);
        tracing::info!(database = told, "the store is open");
        Ok(Self { place: None, files: Arc::<PostgresLedger>::clone(&ledger), ledger })
    }
}

/// The store and those who work on it.
struct Opened {
    _place: Option<Place>,
    ledger: Arc<dyn Ledger>,
    models: Arc<Models>,
    workers: Arc<Workers>,
    hub: Arc<Hub>,
}

/// Lets the work go on that was under way or waited.
fn open(
    kept: Kept,
    limits: StoreLimits,
    places: usize,
    planner: Arc<dyn Planner>,
) -> Result<Opened, ServeError> {
    let Kept { place, ledger, files } = kept;
    let idle = limits.idle_model_bytes;
    let models = Arc::new(Models::new(Arc::clone(&ledger), files, Arc::clone(&planner), idle));
    let forgotten = ledger.forget_old()?;
    let resumed = ledger.recover()?;
    tracing::info!(resumed, forgotten, "the work goes on");
    let hub = Arc::new(Hub::default());
    let workers = Arc::new(
        Workers::start(Arc::clone(&ledger), Arc::clone(&models), Arc::clone(&hub), planner, places)
            .map_err(ServeError::Threads)?,
    );
    Ok(Opened { _place: place, ledger, models, workers, hub })
}

/// Tells whether the store takes what comes, until the service goes down. Never ends.
async fn tell_health(
    ledger: Arc<dyn Ledger>,
    health: HealthReporter,
    mut going: tokio::sync::watch::Receiver<bool>,
) {
    let mut well = true;
    loop {
        tokio::select! {
            // Or it has ended: from here on it tells that it goes down.
            _ = going.wait_for(|&going| going) => return,
            () = tokio::time::sleep(PULSE) => {}
        }
        let asked = Arc::clone(&ledger);
        let writes = tokio::task::spawn_blocking(move || asked.check_writable()).await;
        let now = matches!(writes, Ok(Ok(())));
        if *going.borrow() || now == well {
            continue;
        }
        well = now;
        if well {
            tracing::info!("the store can be written again");
            tell_all(&health, ServingStatus::Serving).await;
        } else {
            tracing::error!(?writes, "the store cannot be written");
            tell_all(&health, ServingStatus::NotServing).await;
        }
    }
}

/// Sets the health of the process and of the service in it, which are one.
async fn tell_all(health: &HealthReporter, status: ServingStatus) {
    for service in ["", <CutPlannerServer<Service> as NamedService>::NAME] {
        health.set_service_status(service, status).await;
    }
}

/// Forgets plans as they get too old. Never ends.
async fn tidy(ledger: Arc<dyn Ledger>) {
    loop {
        tokio::time::sleep(TIDY).await;
        let ledger = Arc::clone(&ledger);
        match tokio::task::spawn_blocking(move || ledger.forget_old()).await {
            Ok(Ok(0)) => {}
            Ok(Ok(forgotten)) => tracing::info!(forgotten, "old plans are forgotten"),
            Ok(Err(error)) => tracing::error!(%error, "old plans cannot be forgotten"),
            Err(error) => tracing::error!(%error, "old plans were not looked through"),
        }
    }
}
