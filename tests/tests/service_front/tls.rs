//! TLS: who vouches for whom, and what is refused before the server starts.

use rcgen::{
    BasicConstraints, CertificateParams, ExtendedKeyUsagePurpose, IsCa, Issuer, KeyPair,
    date_time_ymd,
};
use slitwright_proto::client::{Client, ClientError, Settings};
use slitwright_proto::v1;
use slitwright_server::front::{Front, TlsFault, TlsFiles};
use slitwright_server::{ServeConfig, SolverPlanner};
use tokio::io::{AsyncReadExt, AsyncWriteExt};

use super::service_support::Running;
use super::write;

/// An authority of the studio.
struct Authority {
    certificate: String,
    issuer: Issuer<'static, KeyPair>,
}

/// Certificate and key, PEM.
struct Pair {
    certificate: String,
    key: String,
}

impl Authority {
    fn new() -> Self {
        let mut params = CertificateParams::default();
        params.is_ca = IsCa::Ca(BasicConstraints::Unconstrained);
        let key = KeyPair::generate().expect("a key");
        let certificate = params.self_signed(&key).expect("signed").pem();
        Self { certificate, issuer: Issuer::new(params, key) }
    }

    fn pair(&self, name: &str, usage: ExtendedKeyUsagePurpose, years: (i32, i32)) -> Pair {
        let mut params = CertificateParams::new([name.to_owned()]).expect("a name");
        params.extended_key_usages = vec![usage];
        params.not_before = date_time_ymd(years.0, 1, 1);
        params.not_after = date_time_ymd(years.1, 1, 1);
        let key = KeyPair::generate().expect("a key");
        let certificate = params.signed_by(&key, &self.issuer).expect("signed").pem();
        Pair { certificate, key: key.serialize_pem() }
    }

    fn server(&self) -> Pair {
        self.pair("127.0.0.1", ExtendedKeyUsagePurpose::ServerAuth, GOOD)
    }

    fn client(&self, years: (i32, i32)) -> Pair {
        self.pair("bench.example", ExtendedKeyUsagePurpose::ClientAuth, years)
    }
}

const GOOD: (i32, i32) = (2020, 2099);
const PAST: (i32, i32) = (2019, 2020);
const FUTURE: (i32, i32) = (2098, 2099);

fn load(
    pair: &Pair,
    authority: Option<&str>,
) -> Result<tonic::transport::ServerTlsConfig, TlsFault> {
    let folder = tempfile::tempdir().expect("a folder");
    TlsFiles {
        certificate: write(&folder, "server.pem", &pair.certificate),
        key: write(&folder, "server.key", &pair.key),
        client_authorities: authority.map(|pem| write(&folder, "clients.pem", pem)),
    }
    .load()
}

async fn start(pair: &Pair, clients: Option<&Authority>) -> Running {
    let tls =
        load(pair, clients.map(|authority| authority.certificate.as_str())).expect("good files");
    let front = Front { tls: Some(tls), ..Front::default() };
    Running::start(ServeConfig { front, ..ServeConfig::default() }, SolverPlanner).await
}

/// Connects and makes a call: with TLS 1.3 a client hears that its certificate was refused only
/// after its own part of the handshake is done.
async fn call(settings: Settings) -> Result<(), ClientError> {
    let client =
        Client::connect(settings.backoff(super::Backoff { tries: 1, ..super::HASTY })).await?;
    let asked = v1::ListModelsRequest::default();
    client
        .calls()
        .list_models(asked)
        .await
        .map(|_| ())
        .map_err(|status| ClientError::Lost { tries: 1, last: Box::new(status) })
}

fn at(server: &Running) -> Settings {
    Settings::new(format!("https://{}", server.address))
}

