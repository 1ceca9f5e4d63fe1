//! A disk that is full to the last block, right after a start with a fresh log: whatever the words about it advise can be
//! done. The disk is a small file system in memory, in a mount namespace of the server's own.

mod support;

use std::fs::{self, File};
use std::io::{BufRead as _, BufReader, Write as _};
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};

use slitwright_proto::v1;
use slitwright_proto::v1::JobState;
use support::{Client, Server, submission, upload};
use tonic::{Code, Status};

/// Seconds of a plan that is never reached.
const LONG: f64 = 580.0;

/// A disk of its own, which is there as long as this is.
struct Disk {
    /// Where servers see it.
    at: String,
    /// Keeps the namespace.
    holder: Child,
    _place: tempfile::TempDir,
}

impl Disk {
    /// One of `mib` MiB, of which `taken` bytes are something else's.
    fn new(mib: u32, taken: u64) -> Self {
        let place = tempfile::tempdir().expect("a folder");
        let at = place.path().to_str().expect("a path in UTF-8").to_owned();
        let script = format!(
            "mount -t tmpfs -o size={mib}m tmpfs {at} && head -c {taken} /dev/zero > {at}/taken && \
             echo mounted && exec sleep infinity"
        );
        let mut holder = Command::new("unshare")
            .args(["--map-root-user", "--mount", "sh", "-c", &script])
            .stdout(Stdio::piped())
            .spawn()
            .expect("unshare of util-linux");
        let mut said = String::new();
        let stdout = holder.stdout.take().expect("piped");
        BufReader::new(stdout).read_line(&mut said).expect("read");
        assert_eq!(
            said, "mounted\n",
            "no file system may be mounted here, not even in a namespace"
        );
        Self { at, holder, _place: place }
    }

    /// Where it is seen from here.
    fn path(&self) -> PathBuf {
        PathBuf::from(format!("/proc/{}/root{}", self.holder.id(), self.at))
    }

    /// A server on it.
    async fn server(&self) -> Server {
        let holder = self.holder.id().to_string();
        let before =
            ["nsenter", "--target", &holder, "--user", "--preserve-credentials", "--mount"];
        let store = format!("{}/store", self.at);
        Server::start_by(&before, &["--store", &store, "--workers", "1"], &[]).await
    }

    /// Writes until nothing more can be written.
    fn fill(&self) -> PathBuf {
        let path = self.path().join("ballast");
        let mut ballast = File::options().create(true).append(true).open(&path).expect("made");
        for block in [64 << 10, 4096, 1] {
            while ballast.write_all(&vec![1; block]).is_ok() {}
        }
        path
    }
}

impl Drop for Disk {
    fn drop(&mut self) {
        self.holder.kill().expect("killed");
        self.holder.wait().expect("gone");
    }
}

async fn submit(client: &mut Client, model: &v1::Model, id: usize) -> Result<String, Status> {
    let job = client.submit_plan(submission(&model.name, id, LONG)).await?;
    Ok(job.into_inner().name)
}

async fn cancel(client: &mut Client, name: &str) -> Result<(), Status> {
    let request = v1::CancelPlanRequest { name: name.to_owned() };
    client.cancel_plan(request).await.map(drop)
}

async fn ended(client: &mut Client, name: &str) -> v1::PlanJob {
    let request = v1::WatchPlanRequest { name: name.to_owned(), cuts: false };
    let mut events = client.watch_plan(request).await.expect("watched").into_inner();
    loop {
        match events.message().await.expect("an event").and_then(|event| event.event) {
            Some(v1::plan_event::Event::Ended(job)) => break job,
            Some(_) => {}
            None => panic!("the stream closed"),
        }
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn cancels_and_deletions_go_on_a_full_disk_with_a_fresh_log() {
    let disk = Disk::new(24, 0);
    let mut server = disk.server().await;
    let client = &mut server.client;
    let (model, other) = (upload(client).await, upload(client).await);
    let running = submit(client, &model, 1).await.expect("queued");
    let mut waiting = Vec::new();
    for id in 2..140 {
        waiting.push(submit(client, &model, id).await.expect("queued"));
    }
    // In good order, which leaves no log behind.
    let id = server.child.id().to_string();
    assert!(Command::new("kill").args(["-TERM", &id]).status().expect("sent").success());
    assert!(server.child.wait().expect("gone").success());
    let mut server = disk.server().await;
    let client = &mut server.client;
    client.get_model(v1::GetModelRequest { name: model.name.clone() }).await.expect("it is open");
    // What was freed in the meantime is filled, too.
    let (ballast, full) = loop {
        let ballast = disk.fill();
        match submit(client, &model, 1000 + waiting.len()).await {
            Ok(name) => waiting.push(name),
            Err(status) => break (ballast, status),
        }
        assert!(waiting.len() < 200, "the disk is never full");
    };
    assert_eq!(full.code(), Code::ResourceExhausted, "{full:?}");
    assert!(full.message().contains("delete plans or models"), "{full:?}");
    // As often as anybody likes: the log is begun anew on the way.
    for name in &waiting {
        cancel(client, name).await.expect("cancelled");
        let request = v1::DeletePlanRequest { name: name.clone() };
        client.delete_plan(request).await.expect("deleted");
    }
    client.delete_model(v1::DeleteModelRequest { name: other.name }).await.expect("deleted");
    cancel(client, &running).await.expect("cancelled");
    assert_eq!(ended(client, &running).await.state(), JobState::Cancelled);
    fs::remove_file(ballast).expect("room");
    let again = submit(client, &model, 5000).await.expect("room again");
    cancel(client, &again).await.expect("cancelled");
    assert_eq!(server.kill().said("no room can be kept", ""), 0);
}

/// Where there is too little room from the start the server says so, and takes none of it.
#[tokio::test(flavor = "multi_thread")]
async fn a_disk_without_room_for_the_reserve_is_told() {
    let disk = Disk::new(4, 7 << 19);
    let mut server = disk.server().await;
    let client = &mut server.client;
    // Once a call is answered the store is open.
    let model = upload(client).await;
    assert!(!disk.path().join("store/store.reserve").exists());
    let name = submit(client, &model, 1).await.expect("there is room for a plan");
    cancel(client, &name).await.expect("cancelled");
    assert_eq!(server.kill().said("no room can be kept for cancels and deletions", ""), 1);
}
