//! The options of `slitwright serve` that guard it.

use std::net::SocketAddr;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

use clap::{Args, ValueEnum};
use tokio::net::TcpListener;

use super::CliError;
use crate::front::tokens::TokenBook;
use crate::front::{Front, Guards, MetricsAt, Origin, TlsFiles, check_listen, check_metrics};

/// How lines of the log look.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum LogForm {
    /// For people.
    Text,
    /// An object a line, for programs.
    Json,
}

/// How the service is guarded.
#[derive(Args)]
pub struct FrontArgs {
    /// File of the tokens that callers need, made by `slitwright token add`. Read again on change
    #[arg(long, value_name = "FILE")]
    tokens: Option<PathBuf>,
    /// The server's certificate and those up to its authority, PEM: speak TLS
    #[arg(long, value_name = "FILE", requires = "tls_key")]
    tls_certificate: Option<PathBuf>,
    /// The key of the certificate, PEM
    #[arg(long, value_name = "FILE", requires = "tls_certificate")]
    tls_key: Option<PathBuf>,
    /// Certificates of authorities, PEM: clients need a certificate of one of them, besides a token
    #[arg(long, value_name = "FILE", requires = "tls_certificate")]
    tls_client_ca: Option<PathBuf>,
    /// Speak plain text beyond loopback: a proxy in front speaks TLS
    #[arg(long, conflicts_with = "tls_certificate")]
    behind_tls_proxy: bool,
    /// Origin of web pages that may call by gRPC-Web, like https://viewer.example; may be repeated
    #[arg(long, value_name = "ORIGIN")]
    web_origin: Vec<Origin>,
    /// Tell metrics to Prometheus at http://ADDRESS/metrics, such as 127.0.0.1:9151
    #[arg(long, value_name = "ADDRESS")]
    metrics: Option<SocketAddr>,
    /// Most connections at a time; for further ones those without a call make room
    #[arg(long, default_value_t = 256, value_parser = clap::value_parser!(u32).range(1..=65_536))]
    max_connections: u32,
    /// Most connections of one address at a time; by default half of all, or all of them behind a proxy,
    /// whose address they share
    #[arg(long, value_name = "COUNT", value_parser = clap::value_parser!(u32).range(1..=65_536))]
    max_connections_per_address: Option<u32>,
    /// Seconds after which a connection without a call is closed
    #[arg(
        long,
        value_name = "SECONDS",
        default_value_t = 300,
        value_parser = clap::value_parser!(u64).range(1..=86_400)
    )]
    idle_connection: u64,
    /// How lines of the log look
    #[arg(long, value_enum, default_value_t = LogForm::Text)]
    pub(super) log: LogForm,
}

impl FrontArgs {
    fn per_address(&self) -> u32 {
        let default = if self.behind_tls_proxy {
            self.max_connections
        } else {
            self.max_connections.div_ceil(2)
        };
        self.max_connections_per_address.unwrap_or(default)
    }

    /// Reads what the options name, for a service that listens at `listen`.
    pub async fn front(&self, listen: SocketAddr) -> Result<Front, CliError> {
        let guards = Guards {
            tokens: self.tokens.is_some(),
            tls: self.tls_certificate.is_some(),
            behind_tls_proxy: self.behind_tls_proxy,
        };
        let exposed = |error: crate::front::Exposed| CliError::Input(error.to_string());
        check_listen(listen, guards).map_err(exposed)?;
        let tls = match (&self.tls_certificate, &self.tls_key) {
            (Some(certificate), Some(key)) => {
                let files = TlsFiles {
                    certificate: certificate.clone(),
                    key: key.clone(),
                    client_authorities: self.tls_client_ca.clone(),
                };
                Some(files.load().map_err(|error| CliError::Input(error.to_string()))?)
            }
            _ => None,
        };
        let tokens = match &self.tokens {
            Some(file) => Some(Arc::new(TokenBook::open(file).map_err(|fault| {
                CliError::Input(format!("--tokens {}: {fault}", file.display()))
            })?)),
            None => None,
        };
        let metrics = match self.metrics {
            Some(address) => {
                check_metrics(address, guards).map_err(exposed)?;
                let listener = TcpListener::bind(address)
                    .await
                    .map_err(|error| CliError::Input(format!("--metrics {address}: {error}")))?;
                let told = listener.local_addr().unwrap_or(address);
                tracing::info!(address = %told, "metrics are served");
                Some(MetricsAt { listener, with_token: !told.ip().to_canonical().is_loopback() })
            }
            None => None,
        };
        Ok(Front {
            tls,
            tokens,
            web_origins: self.web_origin.clone(),
            connections: self.max_connections as usize,
            per_address: self.per_address() as usize,
            idle: Duration::from_secs(self.idle_connection),
            metrics,
            ..Front::default()
        })
    }
}
