//! One call from its first byte to its last: its deadline, its code, its line in the log.

use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll};
use std::time::Duration;

use http::{HeaderMap, Response};
use http_body::{Body as HttpBody, Frame, SizeHint};
use tokio::time::{Instant, Sleep};
use tonic::body::Body;
use tonic::{Code, Status};
use tracing::Span;

use super::guests::CallUnderWay;
use super::metrics::{Metrics, code_name};
use crate::refusal::refusal;

/// Counts and logs a call once it is over: before its last frame goes out, or when it is dropped
/// because nobody waits for that.
pub struct Record {
    metrics: Arc<Metrics>,
    method: String,
    span: Span,
    quiet: bool,
    began: Instant,
    deadline: Option<Instant>,
    code: Option<Code>,
    told: bool,
    /// Until the last frame has gone out the connection is in use.
    _under_way: Option<CallUnderWay>,
}

impl Record {
    /// A call that begins. Health checks are `quiet`: they would fill the log.
    pub fn new(
        metrics: Arc<Metrics>,
        method: String,
        span: Span,
        quiet: bool,
        under_way: Option<CallUnderWay>,
    ) -> Self {
        metrics.call_begins();
        Self {
            metrics,
            method,
            span,
            quiet,
            began: Instant::now(),
            deadline: None,
            code: None,
            told: false,
            _under_way: under_way,
        }
    }

    /// Notes how long the caller waits.
    pub fn set_timeout(&mut self, timeout: Duration) {
        // One too far away to be a moment is none.
        self.deadline = self.began.checked_add(timeout);
    }

    /// A timer that goes off at the deadline.
    pub fn timer(&self) -> Deadline {
        Deadline(self.deadline.map(|at| (at, Box::pin(tokio::time::sleep_until(at)))))
    }

    /// Follows the answer to its end.
    pub fn follow(mut self, response: Response<Body>, deadline: Deadline) -> Response<Body> {
        // An answer without a body carries its code in front.
        self.code = code_in(response.headers());
        if response.body().is_end_stream() {
            return response;
        }
        response.map(|inner| Body::new(CallBody { inner: Some(inner), deadline, record: self }))
    }

    fn tell(&mut self) {
        if std::mem::replace(&mut self.told, true) {
            return;
        }
        let took = self.began.elapsed();
        let late = self.deadline.is_some_and(|deadline| Instant::now() >= deadline);
        // Without a code: nobody waits for the answer any more.
        let code = self.code.unwrap_or(if late { Code::DeadlineExceeded } else { Code::Cancelled });
        self.metrics.call_ends(&self.method, code, took);
        let (code, ms) = (code_name(code), took.as_secs_f64() * 1e3);
        if self.quiet {
            tracing::debug!(parent: &self.span, code, ms, "call ended");
        } else {
            tracing::info!(parent: &self.span, code, ms, "call ended");
        }
    }
}

impl Drop for Record {
    fn drop(&mut self) {
        self.tell();
    }
}

fn code_in(headers: &HeaderMap) -> Option<Code> {
    headers.get("grpc-status").map(|value| Code::from_bytes(value.as_bytes()))
}

/// What a caller hears whose time is up.
pub fn too_late() -> Status {
    let words = "the call's deadline passed before it was done";
    refusal(Code::DeadlineExceeded, "DEADLINE", words)
}

/// The moment until which a caller waits, if it named one.
pub struct Deadline(Option<(Instant, Pin<Box<Sleep>>)>);

impl Deadline {
    /// Whether it has passed. Wakes the task when it does.
    pub fn poll_passed(&mut self, context: &mut Context<'_>) -> bool {
        // The clock is asked as well: tonic has a timer of its own for the same moment, which asks
        // this one first when it goes off, and would answer CANCELLED.
        self.0.as_mut().is_some_and(|(at, timer)| {
            timer.as_mut().poll(context).is_ready() || Instant::now() >= *at
        })
    }
}

