//! What every call passes on its way in: its name in the log, the caller's token, the deadline.

use std::collections::HashSet;
use std::future::{Future, poll_fn};
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll};

use http::header::AUTHORIZATION;
use http::{HeaderMap, HeaderValue, Request, Response};
use tonic::body::Body;
use tonic::{Code, Status};
use tower_layer::Layer;
use tower_service::Service;
use tracing::Instrument as _;

use super::access::Needs;
use super::call::{Record, timeout, too_late};
use super::incoming::Peer;
use super::metrics::Metrics;
use super::tokens::{Caller, TokenBook};
use crate::refusal::refusal;

/// The metadata that names a call, both ways.
const REQUEST_ID: &str = "x-request-id";
/// Longest name of a call that is taken over from the caller.
const LONGEST_ID: usize = 64;

/// How prost begins what it says of bytes that are no message.
const UNDECODABLE: &str = "failed to decode Protobuf message";

/// Puts a [`Gate`] before a service.
#[derive(Clone)]
pub struct GateLayer {
    rules: Arc<Rules>,
}

struct Rules {
    tokens: Option<Arc<TokenBook>>,
    metrics: Arc<Metrics>,
    methods: HashSet<String>,
}

impl GateLayer {
    /// A gate for callers with these tokens, or for anyone. `methods` are the paths that are counted
    /// by their name; any other path is counted as one, so that nobody can fill the memory with
    /// names of their own.
    pub fn new(
        tokens: Option<Arc<TokenBook>>,
        metrics: Arc<Metrics>,
        methods: HashSet<String>,
    ) -> Self {
        Self { rules: Arc::new(Rules { tokens, metrics, methods }) }
    }
}

impl<S> Layer<S> for GateLayer {
    type Service = Gate<S>;

    fn layer(&self, inner: S) -> Gate<S> {
        Gate { inner, rules: Arc::clone(&self.rules) }
    }
}

/// Lets calls in, or answers in place of the service behind.
#[derive(Clone)]
pub struct Gate<S> {
    inner: S,
    rules: Arc<Rules>,
}

impl Rules {
    fn admit(&self, path: &str, authorization: Option<&HeaderValue>) -> Result<Caller, Status> {
        let needs = Needs::of(path);
        let tokens = match &self.tokens {
            Some(tokens) if needs != Needs::Nothing => tokens,
            _ => return Ok(Caller::default()),
        };
        let caller = tokens.caller(authorization.map(HeaderValue::as_bytes))?;
        tracing::Span::current().record("token", caller.name());
        caller.count_call()?;
        needs.check(&caller)?;
        Ok(caller)
    }
}

impl<S> Service<Request<Body>> for Gate<S>
where
    S: Service<Request<Body>, Response = Response<Body>>,
    S::Future: Send + 'static,
    S::Error: Send + 'static,
{
    type Response = Response<Body>;
    type Error = S::Error;
    type Future = Pin<Box<dyn Future<Output = Result<Response<Body>, S::Error>> + Send>>;

    fn poll_ready(&mut self, context: &mut Context<'_>) -> Poll<Result<(), S::Error>> {
        self.inner.poll_ready(context)
    }

    fn call(&mut self, mut request: Request<Body>) -> Self::Future {
        let peer = request.extensions().get::<Peer>().cloned();
        let under_way = peer.as_ref().map(Peer::begin_call);
        let path = request.uri().path();
        let method = if self.rules.methods.contains(path) {
            path.trim_start_matches('/')
        } else {
            "unknown"
        };
        let id = request_id(request.headers());
        let span = tracing::info_span!(
            "call",
            id,
            method,
            peer = peer.and_then(|peer| peer.address).map(tracing::field::display),
            trace = trace_id(request.headers()),
            token = tracing::field::Empty,
        );
        let quiet = Needs::of(path) == Needs::Nothing;
        let metrics = Arc::clone(&self.rules.metrics);
        let mut record = Record::new(metrics, method.to_owned(), span.clone(), quiet, under_way);

        // Nothing behind the gate sees the token.
        let authorization = request.headers_mut().remove(AUTHORIZATION);
        let admitted = span.in_scope(|| {
            if let Some(timeout) = timeout(request.headers())? {
                record.set_timeout(timeout);
            }
            self.rules.admit(request.uri().path(), authorization.as_ref())
        });
        let deadline = record.timer();
        match admitted {
            Err(status) => {
                let response = named(status.into_http(), &id);
                Box::pin(std::future::ready(Ok(record.follow(response, deadline))))
            }
            Ok(caller) => {
                request.extensions_mut().insert(caller);
                let answer = span.in_scope(|| self.inner.call(request));
                Box::pin(in_time(answer, record, deadline, id).instrument(span))
            }
        }
    }
}

