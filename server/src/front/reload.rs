//! The tokens' file, looked at again and again.

use std::sync::Arc;
use std::time::Duration;

use tokio::signal::unix::{SignalKind, signal};

use super::metrics::Metrics;
use super::tokens::TokenBook;

/// How often the file is looked at. It is small, so it is read whole: times of change are too
/// coarse, and a file that was replaced may keep its own.
const LOOK: Duration = Duration::from_secs(2);

/// Keeps `tokens` as their file says, at once on SIGHUP, until it is dropped.
pub async fn keep_up(tokens: Arc<TokenBook>, metrics: Arc<Metrics>) {
    let mut hang_up = match signal(SignalKind::hangup()) {
        Ok(signal) => Some(signal),
        Err(error) => {
            tracing::warn!(%error, "SIGHUP is not heard; the tokens' file is still looked at");
            None
        }
    };
    loop {
        let told = async {
            match &mut hang_up {
                Some(signal) => signal.recv().await,
                None => std::future::pending().await,
            }
        };
        tokio::select! {
            _ = told => {}
            () = tokio::time::sleep(LOOK) => {}
        }
        let book = Arc::clone(&tokens);
        match tokio::task::spawn_blocking(move || book.reload()).await {
            Ok(Ok(None)) => {}
            Ok(Ok(Some(count))) => {
                metrics.tokens_read("read");
                tracing::info!(count, "tokens read again");
            }
            Ok(Err(fault)) => {
                metrics.tokens_read("refused");
                tracing::error!(%fault, "the tokens' file is damaged: the tokens before stay in force");
            }
            Err(_) => tracing::error!("reading the tokens' file stopped on a fault of its own"),
        }
    }
}
