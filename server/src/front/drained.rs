//! Takes what a caller still sends of a call that has been answered already.
//!
//! Over HTTP/1.1, which browsers speak to a server without TLS, an answer before the end of the request closes the connection, and
//! what is on its way then resets it (RFC 9112, section 9.6): a browser tells its page of a broken network, and not of the
//! answer, as of a token that may not send models. So the rest is read first, for a while. HTTP/2 does not need it.

use std::convert::Infallible;
use std::future::{Future, poll_fn};
use std::pin::Pin;
use std::task::{Context, Poll};
use std::time::Duration;

use axum::body::Bytes;
use http::{Request, Response, Version};
use http_body::{Body as HttpBody, Frame, SizeHint};
use tokio::sync::oneshot;
use tonic::body::Body;
use tower_layer::Layer;
use tower_service::Service;

/// So long the rest of a request is read, a file of some hundred MB over a fast network; and so long its next piece is waited for:
/// who is asked to wait for an answer may send nothing more. No source.
const PATIENCE: Duration = Duration::from_secs(10);
const SILENCE: Duration = Duration::from_millis(300);

/// Reads requests over HTTP/1.1 to their end before they are answered.
#[derive(Clone, Debug)]
pub(crate) struct DrainLayer;

impl<S> Layer<S> for DrainLayer {
    type Service = Drain<S>;

    fn layer(&self, inner: S) -> Drain<S> {
        Drain(inner)
    }
}

/// See [`DrainLayer`].
#[derive(Clone)]
pub(crate) struct Drain<S>(S);

impl<S, In> Service<Request<In>> for Drain<S>
where
    S: Service<Request<Body>, Response = Response<Body>, Error = Infallible>,
    S::Future: Send + 'static,
    In: HttpBody<Data = Bytes> + Send + Unpin + 'static,
    In::Error: Into<Box<dyn std::error::Error + Send + Sync>>,
{
    type Response = Response<Body>;
    type Error = Infallible;
    type Future = Pin<Box<dyn Future<Output = Result<Response<Body>, Infallible>> + Send>>;

    fn poll_ready(&mut self, context: &mut Context<'_>) -> Poll<Result<(), Infallible>> {
        self.0.poll_ready(context)
    }

    fn call(&mut self, request: Request<In>) -> Self::Future {
        // Who has set a deadline is answered by then.
        let is_in_haste = request.headers().contains_key("grpc-timeout");
        if is_in_haste || request.version() > Version::HTTP_11 {
            return Box::pin(self.0.call(request.map(Body::new)));
        }
        let (back, mut left) = oneshot::channel();
        let given = request.map(|body| Body::new(Given { body: Some(body), back: Some(back) }));
        let answered = self.0.call(given);
        Box::pin(async move {
            let answer = answered.await;
            // Nothing is left of one that was read to its end, and what is still being read is not for us.
            if let Ok(rest) = left.try_recv() {
                let _in_time = tokio::time::timeout(PATIENCE, read_out(rest)).await;
            }
            answer
        })
    }
}

async fn read_out<B: HttpBody + Unpin>(mut body: B) {
    loop {
        let piece = poll_fn(|context| Pin::new(&mut body).poll_frame(context));
        match tokio::time::timeout(SILENCE, piece).await {
            Ok(Some(Ok(_))) => {}
            Ok(Some(Err(_)) | None) | Err(_) => return,
        }
    }
}

/// A body that comes back when it is let go of before its end.
struct Given<B> {
    body: Option<B>,
    back: Option<oneshot::Sender<B>>,
}

impl<B: HttpBody + Unpin> HttpBody for Given<B> {
    type Data = B::Data;
    type Error = B::Error;

    fn poll_frame(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
    ) -> Poll<Option<Result<Frame<B::Data>, B::Error>>> {
        let Some(body) = &mut self.body else { return Poll::Ready(None) };
        let polled = Pin::new(body).poll_frame(context);
        if matches!(polled, Poll::Ready(None | Some(Err(_)))) {
            self.body = None;
        }
        polled
    }

