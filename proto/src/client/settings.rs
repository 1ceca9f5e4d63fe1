//! Where to connect, as whom, and how patiently.

use std::fmt;
use std::net::IpAddr;
use std::time::Duration;

use tonic::metadata::{Ascii, MetadataValue};
use tonic::transport::{Certificate, ClientTlsConfig, Endpoint, Identity};

use super::{Backoff, ClientError};

/// Longest time to wait for a connection.
const CONNECT: Duration = Duration::from_secs(10);
/// How often a silent connection is asked whether it is still there, and how long it may think.
const KEEPALIVE: (Duration, Duration) = (Duration::from_secs(30), Duration::from_secs(20));

/// Where to connect, as whom, and how patiently.
#[derive(Clone)]
pub struct Settings {
    address: String,
    token: Option<String>,
    authority: Option<Vec<u8>>,
    domain: Option<String>,
    identity: Option<(Vec<u8>, Vec<u8>)>,
    plain_token: bool,
    pub(super) backoff: Backoff,
}

impl fmt::Debug for Settings {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        // Neither token nor key.
        out.debug_struct("Settings").field("address", &self.address).finish_non_exhaustive()
    }
}

impl Settings {
    /// A server at an address like `http://127.0.0.1:50151` or `https://plans.example:50151`.
    pub fn new(address: impl Into<String>) -> Self {
        Self {
            address: address.into(),
            token: None,
            authority: None,
            domain: None,
            identity: None,
            plain_token: false,
            backoff: Backoff::default(),
        }
    }

    /// The token to sign in with.
    #[must_use]
    pub fn token(self, token: impl Into<String>) -> Self {
        Self { token: Some(token.into()), ..self }
    }

    /// The certificate, PEM, of the authority that vouches for the server. Needed for `https`: the
    /// system's own authorities are not asked.
    #[must_use]
    pub fn authority(self, pem: impl Into<Vec<u8>>) -> Self {
        Self { authority: Some(pem.into()), ..self }
    }

    /// The name in the server's certificate, where it differs from the address.
    #[must_use]
    pub fn domain(self, name: impl Into<String>) -> Self {
        Self { domain: Some(name.into()), ..self }
    }

    /// Certificate and key of this client, PEM, for a server that asks for them.
    #[must_use]
    pub fn identity(self, certificate: impl Into<Vec<u8>>, key: impl Into<Vec<u8>>) -> Self {
        Self { identity: Some((certificate.into(), key.into())), ..self }
    }

    /// Sends the token in plain text beyond this machine as well. Only for a network that nobody
    /// else is on.
    #[must_use]
    pub fn plain_token(self) -> Self {
        Self { plain_token: true, ..self }
    }

    /// How patiently broken connections are made anew.
    #[must_use]
    pub fn backoff(self, backoff: Backoff) -> Self {
        Self { backoff, ..self }
    }

    pub(super) fn endpoint(&self) -> Result<Endpoint, ClientError> {
        let endpoint = Endpoint::from_shared(self.address.clone())
            .map_err(|_| ClientError::Address(self.address.clone()))?
            .connect_timeout(CONNECT)
            .http2_keep_alive_interval(KEEPALIVE.0)
            .keep_alive_timeout(KEEPALIVE.1);
        let host = endpoint.uri().host().unwrap_or_default().to_owned();
        match endpoint.uri().scheme_str() {
            Some("http") => {
                if self.token.is_some() && !self.plain_token && !is_loopback(&host) {
                    return Err(ClientError::PlainToken(self.address.clone()));
                }
                Ok(endpoint)
            }
            Some("https") => {
                let authority = self.authority.as_ref().ok_or(ClientError::NoAuthority)?;
                let mut tls = ClientTlsConfig::new()
                    .ca_certificate(Certificate::from_pem(authority))
                    .domain_name(self.domain.clone().unwrap_or(host))
                    .timeout(CONNECT);
                if let Some((certificate, key)) = &self.identity {
                    tls = tls.identity(Identity::from_pem(certificate, key));
                }
                endpoint.tls_config(tls).map_err(ClientError::Connect)
            }
            _ => Err(ClientError::Address(self.address.clone())),
        }
    }

    pub(super) fn authorization(&self) -> Result<Option<MetadataValue<Ascii>>, ClientError> {
        let Some(token) = &self.token else { return Ok(None) };
        let mut value: MetadataValue<Ascii> =
            format!("Bearer {token}").parse().map_err(|_| ClientError::MalformedToken)?;
        // Not to be shown where metadata are.
        value.set_sensitive(true);
        Ok(Some(value))
    }
}

fn is_loopback(host: &str) -> bool {
    host == "localhost"
        || host
            .trim_matches(['[', ']'])
            .parse::<IpAddr>()
            .is_ok_and(|ip| ip.to_canonical().is_loopback())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_token_leaves_the_machine_under_tls_only() {
        let ask = |address: &str| Settings::new(address).token("secret");
        for near in ["http://127.0.0.1:1", "http://localhost:1", "http://[::1]:1"] {
            assert!(ask(near).endpoint().is_ok(), "{near}");
        }
        let far = "http://plans.example:1";
        assert!(matches!(ask(far).endpoint(), Err(ClientError::PlainToken(_))));
        assert!(ask(far).plain_token().endpoint().is_ok(), "asked for");
        assert!(Settings::new(far).endpoint().is_ok(), "nothing to hide");
        let safe = ask("https://plans.example:1");
        assert!(matches!(safe.endpoint(), Err(ClientError::NoAuthority)));
        for wrong in ["plans.example", "ftp://plans.example", "http:// x"] {
            assert!(matches!(ask(wrong).endpoint(), Err(ClientError::Address(_))), "{wrong}");
        }
        assert!(!format!("{:?}", ask(far)).contains("secret"));
    }
}
