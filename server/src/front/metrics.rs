//! What the service counts, in the text form that Prometheus reads.
//!
//! Every server has a registry of its own, so that two in one process do not mix.

use std::time::Duration;

use prometheus_client::encoding::{EncodeLabelSet, prometheus_text};
use prometheus_client::metrics::counter::Counter;
use prometheus_client::metrics::family::Family;
use prometheus_client::metrics::gauge::Gauge;
use prometheus_client::metrics::histogram::Histogram;
use prometheus_client::registry::Registry;
/// Upper ends of the buckets of a call's length, seconds: a look-up takes under a millisecond, a
/// watch goes on for minutes.
const CALL_SECONDS: [f64; 10] = [0.001, 0.005, 0.02, 0.1, 0.5, 2.0, 10.0, 60.0, 600.0, 3600.0];
/// Upper ends of the buckets of a plan's length, seconds.
const PLAN_SECONDS: [f64; 8] = [1.0, 3.0, 10.0, 30.0, 60.0, 120.0, 300.0, 900.0];

/// Method of a call, and the code that it ended with.
#[derive(Clone, Debug, PartialEq, Eq, Hash, EncodeLabelSet)]
struct Ended {
    method: String,
    code: &'static str,
}

#[derive(Clone, Debug, PartialEq, Eq, Hash, EncodeLabelSet)]
struct Method {
    method: String,
}

#[derive(Clone, Debug, PartialEq, Eq, Hash, EncodeLabelSet)]
struct Outcome {
    outcome: &'static str,
}

#[derive(Clone, Debug, PartialEq, Eq, Hash, EncodeLabelSet)]
struct State {
    state: String,
}

/// What is kept at this moment.
#[derive(Clone, Debug, Default)]
pub struct Stock {
    /// Number of jobs in each state, by the state's name.
    pub jobs: Vec<(String, u64)>,
    /// Jobs that wait for a worker.
    pub queued: u64,
    /// Models.
    pub models: u64,
    /// Bytes of their files.
    pub model_bytes: u64,
}

/// The counters of one server.
#[derive(Debug)]
pub struct Metrics {
    registry: Registry,
    calls: Family<Ended, Counter>,
    call_seconds: Family<Method, Histogram, fn() -> Histogram>,
    open_calls: Gauge,
    pub(super) connections: Gauge,
    plans: Family<Outcome, Counter>,
    plan_seconds: Histogram,
    token_reloads: Family<Outcome, Counter>,
    jobs: Family<State, Gauge>,
    queued: Gauge,
    models: Gauge,
    model_bytes: Gauge,
}

impl Default for Metrics {
    fn default() -> Self {
        let mut registry = Registry::with_prefix("slitwright");
        let calls = Family::default();
        registry.register("calls", "Calls that ended, by method and code", calls.clone());
        let call_seconds =
            Family::new_with_constructor((|| Histogram::new(CALL_SECONDS)) as fn() -> Histogram);
        registry.register(
            "call_seconds",
            "Lengths of calls, to the end of a stream",
            call_seconds.clone(),
        );
        let plans = Family::default();
        registry.register("plans", "Plans that workers came back from, by outcome", plans.clone());
        let plan_seconds = Histogram::new(PLAN_SECONDS);
        registry.register(
            "plan_seconds",
            "Time that workers took for a plan",
            plan_seconds.clone(),
        );
        let token_reloads = Family::default();
        registry.register(
            "token_reloads",
            "Times that the tokens' file was read again",
            token_reloads.clone(),
        );
        let jobs = Family::default();
        registry.register("jobs", "Jobs that are kept, by state", jobs.clone());
        let mut gauge = |name: &str, help: &str| {
            let gauge: Gauge = Gauge::default();
            registry.register(name, help, gauge.clone());
            gauge
        };
        let open_calls = gauge("open_calls", "Calls under way, streams among them");
        let connections = gauge("connections", "Open connections");
        let queued = gauge("queue_length", "Jobs that wait for a worker");
        let models = gauge("models", "Models that are kept");
        let model_bytes = gauge("model_bytes", "Bytes of the files of models that are kept");
        Self {
            registry,
            calls,
            call_seconds,
            open_calls,
            connections,
            plans,
            plan_seconds,
            token_reloads,
            jobs,
            queued,
            models,
            model_bytes,
        }
    }
}

impl Metrics {
    /// A call began.
    pub fn call_begins(&self) {
        self.open_calls.inc();
    }

    /// A call ended.
    pub fn call_ends(&self, method: &str, code: tonic::Code, took: Duration) {
        self.open_calls.dec();
        let ended = Ended { method: method.to_owned(), code: code_name(code) };
        self.calls.get_or_create(&ended).inc();
        self.call_seconds
            .get_or_create(&Method { method: method.to_owned() })
            .observe(took.as_secs_f64());
    }

    /// A worker came back from a plan.
    pub fn plan_ends(&self, outcome: &'static str, took: Duration) {
        self.plans.get_or_create(&Outcome { outcome }).inc();
        self.plan_seconds.observe(took.as_secs_f64());
    }

    pub(super) fn tokens_read(&self, outcome: &'static str) {
        self.token_reloads.get_or_create(&Outcome { outcome }).inc();
    }

    /// Everything, as text.
    pub fn text(&self, stock: Stock) -> Result<String, std::fmt::Error> {
        let whole = |count: u64| i64::try_from(count).unwrap_or(i64::MAX);
        // A state that nobody is in any more has to go back to 0.
        self.jobs.clear();
        for (state, count) in stock.jobs {
            self.jobs.get_or_create(&State { state }).set(whole(count));
        }
        self.queued.set(whole(stock.queued));
        self.models.set(whole(stock.models));
        self.model_bytes.set(whole(stock.model_bytes));
        let mut text = String::new();
        prometheus_text::encode(&mut text, &self.registry)?;
        Ok(text)
    }
}

/// The code as the protocol spells it.
pub fn code_name(code: tonic::Code) -> &'static str {
    use tonic::Code::*;
    match code {
        Ok => "OK",
        Cancelled => "CANCELLED",
        Unknown => "UNKNOWN",
        InvalidArgument => "INVALID_ARGUMENT",
        DeadlineExceeded => "DEADLINE_EXCEEDED",
        NotFound => "NOT_FOUND",
        AlreadyExists => "ALREADY_EXISTS",
        PermissionDenied => "PERMISSION_DENIED",
        ResourceExhausted => "RESOURCE_EXHAUSTED",
        FailedPrecondition => "FAILED_PRECONDITION",
        Aborted => "ABORTED",
        OutOfRange => "OUT_OF_RANGE",
        Unimplemented => "UNIMPLEMENTED",
        Internal => "INTERNAL",
        Unavailable => "UNAVAILABLE",
        DataLoss => "DATA_LOSS",
        Unauthenticated => "UNAUTHENTICATED",
    }
}
