//! What stands between the network and the service.
//!
//! On its way in a call passes, in this order: the limits on connections ([`incoming`], [`guests`]), TLS
//! ([`tls`]), the rest of a request that is answered early ([`drained`]), the page's own files ([`crate::page`]), the origin of a page and gRPC-Web ([`web`]), and the gate ([`gate`]): its line in the
//! log and the counters ([`call`], [`metrics`]), the token ([`tokens`], [`access`]), its deadline.

mod access;
mod call;
mod counted;
mod drained;
mod exposure;
mod gate;
mod guests;
mod incoming;
mod metrics;
mod reload;
mod scrape;
mod tls;
pub mod tokens;
mod web;

use std::sync::Arc;
use std::time::Duration;

use tokio::net::TcpListener;
use tonic::transport::ServerTlsConfig;

pub use exposure::{Exposed, Guards, check_listen, check_metrics};
pub use tls::{TlsFault, TlsFiles};
pub use web::{NoOrigin, Origin};

pub(crate) use counted::CountedPlanner;
pub(crate) use drained::DrainLayer;
pub(crate) use gate::GateLayer;
pub(crate) use guests::Room;
pub(crate) use incoming::{Peer, incoming};
pub(crate) use metrics::{Metrics, Stock};
pub(crate) use reload::keep_up;
pub(crate) use scrape::{Scrape, answer_scrapes};
pub(crate) use web::{OriginLayer, OwnPage, cors};

use tokens::TokenBook;

/// How the service is guarded.
#[derive(Debug)]
pub struct Front {
    /// TLS; without it, plain text.
    pub tls: Option<ServerTlsConfig>,
    /// Who may call; without it, anyone.
    pub tokens: Option<Arc<TokenBook>>,
    /// Origins of pages that may call by gRPC-Web. None: no page may.
    pub web_origins: Vec<Origin>,
    /// Most connections at a time.
    pub connections: usize,
    /// Most connections of one address at a time.
    pub per_address: usize,
    /// A connection that carries no call for so long from its beginning is dropped.
    pub first_call: Duration,
    /// So is one without a call for so long since its last one.
    pub idle: Duration,
    /// Where metrics are told.
    pub metrics: Option<MetricsAt>,
}

/// Where metrics are told.
#[derive(Debug)]
pub struct MetricsAt {
    /// The address.
    pub listener: TcpListener,
    /// Whether a scrape needs a token with the role for it.
    pub with_token: bool,
}

impl Default for Front {
    fn default() -> Self {
        Self {
            tls: None,
            tokens: None,
            web_origins: Vec::new(),
            connections: 256,
            per_address: 128,
            first_call: Duration::from_secs(30),
            idle: Duration::from_secs(300),
            metrics: None,
        }
    }
}
