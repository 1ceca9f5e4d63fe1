//! `slitwright serve` and `slitwright token` as a person at the shell meets them.

use std::io::{BufRead, BufReader, Read as _, Write as _};
use std::net::{SocketAddr, TcpStream};
use std::path::Path;
use std::process::{Child, Command, Output, Stdio};
use std::sync::mpsc;

use slitwright_proto::client::{Backoff, Client, ClientError, Refusal, Settings};
use slitwright_proto::v1;

fn slitwright(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_slitwright")).args(args).output().expect("the binary runs")
}

/// A server whose log is read line by line, by a thread, so that a full pipe holds up nothing.
struct Served {
    // Goes when the server has ended.
    _store: tempfile::TempDir,
    child: Child,
    log: mpsc::Receiver<String>,
    seen: String,
}

impl Served {
    fn start(args: &[&str]) -> Self {
        let store = tempfile::tempdir().expect("a folder");
        let mut child = Command::new(env!("CARGO_BIN_EXE_slitwright"))
            .args(["serve", "--listen", "127.0.0.1:0", "--log", "json", "--store"])
            .arg(store.path())
            .args(args)
            // All that any library has to say.
            .env("RUST_LOG", "trace")
            .stderr(Stdio::piped())
            .spawn()
            .expect("the binary runs");
        let stderr = BufReader::new(child.stderr.take().expect("piped"));
        let (lines, log) = mpsc::channel();
        std::thread::spawn(move || {
            // A test that has failed has dropped the other end.
            stderr.lines().map_while(Result::ok).try_for_each(|line| lines.send(line))
        });
        Self { _store: store, child, log, seen: String::new() }
    }

    /// Reads the log until a line with this message, and returns that line.
    fn wait_for(&mut self, message: &str) -> serde_json::Value {
        while let Ok(line) = self.log.recv() {
            self.seen.push_str(&line);
            self.seen.push('\n');
            let value: serde_json::Value = serde_json::from_str(&line).expect("each line is JSON");
            if value["message"] == message {
                return value;
            }
        }
        panic!("the log ended without {message:?}: {}", self.seen);
    }

    fn address(&mut self, message: &str) -> SocketAddr {
        let line = self.wait_for(message);
        line["address"].as_str().and_then(|text| text.parse().ok()).expect("an address")
    }

    fn signal(&self, name: &str) {
        let sent = Command::new("kill").args([name, &self.child.id().to_string()]).status();
        assert!(sent.expect("kill runs").success());
    }

    /// Ends the server and returns all that it logged.
    fn stop(mut self) -> String {
        self.signal("-TERM");
        while let Ok(line) = self.log.recv() {
            self.seen.push_str(&line);
            self.seen.push('\n');
        }
        assert!(self.child.wait().expect("ended").success(), "{}", self.seen);
        std::mem::take(&mut self.seen)
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        // Ended already, unless a test failed on the way.
        let _ = self.child.kill();
    }
}

fn add_token(file: &Path, name: &str, more: &[&str]) -> String {
    let file = file.to_str().expect("text");
    let ran = slitwright(&[&["token", "add", "--tokens", file, "--name", name], more].concat());
    assert_eq!(ran.status.code(), Some(0), "{}", String::from_utf8_lossy(&ran.stderr));
    String::from_utf8(ran.stdout).expect("text").trim_end().to_owned()
}

async fn list(address: SocketAddr, token: &str) -> Result<(), ClientError> {
    let hasty = Backoff { tries: 1, ..Backoff::default() };
    let settings = Settings::new(format!("http://{address}")).token(token).backoff(hasty);
    let asked = v1::ListModelsRequest::default();
    let client = Client::connect(settings).await?;
    Ok(client.calls().list_models(asked).await.map(|_| ()).map_err(Refusal::from)?)
}