/// Waits for the answer, but no longer than the caller does.
async fn in_time<E>(
    answer: impl Future<Output = Result<Response<Body>, E>>,
    record: Record,
    mut deadline: super::call::Deadline,
    id: String,
) -> Result<Response<Body>, E> {
    let mut answer = Box::pin(answer);
    let response = poll_fn(|context| match answer.as_mut().poll(context) {
        Poll::Ready(answer) => Poll::Ready(answer),
        Poll::Pending if deadline.poll_passed(context) => Poll::Ready(Ok(too_late().into_http())),
        Poll::Pending => Poll::Pending,
    })
    .await?;
    // If it came too late the work ends here.
    drop(answer);
    Ok(record.follow(named(of_the_caller(response), &id), deadline))
}

/// What is said of a request that is no message of the protocol, such as a text that is no UTF-8: tonic
/// calls that INTERNAL, but the fault is the caller's. The only way to tell is by its words.
fn of_the_caller(response: Response<Body>) -> Response<Body> {
    let told = Status::from_header_map(response.headers());
    match told {
        Some(status)
            if status.code() == Code::Internal && status.message().starts_with(UNDECODABLE) =>
        {
            let words = format!("the request is no message of this protocol: {}", status.message());
            refusal(Code::InvalidArgument, "NO_MESSAGE", words).into_http()
        }
        Some(status) if status.code() == Code::Unimplemented && status.details().is_empty() => {
            let words =
                "there is no such call: see the service's reflection for those that there are";
            refusal(Code::Unimplemented, "NO_SUCH_CALL", words).into_http()
        }
        _ => response,
    }
}

fn named(mut response: Response<Body>, id: &str) -> Response<Body> {
    if let Ok(id) = HeaderValue::from_str(id) {
        response.headers_mut().insert(REQUEST_ID, id);
    }
    response
}

/// The caller's own name for the call when it is fit for a log, or a new one.
fn request_id(headers: &HeaderMap) -> String {
    let fits = |text: &&str| {
        (1..=LONGEST_ID).contains(&text.len())
            && text.bytes().all(|byte| byte.is_ascii_alphanumeric() || b"-_.".contains(&byte))
            // A token in the wrong place must not get into the log.
            && !text.starts_with("slw_")
    };
    headers
        .get(REQUEST_ID)
        .and_then(|value| value.to_str().ok())
        .filter(fits)
        .map_or_else(|| uuid::Uuid::new_v4().to_string(), str::to_owned)
}

/// The trace that a call belongs to (W3C Trace Context, "traceparent").
fn trace_id(headers: &HeaderMap) -> Option<&str> {
    let parent = headers.get("traceparent")?.to_str().ok()?;
    let id = parent.split('-').nth(1)?;
    (id.len() == 32 && id.bytes().all(|byte| byte.is_ascii_hexdigit())).then_some(id)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_from_outside_are_taken_only_when_fit_for_a_log() {
        let named = |name: &str, value: &str| {
            let mut headers = HeaderMap::new();
            headers.insert(
                http::HeaderName::from_bytes(name.as_bytes()).expect("a name"),
                value.parse().expect("a value"),
            );
            headers
        };
        assert_eq!(request_id(&named(REQUEST_ID, "bench-17.a")), "bench-17.a");
        for unfit in ["", "a b", "a\"b", "slw_0123", &"x".repeat(65)] {
            assert_eq!(request_id(&named(REQUEST_ID, unfit)).len(), 36, "{unfit:?}");
        }
        // The example of the recommendation.
        let parent = "00-0af7651916cd43dd8448eb211c80319c-b7ad6b7169203331-01";
        let traced = named("traceparent", parent);
        assert_eq!(trace_id(&traced), Some("0af7651916cd43dd8448eb211c80319c"));
        assert_eq!(trace_id(&named("traceparent", "00-xyz-1-01")), None);
    }
}
