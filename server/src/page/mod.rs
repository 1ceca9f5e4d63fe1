//! The page in the browser: its files, built into the program, and the headers that they go out with.
//!
//! The page speaks gRPC-Web to the service behind it, like any other page, and has no way in of its own: the
//! files are public, what they show is asked for by calls, which carry a token where the service wants one.

mod schema;

use std::collections::HashMap;
use std::future::{Future, ready};
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll};

use axum::body::Bytes;
use http::header::{CACHE_CONTROL, CONTENT_TYPE, ETAG, IF_NONE_MATCH};
use http::{HeaderName, HeaderValue, Method, Request, Response, StatusCode};
use sha2::{Digest as _, Sha256};
use tonic::body::Body;
use tower_layer::Layer;
use tower_service::Service;

use crate::front::Peer;

const HTML: &str = "text/html; charset=utf-8";
const SCRIPT: &str = "text/javascript; charset=utf-8";
const STYLE: &str = "text/css; charset=utf-8";
const DRAWING: &str = "image/svg+xml";
const TEXT: &str = "text/plain; charset=utf-8";

/// Path of the table of messages, which is made at the start.
const SCHEMA: &str = "/page/schema.js";

/// A file of the page: its path below the root, its media type, and what is in it.
macro_rules! file {
    ($path:literal, $kind:expr, $name:literal) => {
        ($path, $kind, include_bytes!(concat!("../../page/", $name)).as_slice())
    };
    ($kind:expr, $name:literal) => {
        file!($name, $kind, $name)
    };
}

const FILES: [(&str, &str, &[u8]); 35] = [
    file!("", HTML, "index.html"),
    file!(STYLE, "page.css"),
    file!(STYLE, "plan.css"),
    file!(STYLE, "layout.css"),
    file!(DRAWING, "icon.svg"),
    file!(SCRIPT, "main.js"),
    file!(SCRIPT, "dom.js"),
    file!(SCRIPT, "words.js"),
    file!(SCRIPT, "protobuf.js"),
    file!(SCRIPT, "wire.js"),
    file!(SCRIPT, "service.js"),
    file!(SCRIPT, "mesh.js"),
    file!(SCRIPT, "glb.js"),
    file!(SCRIPT, "turning.js"),
    file!(SCRIPT, "labels.js"),
    file!(SCRIPT, "view3d.js"),
    file!(SCRIPT, "stage.js"),
    file!(SCRIPT, "marks.js"),
    file!(SCRIPT, "model.js"),
    file!(SCRIPT, "mending.js"),
    file!(SCRIPT, "request.js"),
    file!(SCRIPT, "areas.js"),
    file!(SCRIPT, "base.js"),
    file!(SCRIPT, "outline.js"),
    file!(SCRIPT, "outlining.js"),
    file!(SCRIPT, "plan.js"),
    file!(SCRIPT, "shown.js"),
    file!(SCRIPT, "told.js"),
    file!(SCRIPT, "wayout.js"),
    file!(SCRIPT, "files.js"),
    file!(SCRIPT, "jobs.js"),
    file!(SCRIPT, "compare.js"),
    file!(SCRIPT, "draw.js"),
    file!(SCRIPT, "vendor/three.module.min.js"),
    file!(SCRIPT, "vendor/three.core.min.js"),
];

/// What a browser may do with the page: run and show what this server sends, and ask nobody else. Pictures and
/// files of plans are made of bytes that calls brought (`blob:`).
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; \
     connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";

/// Headers of every answer.
const HEADERS: [(&str, &str); 5] = [
    ("content-security-policy", POLICY),
    ("x-content-type-options", "nosniff"),
    ("referrer-policy", "no-referrer"),
    ("cross-origin-opener-policy", "same-origin"),
    ("cross-origin-resource-policy", "same-origin"),
];

/// A file ready to go out.
struct File {
    kind: &'static str,
    /// Changes with what is in it, so that a browser asks for it again only when it has changed.
    tag: HeaderValue,
    bytes: Bytes,
}

impl File {
    fn new(kind: &'static str, bytes: Bytes) -> Self {
        let digest = Sha256::digest(&bytes);
        let tag = digest[..8].iter().fold(u64::default(), |tag, &b| tag << 8 | u64::from(b));
        let quoted = format!("\"{tag:016x}\"");
        let tag = HeaderValue::from_str(&quoted).unwrap_or(HeaderValue::from_static("\"0\""));
        Self { kind, tag, bytes }
    }
}

/// All files by their paths.
fn files() -> Result<HashMap<String, File>, prost::DecodeError> {
    let mut all: HashMap<String, File> = FILES
        .iter()
        .map(|&(name, kind, bytes)| {
            let path = if name.is_empty() { "/".to_owned() } else { format!("/page/{name}") };
            (path, File::new(kind, Bytes::from_static(bytes)))
        })
        .collect();
    all.insert(SCHEMA.to_owned(), File::new(SCRIPT, schema::script()?.into()));
    Ok(all)
}

