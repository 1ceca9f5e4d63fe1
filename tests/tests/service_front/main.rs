//! What stands between the network and the service, met by real clients over real connections.

#[path = "../service_support/mod.rs"]
mod service_support;

mod client;
mod crowds;
mod metrics;
mod page;
mod proxy;
mod streams;
mod tls;
mod tokens;
mod web;

use std::path::PathBuf;
use std::sync::Arc;

use service_support::Running;
use slitwright_proto::client::{Backoff, Client, ClientError, Settings};
use slitwright_proto::v1;
use slitwright_server::front::Front;
use slitwright_server::front::tokens::{TokenBook, TokenHash};

/// A tokens' file in a folder of its own: name, token, role, further lines.
fn tokens(entries: &[(&str, &str, &str, &str)]) -> (tempfile::TempDir, Arc<TokenBook>) {
    let folder = tempfile::tempdir().expect("a folder");
    let text: String = entries
        .iter()
        .map(|(name, token, role, more)| {
            let hash = TokenHash::of(token);
            format!(
                "[[token]]\nname = \"{name}\"\nsha256 = \"{hash}\"\nrole = \"{role}\"\n{more}\n"
            )
        })
        .collect();
    let book = TokenBook::open(&write(&folder, "tokens.toml", &text)).expect("a good file");
    (folder, Arc::new(book))
}

fn write(folder: &tempfile::TempDir, name: &str, text: &str) -> PathBuf {
    let file = folder.path().join(name);
    std::fs::write(&file, text).expect("written");
    file
}

fn guarded(tokens: Arc<TokenBook>) -> Front {
    Front { tokens: Some(tokens), ..Front::default() }
}

/// Tries that cost a test no time to speak of.
const HASTY: Backoff = Backoff {
    first: std::time::Duration::from_millis(1),
    longest: std::time::Duration::from_millis(20),
    tries: 200,
};

fn settings(server: &Running) -> Settings {
    Settings::new(format!("http://{}", server.address)).backoff(HASTY)
}

async fn connect(server: &Running, token: &str) -> Client {
    Client::connect(settings(server).token(token)).await.expect("connected")
}

/// Sends a plinth as a file.
async fn send_plinth(client: &Client) -> Result<v1::Model, ClientError> {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("plinth.off");
    std::fs::write(&file, service_support::plinth()).expect("written");
    client.upload_file(&file, service_support::header()).await
}

fn request(seed: u64) -> v1::PlanRequest {
    service_support::submission("", seed).request.expect("a request")
}