#[tokio::test(flavor = "multi_thread")]
async fn tokens_are_made_taken_up_and_withdrawn_and_never_logged() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("tokens.toml");
    let first = add_token(&file, "first", &[]);
    let text = std::fs::read_to_string(&file).expect("written");
    assert!(!text.contains(&first), "the file holds hashes only");
    let mut server = Served::start(&[
        "--tokens",
        file.to_str().expect("text"),
        "--metrics",
        "127.0.0.1:0",
        "--web-origin",
        "https://viewer.example",
    ]);
    let metrics = server.address("metrics are served");
    let address = server.address("listening");
    list(address, &first).await.expect("let in");
    let wrong = "slw_never-made";
    let kept_out = list(address, wrong).await;
    assert!(matches!(kept_out, Err(ClientError::Refused(Refusal::SignIn(_)))), "{kept_out:?}");

    // Taken up on SIGHUP; a damaged file changes nothing; the file is looked at by itself too.
    let second = add_token(&file, "second", &["--role", "read", "--expires", "2099-12-31"]);
    server.signal("-HUP");
    server.wait_for("tokens read again");
    list(address, &second).await.expect("let in");
    let good = std::fs::read_to_string(&file).expect("there");
    std::fs::write(&file, good.replace("role = \"read\"", &format!("role = \"{second}\"")))
        .expect("written");
    server.wait_for("the tokens' file is damaged: the tokens before stay in force");
    list(address, &second).await.expect("still let in");
    let entry = good.find("\n[[token]]\nname = \"second\"").expect("its entry");
    std::fs::write(&file, &good[..entry]).expect("written");
    server.wait_for("tokens read again");
    list(address, &second).await.expect_err("withdrawn");

    // HTTP/1.1 with the token in several wrong places besides.
    for head in [
        format!(
            "POST /slitwright.v1.CutPlanner/ListModels HTTP/1.1\r\ncontent-type: application/grpc-web\r\nx-request-id: {first}\r\nauthorization: Bearer {first}"
        ),
        format!("GET /metrics HTTP/1.1\r\nauthorization: Bearer {first}"),
    ] {
        let at = if head.starts_with("GET") { metrics } else { address };
        let mut stream = TcpStream::connect(at).expect("connected");
        write!(stream, "{head}\r\nhost: a\r\ncontent-length: 0\r\nconnection: close\r\n\r\n")
            .expect("sent");
        let mut answer = String::new();
        stream.read_to_string(&mut answer).expect("an answer");
        assert!(answer.starts_with("HTTP/1.1 200"), "{answer}");
    }
    let log = server.stop();
    for secret in [first.as_str(), second.as_str(), wrong] {
        assert!(!log.contains(secret) && !log.contains(&secret[4..]), "a token is in the log");
    }
    let call = log
        .lines()
        .filter_map(|line| serde_json::from_str::<serde_json::Value>(line).ok())
        .find(|line| line["message"] == "call ended" && line["code"] == "OK")
        .expect("calls are logged");
    assert_eq!(call["span"]["token"], "first", "{call}");
    assert_eq!(call["span"]["method"], "slitwright.v1.CutPlanner/ListModels", "{call}");
    assert!(call["span"]["id"].as_str().is_some_and(|id| id.len() == 36), "{call}");
}

#[test]
fn what_is_not_safe_is_refused_with_what_to_do() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("tokens.toml");
    add_token(&file, "one", &[]);
    let tokens = file.to_str().expect("text");
    let empty = folder.path().join("empty.toml");
    std::fs::write(&empty, "").expect("written");
    let (empty, far) = (empty.to_str().expect("text"), "0.0.0.0:0");
    let cases: &[(&[&str], &str)] = &[
        (&["serve", "--listen", far], "slitwright token add"),
        (&["serve", "--listen", far, "--tokens", tokens], "--tls-certificate"),
        (&["serve", "--listen", far, "--behind-tls-proxy"], "slitwright token add"),
        (&["serve", "--metrics", far], "--metrics"),
        (&["serve", "--tokens", "/nowhere.toml"], "/nowhere.toml"),
        (&["serve", "--tokens", empty], "holds no token"),
        (&["serve", "--tls-certificate", "/nowhere.pem"], "--tls-key"),
        (
            &["serve", "--tls-certificate", "/nowhere.pem", "--tls-key", "/nowhere.key"],
            "/nowhere.pem",
        ),
        (&["serve", "--tls-client-ca", "/nowhere.pem"], "--tls-certificate"),
        (&["serve", "--web-origin", "*"], "is no origin"),
        (&["token", "add", "--tokens", tokens, "--name", "one"], "comes twice"),
        (&["token", "add", "--tokens", tokens, "--name", "a b"], "--name"),
        (&["token", "add", "--tokens", tokens, "--name", "b", "--expires", "soon"], "--expires"),
        (&["token", "add", "--tokens", "/nowhere/tokens.toml", "--name", "b"], "/nowhere"),
    ];
    for (args, words) in cases {
        let ran = slitwright(args);
        let stderr = String::from_utf8_lossy(&ran.stderr);
        assert_eq!(ran.status.code(), Some(2), "{args:?}: {stderr}");
        assert!(stderr.contains(words), "{args:?}: {stderr}");
        assert!(ran.stdout.is_empty(), "{args:?}: nothing on stdout");
    }
    let left: Vec<_> = std::fs::read_dir(folder.path()).expect("there").collect();
    assert_eq!(left.len(), 2, "nothing half written is left: {left:?}");
}