/// Reads the `grpc-timeout` metadata: up to eight digits and a unit (gRPC over HTTP/2, "Requests").
pub fn timeout(headers: &HeaderMap) -> Result<Option<Duration>, Status> {
    let Some(value) = headers.get("grpc-timeout") else { return Ok(None) };
    let parsed = value.to_str().ok().and_then(|text| {
        let (digits, unit) = text.split_at_checked(text.len().checked_sub(1)?)?;
        if digits.is_empty() || digits.len() > 8 || !digits.bytes().all(|b| b.is_ascii_digit()) {
            return None;
        }
        let count: u64 = digits.parse().ok()?;
        Some(match unit {
            "H" => Duration::from_secs(count * 3600),
            "M" => Duration::from_secs(count * 60),
            "S" => Duration::from_secs(count),
            "m" => Duration::from_millis(count),
            "u" => Duration::from_micros(count),
            "n" => Duration::from_nanos(count),
            _ => return None,
        })
    });
    parsed.map(Some).ok_or_else(|| {
        let words =
            "the metadata grpc-timeout is malformed: give up to eight digits and a unit, like 500m";
        refusal(Code::InvalidArgument, "BAD_METADATA", words)
    })
}

/// The body of an answer, cut off at the deadline.
struct CallBody {
    inner: Option<Body>,
    deadline: Deadline,
    record: Record,
}

impl HttpBody for CallBody {
    type Data = <Body as HttpBody>::Data;
    type Error = Status;

    fn poll_frame(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
    ) -> Poll<Option<Result<Frame<Self::Data>, Status>>> {
        let this = &mut *self;
        let Some(inner) = &mut this.inner else { return Poll::Ready(None) };
        let span = this.record.span.clone();
        let _in_call = span.enter();
        if this.deadline.poll_passed(context) {
            // With the body goes all that made it.
            this.inner = None;
            this.record.code = Some(Code::DeadlineExceeded);
            this.record.tell();
            let mut trailers = HeaderMap::new();
            let told = too_late().add_header(&mut trailers);
            return Poll::Ready(Some(told.map(|()| Frame::trailers(trailers))));
        }
        let polled = Pin::new(inner).poll_frame(context);
        match &polled {
            Poll::Ready(Some(Ok(frame))) => {
                if let Some(code) = frame.trailers_ref().and_then(code_in) {
                    this.record.code = Some(code);
                    this.record.tell();
                }
            }
            Poll::Ready(Some(Err(status))) => {
                this.record.code = Some(status.code());
                this.record.tell();
            }
            Poll::Ready(None) | Poll::Pending => {}
        }
        polled
    }

    fn is_end_stream(&self) -> bool {
        self.inner.as_ref().is_none_or(HttpBody::is_end_stream)
    }

    fn size_hint(&self) -> SizeHint {
        self.inner.as_ref().map_or_else(|| SizeHint::with_exact(0), |_| SizeHint::default())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Result<Option<Duration>, Code> {
        let mut headers = HeaderMap::new();
        headers.insert("grpc-timeout", text.parse().expect("a header"));
        timeout(&headers).map_err(|status| status.code())
    }

    #[test]
    fn timeouts_are_read_as_the_protocol_writes_them() {
        assert_eq!(timeout(&HeaderMap::new()).expect("none"), None);
        for (text, milliseconds) in [
            ("2H", 7_200_000),
            ("3M", 180_000),
            ("42S", 42_000),
            ("13m", 13),
            ("5000u", 5),
            ("9000000n", 9),
        ] {
            assert_eq!(read(text), Ok(Some(Duration::from_millis(milliseconds))), "{text}");
        }
        assert_eq!(read("99999999H"), Ok(Some(Duration::from_secs(99_999_999 * 3600))));
        for text in ["", "S", "5", "123456789S", "-1S", "1.5S", "5s", "é"] {
            assert_eq!(read(text), Err(Code::InvalidArgument), "{text}");
        }
    }
}
