//! Certificates and keys from files, looked at before the server starts.
//!
//! A certificate that is out of date is refused: every client would refuse it too, and the person
//! at the shell is the one who can mend it. One that ends soon is told in the log.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, SystemTime};

use rustls::pki_types::pem::PemObject;
use rustls::pki_types::{CertificateDer, PrivateKeyDer};
use tonic::transport::{Certificate, Identity, ServerTlsConfig};
use x509_cert::der::Decode;

/// A certificate that ends within this time is told in the log.
const ENDS_SOON: Duration = Duration::from_secs(14 * 24 * 3600);
/// Longest time for a client's handshake.
const HANDSHAKE: Duration = Duration::from_secs(10);

/// The files of a server that speaks TLS.
#[derive(Clone, Debug)]
pub struct TlsFiles {
    /// The server's certificate and those between it and its authority, PEM.
    pub certificate: PathBuf,
    /// The key of the first certificate, PEM.
    pub key: PathBuf,
    /// Certificates of the authorities whose clients are let in, PEM. Without it clients need no
    /// certificate.
    pub client_authorities: Option<PathBuf>,
}

/// A file for TLS that cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum TlsFault {
    /// The file is missing, or may not be read.
    #[error("{option} {}: {error}", file.display())]
    Unreadable {
        /// The option that named the file.
        option: &'static str,
        /// The file.
        file: PathBuf,
        /// Why.
        error: std::io::Error,
    },
    /// The file holds something else.
    #[error("{option} {}: {fault}: give {wanted} in PEM form", file.display())]
    Unfit {
        /// The option that named the file.
        option: &'static str,
        /// The file.
        file: PathBuf,
        /// What is wrong.
        fault: String,
        /// What should be there.
        wanted: &'static str,
    },
    /// Outside the time that a certificate is good for.
    #[error(
        "{option} {}: certificate {number} of the file {fault}: have a new one made", file.display()
    )]
    OutOfDate {
        /// The option that named the file.
        option: &'static str,
        /// The file.
        file: PathBuf,
        /// Which certificate, from 1.
        number: usize,
        /// Since when, or from when.
        fault: String,
    },
    /// Certificate and key are no pair.
    #[error(
        "--tls-key {} is not the key of the first certificate in --tls-certificate {}: {error}",
        key.display(), certificate.display()
    )]
    NoPair {
        /// The key's file.
        key: PathBuf,
        /// The certificate's file.
        certificate: PathBuf,
        /// What the library says.
        error: rustls::Error,
    },
}

const CERTIFICATE: &str = "--tls-certificate";
const KEY: &str = "--tls-key";
const CLIENT_AUTHORITIES: &str = "--tls-client-ca";

impl TlsFiles {
    /// Reads and checks the files.
    pub fn load(&self) -> Result<ServerTlsConfig, TlsFault> {
        let now = SystemTime::now();
        let certificate = read(CERTIFICATE, &self.certificate)?;
        let chain = certificates(CERTIFICATE, &self.certificate, &certificate, now)?;
        let key = read(KEY, &self.key)?;
        self.check_pair(chain, &key)?;
        let config = ServerTlsConfig::new()
            .identity(Identity::from_pem(&certificate, &key))
            .timeout(HANDSHAKE);
        let Some(file) = &self.client_authorities else { return Ok(config) };
        let authorities = read(CLIENT_AUTHORITIES, file)?;
        let mut roots = rustls::RootCertStore::empty();
        for authority in certificates(CLIENT_AUTHORITIES, file, &authorities, now)? {
            roots.add(authority).map_err(|error| TlsFault::Unfit {
                option: CLIENT_AUTHORITIES,
                file: file.clone(),
                fault: error.to_string(),
                wanted: "certificates of authorities",
            })?;
        }
        Ok(config.client_ca_root(Certificate::from_pem(&authorities)))
    }

    fn check_pair(&self, chain: Vec<CertificateDer<'static>>, key: &[u8]) -> Result<(), TlsFault> {
        let unfit = |fault: String| TlsFault::Unfit {
            option: KEY,
            file: self.key.clone(),
            fault,
            wanted: "one private key without a passphrase",
        };
        let key = PrivateKeyDer::from_pem_slice(key).map_err(|_| {
            // The library's words may quote the file, and the file may hold a secret.
            unfit("holds no private key".to_owned())
        })?;
        let provider = Arc::new(rustls::crypto::ring::default_provider());
        provider
            .key_provider
            .load_private_key(key.clone_key())
            .map_err(|error| unfit(error.to_string()))?;
        rustls::ServerConfig::builder_with_provider(provider)
            .with_safe_default_protocol_versions()
            .and_then(|builder| builder.with_no_client_auth().with_single_cert(chain, key))
            .map_err(|error| TlsFault::NoPair {
                key: self.key.clone(),
                certificate: self.certificate.clone(),
                error,
            })?;
        Ok(())
    }
}

fn read(option: &'static str, file: &Path) -> Result<Vec<u8>, TlsFault> {
    std::fs::read(file).map_err(|error| TlsFault::Unreadable {
        option,
        file: file.to_owned(),
        error,
    })
}

/// The certificates of a file, each of them good at `now`.
fn certificates(
    option: &'static str,
    file: &Path,
    pem: &[u8],
    now: SystemTime,
) -> Result<Vec<CertificateDer<'static>>, TlsFault> {
    let unfit = |fault: String| TlsFault::Unfit {
        option,
        file: file.to_owned(),
        fault,
        wanted: "certificates",
    };
    let chain = CertificateDer::pem_slice_iter(pem)
        .collect::<Result<Vec<_>, _>>()
        .map_err(|_| unfit("cannot be read as PEM".to_owned()))?;
    if chain.is_empty() {
        return Err(unfit("holds no certificate".to_owned()));
    }
    for (at, der) in chain.iter().enumerate() {
        let number = at + 1;
        let certificate = x509_cert::Certificate::from_der(der)
            .map_err(|error| unfit(format!("certificate {number} cannot be read: {error}")))?;
        let validity = certificate.tbs_certificate().validity();
        let late =
            |fault: String| TlsFault::OutOfDate { option, file: file.to_owned(), number, fault };
        if now < validity.not_before.to_system_time() {
            return Err(late(format!("is not good before {}", validity.not_before)));
        }
        match validity.not_after.to_system_time().duration_since(now) {
            Err(_) => return Err(late(format!("was good until {}", validity.not_after))),
            Ok(left) if left < ENDS_SOON => tracing::warn!(
                option,
                file = %file.display(),
                days = left.as_secs() / (24 * 3600),
                "a certificate ends soon: have a new one made and start the server again"
            ),
            Ok(_) => {}
        }
    }
    Ok(chain)
}
