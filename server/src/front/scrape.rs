//! The metrics on an address of their own.

use std::sync::Arc;

use axum::Router;
use axum::extract::State;
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use tokio::net::TcpListener;

use super::metrics::{Metrics, Stock};
use super::tokens::{Role, TokenBook};
use crate::store::StoreError;

/// The text form's own media type, with its version.
const TEXT: &str = "text/plain; version=0.0.4; charset=utf-8";

/// What a scrape is answered from.
pub struct Scrape {
    /// The counters.
    pub metrics: Arc<Metrics>,
    /// What is kept, as it is now.
    pub stock: Arc<dyn Fn() -> Result<Stock, StoreError> + Send + Sync>,
    /// Who may scrape; without it anyone who reaches the address.
    pub tokens: Option<Arc<TokenBook>>,
}

/// Answers scrapes at `/metrics` until it is dropped.
pub async fn answer_scrapes(listener: TcpListener, scrape: Scrape) {
    let routes = Router::new().route("/metrics", get(answer)).with_state(Arc::new(scrape));
    if let Err(error) = axum::serve(listener, routes).await {
        tracing::error!(%error, "metrics are no longer served");
    }
}

async fn answer(State(scrape): State<Arc<Scrape>>, headers: HeaderMap) -> Response {
    if let Some(tokens) = &scrape.tokens {
        let sent = headers.get(header::AUTHORIZATION).map(header::HeaderValue::as_bytes);
        match tokens.caller(sent) {
            Ok(caller) if caller.role() == Some(Role::Metrics) => {}
            Ok(_) => {
                let needed = "ask for a token with the role metrics\n";
                return (StatusCode::FORBIDDEN, needed).into_response();
            }
            Err(denied) => {
                return (
                    StatusCode::UNAUTHORIZED,
                    [(header::WWW_AUTHENTICATE, "Bearer")],
                    format!("{denied}\n"),
                )
                    .into_response();
            }
        }
    }
    // The store is a file: to read it may take a while.
    let stock = Arc::clone(&scrape.stock);
    let stock = match tokio::task::spawn_blocking(move || stock()).await {
        Ok(Ok(stock)) => stock,
        Ok(Err(error)) => {
            tracing::error!(%error, "what the store holds could not be counted");
            return StatusCode::SERVICE_UNAVAILABLE.into_response();
        }
        Err(_) => return StatusCode::INTERNAL_SERVER_ERROR.into_response(),
    };
    match scrape.metrics.text(stock) {
        Ok(text) => ([(header::CONTENT_TYPE, TEXT)], text).into_response(),
        Err(error) => {
            tracing::error!(%error, "the metrics could not be written");
            StatusCode::INTERNAL_SERVER_ERROR.into_response()
        }
    }
}