/// Answers what asks for files, and passes calls on. Without the page it passes on everything.
#[derive(Clone)]
pub(crate) struct PageLayer(Option<Arc<HashMap<String, File>>>);

impl PageLayer {
    /// With the page or without it.
    pub fn new(served: bool) -> Result<Self, prost::DecodeError> {
        Ok(Self(if served { Some(Arc::new(files()?)) } else { None }))
    }
}

impl<S> Layer<S> for PageLayer {
    type Service = Pages<S>;

    fn layer(&self, inner: S) -> Pages<S> {
        Pages { inner, files: self.0.clone() }
    }
}

/// See [`PageLayer`].
#[derive(Clone)]
pub(crate) struct Pages<S> {
    inner: S,
    files: Option<Arc<HashMap<String, File>>>,
}

impl<S, In> Service<Request<In>> for Pages<S>
where
    S: Service<Request<In>, Response = Response<Body>>,
    S::Future: Send + 'static,
    S::Error: Send + 'static,
{
    type Response = Response<Body>;
    type Error = S::Error;
    type Future = Pin<Box<dyn Future<Output = Result<Response<Body>, S::Error>> + Send>>;

    fn poll_ready(&mut self, context: &mut Context<'_>) -> Poll<Result<(), S::Error>> {
        self.inner.poll_ready(context)
    }

    fn call(&mut self, request: Request<In>) -> Self::Future {
        // Calls are POST, and so is a browser's question whether it may call OPTIONS.
        let asks = request.method() == Method::GET || request.method() == Method::HEAD;
        match &self.files {
            Some(files) if asks => {
                // A connection that brought the page is no longer one that says nothing.
                let _asked = request.extensions().get::<Peer>().map(Peer::begin_call);
                Box::pin(ready(Ok(answer(files, &request))))
            }
            _ => Box::pin(self.inner.call(request)),
        }
    }
}

fn answer<In>(files: &HashMap<String, File>, request: &Request<In>) -> Response<Body> {
    let body = |bytes: Bytes| match *request.method() == Method::HEAD {
        true => Body::empty(),
        false => Body::new(axum::body::Body::from(bytes)),
    };
    let Some(file) = files.get(request.uri().path()) else {
        let words = Bytes::from_static(b"There is nothing here. The page is at /.\n");
        return with_headers(StatusCode::NOT_FOUND, TEXT, body(words));
    };
    let known = request.headers().get(IF_NONE_MATCH).is_some_and(|tag| tag == file.tag);
    let mut response = match known {
        true => with_headers(StatusCode::NOT_MODIFIED, file.kind, Body::empty()),
        false => with_headers(StatusCode::OK, file.kind, body(file.bytes.clone())),
    };
    response.headers_mut().insert(ETAG, file.tag.clone());
    response
}

fn with_headers(status: StatusCode, kind: &'static str, body: Body) -> Response<Body> {
    let mut response = Response::new(body);
    *response.status_mut() = status;
    let headers = response.headers_mut();
    headers.insert(CONTENT_TYPE, HeaderValue::from_static(kind));
    // Kept, but never shown without asking whether it is still what the program has.
    headers.insert(CACHE_CONTROL, HeaderValue::from_static("no-cache"));
    for (name, value) in HEADERS {
        headers.insert(HeaderName::from_static(name), HeaderValue::from_static(value));
    }
    response
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Names of modules after `from` and `import`, and of what the page's head asks for.
    fn named(text: &str) -> Vec<&str> {
        let marks = ["from \"", "from\"", "import \"", "import(\"", "src=\"", "href=\""];
        let after = marks.iter().flat_map(|mark| text.split(mark).skip(1));
        after
            .filter_map(|rest| rest.split('"').next())
            .filter(|name| {
                name.ends_with(".js") || name.ends_with(".css") || name.ends_with(".svg")
            })
            .collect()
    }

    /// What a file of the page asks for is there: each name is a path from the root, or one from the folder
    /// of the file that names it.
    #[test]
    fn every_file_that_the_page_names_is_served() {
        let files = files().expect("the protocol's own descriptors");
        let mut checked = 0;
        for (path, file) in files.iter().filter(|(_, file)| file.kind != DRAWING) {
            let text = std::str::from_utf8(&file.bytes).expect("text");
            let folder = path.rsplit_once('/').map_or("", |(folder, _)| folder);
            for name in named(text) {
                let whole = match name.strip_prefix("./") {
                    Some(own) => format!("{folder}/{own}"),
                    None => name.to_owned(),
                };
                assert!(files.contains_key(&whole), "{path} asks for {name}");
                checked += 1;
            }
        }
        assert!(checked > 30, "{checked} names were found");
    }

    /// The policy forbids what is written into the page itself.
    #[test]
    fn no_script_or_style_stands_in_the_page() {
        let page = include_str!("../../page/index.html");
        assert!(!page.contains("<style") && !page.contains("style=\""));
        assert!(
            page.split("<script").skip(1).all(|rest| rest.starts_with(" type=\"module\" src="))
        );
        assert!(!POLICY.contains("unsafe"));
    }
}
