//! What can go wrong, by kind.

use std::path::PathBuf;
use std::time::Duration;

use tonic::{Code, Status};
use tonic_types::StatusExt;

/// A call did not do what it should.
#[derive(Debug, thiserror::Error)]
pub enum ClientError {
    /// No address.
    #[error("{0} is no address of a server: give one like http://127.0.0.1:50151")]
    Address(String),
    /// The token holds what cannot be sent.
    #[error("the token holds a character that none has: give it as it was printed")]
    MalformedToken,
    /// The token would go over the network in plain text.
    #[error("the token would go to {0} in plain text: use https")]
    PlainToken(String),
    /// Nobody to vouch for the server.
    #[error("https needs the certificate of the authority that vouches for the server")]
    NoAuthority,
    /// Nobody is there, or the two cannot agree on TLS.
    #[error("no connection: {}", with_causes(.0))]
    Connect(tonic::transport::Error),
    /// A file cannot be read.
    #[error("{}: {error}", file.display())]
    File {
        /// The file.
        file: PathBuf,
        /// Why.
        error: std::io::Error,
    },
    /// The server said no.
    #[error(transparent)]
    Refused(#[from] Refusal),
    /// The server was not heard of again.
    #[error("nothing was heard in {tries} tries: {}", last.message())]
    Lost {
        /// Number of tries.
        tries: u32,
        /// The last fault.
        last: Box<Status>,
    },
}

/// Why the server said no.
#[derive(Debug, thiserror::Error)]
pub enum Refusal {
    /// Fields of the request are off.
    #[error("{}", .0.iter().map(ToString::to_string).collect::<Vec<_>>().join("; "))]
    Fields(Vec<FieldFault>),
    /// Without a token that is good.
    #[error("not signed in: {0}")]
    SignIn(String),
    /// The token may not do this.
    #[error("not allowed: {0}")]
    NotAllowed(String),
    /// Something is used up.
    #[error("{message}")]
    Exhausted {
        /// What, and what to do.
        message: String,
        /// When another try may do better, if the server said so.
        retry: Option<Duration>,
    },
    /// There is no such thing.
    #[error("{0}")]
    NotFound(String),
    /// Not as things stand.
    #[error("{0}")]
    NotNow(String),
    /// Any other fault.
    #[error("{}: {}", .0.code(), .0.message())]
    Other(Box<Status>),
}

/// A field that is off.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{field} {fault}")]
pub struct FieldFault {
    /// Its path from the request message.
    pub field: String,
    /// What is wrong and what to do.
    pub fault: String,
}

impl From<Status> for Refusal {
    fn from(status: Status) -> Self {
        let message = status.message().to_owned();
        match status.code() {
            Code::InvalidArgument => match status.get_details_bad_request() {
                Some(bad) => Self::Fields(
                    bad.field_violations
                        .into_iter()
                        .map(|v| FieldFault { field: v.field, fault: v.description })
                        .collect(),
                ),
                None => Self::Other(Box::new(status)),
            },
            Code::Unauthenticated => Self::SignIn(message),
            Code::PermissionDenied => Self::NotAllowed(message),
            Code::ResourceExhausted => Self::Exhausted {
                message,
                retry: status.get_details_retry_info().and_then(|info| info.retry_delay),
            },
            Code::NotFound => Self::NotFound(message),
            Code::FailedPrecondition | Code::AlreadyExists => Self::NotNow(message),
            _ => Self::Other(Box::new(status)),
        }
    }
}

/// An error with what it came from: the transport's own words say next to nothing.
fn with_causes(error: &dyn std::error::Error) -> String {
    let mut text = error.to_string();
    let mut cause = error.source();
    while let Some(error) = cause {
        let words = error.to_string();
        if !text.contains(&words) {
            text = format!("{text}: {words}");
        }
        cause = error.source();
    }
    text
}