    fn is_end_stream(&self) -> bool {
        self.body.as_ref().is_none_or(HttpBody::is_end_stream)
    }

    fn size_hint(&self) -> SizeHint {
        self.body.as_ref().map_or_else(|| SizeHint::with_exact(0), HttpBody::size_hint)
    }
}

impl<B> Drop for Given<B> {
    fn drop(&mut self) {
        if let (Some(body), Some(back)) = (self.body.take(), self.back.take()) {
            // Whoever called may be gone.
            let _sent = back.send(body);
        }
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;
    use std::sync::atomic::{AtomicUsize, Ordering};

    use super::*;

    /// So many pieces, and how many were taken.
    struct Pieces(usize, Arc<AtomicUsize>);

    impl HttpBody for Pieces {
        type Data = Bytes;
        type Error = Infallible;

        fn poll_frame(
            mut self: Pin<&mut Self>,
            _: &mut Context<'_>,
        ) -> Poll<Option<Result<Frame<Bytes>, Infallible>>> {
            if self.0 == 0 {
                return Poll::Ready(None);
            }
            self.0 -= 1;
            self.1.fetch_add(1, Ordering::Relaxed);
            Poll::Ready(Some(Ok(Frame::data(Bytes::from_static(b"piece")))))
        }
    }

    /// Answers after it has read so many pieces.
    #[derive(Clone)]
    struct Hasty(usize);

    impl Service<Request<Body>> for Hasty {
        type Response = Response<Body>;
        type Error = Infallible;
        type Future = Pin<Box<dyn Future<Output = Result<Response<Body>, Infallible>> + Send>>;

        fn poll_ready(&mut self, _: &mut Context<'_>) -> Poll<Result<(), Infallible>> {
            Poll::Ready(Ok(()))
        }

        fn call(&mut self, request: Request<Body>) -> Self::Future {
            let most = self.0;
            Box::pin(async move {
                let mut body = request.into_body();
                for _ in 0..most {
                    poll_fn(|context| Pin::new(&mut body).poll_frame(context)).await;
                }
                Ok(Response::new(Body::empty()))
            })
        }
    }

    /// A body of which nothing more comes.
    struct Silent;

    impl HttpBody for Silent {
        type Data = Bytes;
        type Error = Infallible;

        fn poll_frame(
            self: Pin<&mut Self>,
            _: &mut Context<'_>,
        ) -> Poll<Option<Result<Frame<Bytes>, Infallible>>> {
            Poll::Pending
        }
    }

    #[tokio::test]
    async fn who_has_set_a_deadline_is_answered_at_once() {
        let count = Arc::new(AtomicUsize::new(0));
        let mut request = Request::new(Pieces(7, Arc::clone(&count)));
        request.headers_mut().insert("grpc-timeout", http::HeaderValue::from_static("50m"));
        DrainLayer.layer(Hasty(2)).call(request).await.expect("an answer");
        assert_eq!(count.load(Ordering::Relaxed), 2);
    }

    #[tokio::test]
    async fn who_sends_nothing_more_is_not_waited_for() {
        let answer = DrainLayer.layer(Hasty(0)).call(Request::new(Silent));
        let in_time = tokio::time::timeout(PATIENCE / 2, answer).await;
        in_time.expect("before all patience is gone").expect("an answer");
    }

    /// An answer that came early goes out when all has come; over HTTP/2 at once.
    #[tokio::test]
    async fn what_is_left_of_a_request_is_read_before_the_answer() {
        for (version, read, taken) in [
            (Version::HTTP_11, 0, 7),
            (Version::HTTP_11, 3, 7),
            (Version::HTTP_11, 8, 7),
            (Version::HTTP_2, 0, 0),
            (Version::HTTP_2, 3, 3),
        ] {
            let count = Arc::new(AtomicUsize::new(0));
            let mut request = Request::new(Pieces(7, Arc::clone(&count)));
            *request.version_mut() = version;
            DrainLayer.layer(Hasty(read)).call(request).await.expect("an answer");
            assert_eq!(count.load(Ordering::Relaxed), taken, "{version:?}, {read} read");
        }
    }
}
