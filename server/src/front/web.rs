//! gRPC-Web for viewers in a browser, from pages of known origins only.

use std::future::{Future, ready};
use std::net::IpAddr;
use std::pin::Pin;
use std::str::FromStr;
use std::sync::Arc;
use std::task::{Context, Poll};
use std::time::Duration;

use http::header::{AUTHORIZATION, CONTENT_TYPE, HOST, ORIGIN};
use http::uri::Authority;
use http::{HeaderName, HeaderValue, Method, Request, Response, StatusCode};
use tower_http::cors::{AllowOrigin, CorsLayer};
use tower_layer::Layer;
use tower_service::Service;

/// How long a browser may remember what it was allowed.
const REMEMBERED: Duration = Duration::from_secs(3600);

/// Where a page comes from: scheme, host and port, as browsers send it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Origin(HeaderValue);

/// No origin.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("is no origin: give scheme, host and, if need be, port, like https://viewer.example:8443")]
pub struct NoOrigin;

impl FromStr for Origin {
    type Err = NoOrigin;

    fn from_str(text: &str) -> Result<Self, NoOrigin> {
        let uri: http::Uri = text.parse().map_err(|_| NoOrigin)?;
        let scheme = uri.scheme_str().filter(|scheme| ["http", "https"].contains(scheme));
        let host = uri.authority().filter(|at| !at.as_str().contains('@') && !at.host().is_empty());
        // Browsers write it in small letters and without anything after it, so that it can be
        // compared as it stands.
        match (scheme, host) {
            (Some(scheme), Some(host)) if text == format!("{scheme}://{host}").to_lowercase() => {
                HeaderValue::from_str(text).map(Self).map_err(|_| NoOrigin)
            }
            _ => Err(NoOrigin),
        }
    }
}

/// Answers a browser's question whether a page may call.
pub fn cors(origins: &[Origin]) -> CorsLayer {
    let name = HeaderName::from_static;
    CorsLayer::new()
        .allow_origin(AllowOrigin::list(origins.iter().map(|origin| origin.0.clone())))
        .allow_methods([Method::POST])
        .allow_headers([
            CONTENT_TYPE,
            AUTHORIZATION,
            name("x-grpc-web"),
            name("x-user-agent"),
            name("grpc-timeout"),
            name("x-request-id"),
        ])
        .expose_headers([
            name("grpc-status"),
            name("grpc-message"),
            name("grpc-status-details-bin"),
            name("x-request-id"),
        ])
        .max_age(REMEMBERED)
}

/// Refuses calls from pages of other origins.
///
/// CORS alone leaves that to the browser, and a page whose host name was made to point at this
/// machine is of the same origin to it.
#[derive(Clone)]
pub struct OriginLayer {
    origins: Arc<[Origin]>,
    own: OwnPage,
}

/// Whether the page that this server sends may call, known by the host that its origin and the call name alike.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum OwnPage {
    /// There is none.
    Absent,
    /// It may where the host is a name of this machine's loopback: any other name may have been made to point
    /// here, so that the page is someone else's.
    OnLoopback,
    /// It may, since calls need a token, which a page under another name has not.
    WithToken,
}

impl OriginLayer {
    /// Lets calls from these origins in, those from the server's own page, and those that come from no page.
    pub fn new(origins: &[Origin], own: OwnPage) -> Self {
        Self { origins: origins.into(), own }
    }
}

impl OwnPage {
    fn may_call(self, origin: &HeaderValue, host: Option<&Authority>) -> bool {
        let origin = origin.to_str().ok().and_then(|text| text.parse::<http::Uri>().ok());
        let (Some(from), Some(host)) = (origin.as_ref().and_then(http::Uri::authority), host)
        else {
            return false;
        };
        from == host
            && match self {
                Self::Absent => false,
                Self::OnLoopback => is_loopback(host.host()),
                Self::WithToken => true,
            }
    }
}