#[tokio::test(flavor = "multi_thread")]
async fn a_client_calls_a_server_that_its_authority_vouches_for() {
    let (ours, other) = (Authority::new(), Authority::new());
    let server = start(&ours.server(), None).await;
    call(at(&server).authority(ours.certificate.clone())).await.expect("vouched for");
    let stranger = call(at(&server).authority(other.certificate)).await;
    assert!(matches!(stranger, Err(ClientError::Connect(_))), "{stranger:?}");
    let misnamed = call(at(&server).authority(ours.certificate).domain("else.example")).await;
    assert!(matches!(misnamed, Err(ClientError::Connect(_))), "{misnamed:?}");
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn clients_need_a_certificate_of_the_authority_where_that_is_asked() {
    let (ours, other) = (Authority::new(), Authority::new());
    let server = start(&ours.server(), Some(&ours)).await;
    let ask = |pair: Pair| {
        call(at(&server).authority(ours.certificate.clone()).identity(pair.certificate, pair.key))
    };
    ask(ours.client(GOOD)).await.expect("one of ours");
    ask(other.client(GOOD)).await.expect_err("someone else's");
    ask(ours.client(PAST)).await.expect_err("out of date");
    ask(ours.client(FUTURE)).await.expect_err("not good yet");
    ask(ours.server()).await.expect_err("not for clients");
    call(at(&server).authority(ours.certificate.clone())).await.expect_err("none");
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn plain_text_to_a_tls_port_gets_no_answer() {
    let ours = Authority::new();
    let server = start(&ours.server(), None).await;
    let mut plain = tokio::net::TcpStream::connect(server.address).await.expect("connected");
    plain.write_all(b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n").await.expect("sent");
    let mut answer = Vec::new();
    // Closed or reset; what comes before that is at most an alert.
    let _ = plain.read_to_end(&mut answer).await;
    assert!(answer.len() < 16 && !answer.starts_with(b"HTTP"), "{answer:?}");
    let refused = call(Settings::new(format!("http://{}", server.address))).await;
    refused.expect_err("no plain text");
    call(at(&server).authority(ours.certificate)).await.expect("the server goes on");
    server.stop().await;
}

#[test]
fn files_that_cannot_be_used_are_named_with_their_option() {
    let ours = Authority::new();
    let good = ours.server();
    let pair = |certificate: &str, key: &str| Pair {
        certificate: certificate.to_owned(),
        key: key.to_owned(),
    };
    let years = |years| ours.pair("127.0.0.1", ExtendedKeyUsagePurpose::ServerAuth, years);
    let chain = format!("{}{}", good.certificate, years(PAST).certificate);
    let authority = Some(ours.certificate.as_str());
    assert!(load(&good, authority).is_ok());
    for (pair, authority, option, words) in [
        (pair("", &good.key), None, "--tls-certificate", "no certificate"),
        (pair("no PEM", &good.key), None, "--tls-certificate", "no certificate"),
        (pair(&good.key, &good.key), None, "--tls-certificate", "no certificate"),
        (pair(&good.certificate, &good.certificate), None, "--tls-key", "no private key"),
        (pair(&good.certificate, ""), None, "--tls-key", "no private key"),
        (pair(&good.certificate, &ours.server().key), None, "--tls-key", "not the key of"),
        (years(PAST), None, "--tls-certificate", "was good until 2020-01-01"),
        (years(FUTURE), None, "--tls-certificate", "not good before 2098-01-01"),
        (pair(&chain, &good.key), None, "--tls-certificate", "certificate 2"),
        (pair(&good.certificate, &good.key), Some(""), "--tls-client-ca", "no certificate"),
        (
            pair(&good.certificate, &good.key),
            Some(&years(PAST).certificate),
            "--tls-client-ca",
            "was good until",
        ),
    ] {
        let fault = load(&pair, authority).map(|_| ()).expect_err(words).to_string();
        assert!(fault.starts_with(option) && fault.contains(words), "{fault}");
        for secret in
            good.key.lines().filter(|line| line.len() > 20 && !line.contains("PRIVATE KEY"))
        {
            assert!(!fault.contains(secret), "{fault}");
        }
    }
    let broken = format!("{}\n!!!", &good.certificate[..good.certificate.len() / 2]);
    let fault = load(&pair(&broken, &good.key), authority).map(|_| ()).expect_err("half a file");
    assert!(fault.to_string().contains("PEM"), "{fault}");
    let missing = TlsFiles {
        certificate: "/nowhere.pem".into(),
        key: "/nowhere.key".into(),
        client_authorities: None,
    };
    let fault = missing.load().map(|_| ()).expect_err("missing").to_string();
    assert!(fault.starts_with("--tls-certificate /nowhere.pem"), "{fault}");
}

#[tokio::test(flavor = "multi_thread")]
async fn handshakes_that_are_begun_and_left_lock_nobody_out() {
    let ours = Authority::new();
    let tls = load(&ours.server(), None).expect("good files");
    let front = Front { tls: Some(tls), connections: 6, ..Front::default() };
    let config = ServeConfig { front, ..ServeConfig::default() };
    let server = Running::start(config, SolverPlanner).await;
    let mut half_open = Vec::new();
    for _ in 0..20 {
        let mut raw = tokio::net::TcpStream::connect(server.address).await.expect("connected");
        // A record of the handshake, 512 bytes long, of which nothing follows (RFC 8446, section 5.1).
        let begun = tokio::io::AsyncWriteExt::write_all(&mut raw, &[22, 3, 1, 2, 0]).await;
        half_open.push((raw, begun));
    }
    let asked = call(at(&server).authority(ours.certificate));
    let within = std::time::Duration::from_secs(20);
    tokio::time::timeout(within, asked).await.expect("let in").expect("answered");
    drop(half_open);
    server.stop().await;
}