fn is_loopback(host: &str) -> bool {
    let bare = host.trim_start_matches('[').trim_end_matches(']');
    host.eq_ignore_ascii_case("localhost")
        || bare.parse::<IpAddr>().is_ok_and(|ip| ip.to_canonical().is_loopback())
}

/// The host that a call names: by HTTP/2 in its address, by HTTP/1.1 in a header.
fn host_of<In>(request: &Request<In>) -> Option<Authority> {
    let named = || request.headers().get(HOST)?.to_str().ok()?.parse().ok();
    request.uri().authority().cloned().or_else(named)
}

impl<S> Layer<S> for OriginLayer {
    type Service = OriginGate<S>;

    fn layer(&self, inner: S) -> OriginGate<S> {
        OriginGate { inner, known: self.clone() }
    }
}

/// See [`OriginLayer`].
#[derive(Clone)]
pub struct OriginGate<S> {
    inner: S,
    known: OriginLayer,
}

impl<S, In, Out> Service<Request<In>> for OriginGate<S>
where
    S: Service<Request<In>, Response = Response<Out>>,
    S::Future: Send + 'static,
    S::Error: Send + 'static,
    Out: Default + Send + 'static,
{
    type Response = Response<Out>;
    type Error = S::Error;
    type Future = Pin<Box<dyn Future<Output = Result<Response<Out>, S::Error>> + Send>>;

    fn poll_ready(&mut self, context: &mut Context<'_>) -> Poll<Result<(), S::Error>> {
        self.inner.poll_ready(context)
    }

    fn call(&mut self, request: Request<In>) -> Self::Future {
        let OriginLayer { origins, own } = &self.known;
        let host = host_of(&request);
        let mut sent = request.headers().get_all(ORIGIN).iter();
        if sent.all(|origin| {
            origins.iter().any(|known| known.0 == origin) || own.may_call(origin, host.as_ref())
        }) {
            return Box::pin(self.inner.call(request));
        }
        let mut refused = Response::new(Out::default());
        *refused.status_mut() = StatusCode::FORBIDDEN;
        Box::pin(ready(Ok(refused)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_own_page_calls_under_its_own_name_only() {
        let may = |own: OwnPage, origin: &'static str, host: &str| {
            own.may_call(&HeaderValue::from_static(origin), host.parse().ok().as_ref())
        };
        for (origin, host) in [
            ("http://127.0.0.1:50151", "127.0.0.1:50151"),
            ("http://localhost:50151", "localhost:50151"),
            ("https://[::1]:50151", "[::1]:50151"),
        ] {
            assert!(may(OwnPage::OnLoopback, origin, host), "{origin}");
            assert!(may(OwnPage::WithToken, origin, host), "{origin}");
            assert!(!may(OwnPage::Absent, origin, host), "{origin}");
        }
        // A name that was made to point here, and pages of other hosts and ports.
        assert!(!may(OwnPage::OnLoopback, "http://evil.example:50151", "evil.example:50151"));
        assert!(may(OwnPage::WithToken, "https://cuts.example", "cuts.example"));
        for origin in ["null", "http://127.0.0.1", "http://127.0.0.1:8080", "http://evil.example"] {
            assert!(!may(OwnPage::OnLoopback, origin, "127.0.0.1:50151"), "{origin}");
            assert!(!may(OwnPage::WithToken, origin, "127.0.0.1:50151"), "{origin}");
        }
    }

    #[test]
    fn origins_are_scheme_host_and_port() {
        for good in ["https://viewer.example", "http://localhost:5173", "http://[::1]:8080"] {
            assert!(Origin::from_str(good).is_ok(), "{good}");
        }
        for bad in [
            "*",
            "null",
            "",
            "viewer.example",
            "https://",
            "https://viewer.example/",
            "ftp://a.example",
            "https://Viewer.example",
            "https://a@viewer.example",
            "https://viewer.example/page",
        ] {
            assert_eq!(Origin::from_str(bad), Err(NoOrigin), "{bad}");
        }
    }
}
