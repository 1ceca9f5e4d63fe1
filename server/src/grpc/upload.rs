//! A model that comes in chunks.

use std::sync::Arc;
use std::time::{Duration, SystemTime};

use slitwright_proto::v1;
use slitwright_proto::v1::upload_model_request::Part;
use slitwright_solver::control::Cancel;
use slitwright_solver::mesh::{LengthUnit, MeshFormat, PrepareError, PrepareOptions, ReadLimits};
use tokio::sync::Semaphore;
use tokio::time::Instant;
use tonic::{Code, Status, Streaming};

use super::errors::{CancelOnDrop, blocking, exhausted, internal, invalid, invalid_field};
use crate::convert::{
    Collector, InvalidFields, format_from_proto, is_cancelled, is_over_limit, options_from_proto,
    prepare_violations, report_to_proto, unit_from_proto,
};
use crate::planner::Planner;
use crate::refusal::refusal;
use crate::store::{ModelEntry, Models, Owner, digest, timestamp};
use crate::text::is_plain;

/// Most bytes of one chunk.
pub const CHUNK: usize = 1 << 20;
/// How many bytes come before the store is asked again whether there is room for all so far.
const ROOM: u64 = 16 << 20;
/// Longest display name, characters.
const DISPLAY_NAME: usize = 120;
/// What has to come within the idle time for an upload to get on, bytes: a modem of 1990 sent more.
const PROGRESS: usize = 16 << 10;

/// Limits of uploads.
#[derive(Clone, Copy, Debug)]
pub struct UploadRules {
    /// Most bytes of one model file.
    pub most_bytes: u64,
    /// Most triangles of one model.
    pub most_triangles: u64,
    /// Most uploads that are received or checked at the same time.
    pub at_once: usize,
    /// An upload that does not get on for so long is dropped: that sends nothing, or less than 16 KiB.
    pub idle: Duration,
    /// Longest time that one upload may take to come.
    pub longest: Duration,
}

impl Default for UploadRules {
    fn default() -> Self {
        Self {
            most_bytes: 512 << 20,
            most_triangles: 5_000_000,
            at_once: 4,
            idle: Duration::from_secs(30),
            longest: Duration::from_secs(3600),
        }
    }
}

/// Takes uploads.
pub struct Uploads {
    models: Arc<Models>,
    planner: Arc<dyn Planner>,
    rules: UploadRules,
    places: Arc<Semaphore>,
}

/// A header that was checked.
struct Header {
    format: MeshFormat,
    unit: Option<LengthUnit>,
    options: PrepareOptions,
    message: v1::UploadHeader,
}

impl Uploads {
    pub fn new(models: Arc<Models>, planner: Arc<dyn Planner>, rules: UploadRules) -> Self {
        Self { models, planner, rules, places: Arc::new(Semaphore::new(rules.at_once)) }
    }

    /// Receives a file, checks it and keeps it.
    pub async fn receive(
        &self,
        mut stream: Streaming<v1::UploadModelRequest>,
        owner: Option<Owner>,
    ) -> Result<v1::Model, Status> {
        let place = Arc::clone(&self.places).try_acquire_owned().map_err(|_| {
            exhausted(
                "TOO_MANY_UPLOADS",
                "uploads",
                format!(
                    "{} uploads are under way already: try again when one has ended",
                    self.rules.at_once
                ),
            )
        })?;
        let mut pace = Pace::new();
        let header = match self.next(&mut stream, &pace).await? {
            Some(Part::Header(header)) => checked(header, &self.rules).map_err(|f| invalid(&f))?,
            Some(Part::Chunk(_)) | None => {
                return Err(invalid_field("header", "is missing: send it in the first message"));
            }
        };
        self.check_room(header.message.size_bytes.unwrap_or(0), owner.as_ref()).await?;
        let bytes =
            self.receive_chunks(&mut stream, &mut pace, &header.message, owner.as_ref()).await?;

        let (models, planner) = (Arc::clone(&self.models), Arc::clone(&self.planner));
        let leaves = CancelOnDrop::default();
        let cancel = leaves.0.clone();
        let model = tokio::task::spawn_blocking(move || {
            // Held until the check is over, which is what takes time and room; that ends soon after the
            // client has left.
            let _place = place;
            keep(&models, planner.as_ref(), header, owner.as_ref(), &bytes, &cancel)
        });
        let model = model.await.map_err(|_| internal("the check of the model"))?;
        drop(leaves);
        model
    }

    /// Whether there is room for a file of `bytes`. What counts in the end is whether there is when
    /// the file is kept; this one spares those who send in vain.
    async fn check_room(&self, bytes: u64, owner: Option<&Owner>) -> Result<(), Status> {
        let (models, owner) = (Arc::clone(&self.models), owner.cloned());
        blocking("the store", move || models.check_room(bytes, owner.as_ref())).await
    }

    async fn next(
        &self,
        stream: &mut Streaming<v1::UploadModelRequest>,
        pace: &Pace,
    ) -> Result<Option<Part>, Status> {
        let until = pace.until(&self.rules);
        let message = tokio::time::timeout_at(until, stream.message()).await;
        // A stream that always has another message is never waited for.
        if message.is_err() || Instant::now() >= until {
            return Err(pace.too_slow(&self.rules));
        }
        let message = message.map_err(|_| pace.too_slow(&self.rules))??;
        match message {
            None => Ok(None),
            Some(v1::UploadModelRequest { part: Some(part) }) => Ok(Some(part)),
            Some(v1::UploadModelRequest { part: None }) => {
                Err(invalid_field("part", "is missing: send the header first, then chunks"))
            }
        }
    }

    async fn receive_chunks(
        &self,
        stream: &mut Streaming<v1::UploadModelRequest>,
        pace: &mut Pace,
        header: &v1::UploadHeader,
        owner: Option<&Owner>,
    ) -> Result<Vec<u8>, Status> {
        // Grows with what really comes; the size that the header claims is no reason to set
        // memory aside.
        let (mut bytes, mut asked) = (Vec::new(), header.size_bytes.unwrap_or(0));
        while let Some(part) = self.next(stream, pace).await? {
            let Part::Chunk(chunk) = part else {
                return Err(invalid_field("header", "came twice: send chunks after the first one"));
            };
            if chunk.len() > CHUNK {
                return Err(invalid_field(
                    "chunk",
                    format!("has {} bytes: send at most {CHUNK} in a message", chunk.len()),
                ));
            }
            let size = bytes.len() as u64 + chunk.len() as u64;
            if size > self.rules.most_bytes {
                return Err(too_big(self.rules.most_bytes));
            }
            if let Some(claimed) = header.size_bytes
                && size > claimed
            {
                return Err(wrong_size(claimed, "more"));
            }
            if size > asked {
                self.check_room(size, owner).await?;
                asked = size + ROOM;
            }
            pace.got_on(chunk.len());
            bytes.extend_from_slice(&chunk);
        }
        if bytes.is_empty() {
            return Err(invalid_field("chunk", "is missing: the file has no bytes"));
        }
        if let Some(claimed) = header.size_bytes
            && claimed != bytes.len() as u64
        {
            return Err(wrong_size(claimed, &bytes.len().to_string()));
        }
        Ok(bytes)
    }
}

/// How an upload gets on.
struct Pace {
    begun: Instant,
    /// When it last got on.
    since: Instant,
    /// What came since then.
    bytes: usize,
}

impl Pace {
    fn new() -> Self {
        let now = Instant::now();
        Self { begun: now, since: now, bytes: 0 }
    }

    fn got_on(&mut self, bytes: usize) {
        self.bytes += bytes;
        if self.bytes >= PROGRESS {
            (self.since, self.bytes) = (Instant::now(), 0);
        }
    }

    /// Until when more has to come.
    fn until(&self, rules: &UploadRules) -> Instant {
        (self.since + rules.idle).min(self.begun + rules.longest)
    }

    fn too_slow(&self, rules: &UploadRules) -> Status {
        let words = if self.since + rules.idle <= self.begun + rules.longest {
            let seconds = rules.idle.as_secs_f64();
            format!("less than {PROGRESS} bytes in {seconds} seconds: the upload is dropped")
        } else {
            let seconds = rules.longest.as_secs_f64();
            format!("not all of the file in {seconds} seconds: the upload is dropped")
        };
        refusal(Code::DeadlineExceeded, "UPLOAD_TOO_SLOW", words)
    }
}

fn refused(error: &PrepareError) -> Status {
    if is_over_limit(error) {
        return exhausted("MODEL_TOO_LARGE", "model size", error.to_string());
    }
    if is_cancelled(error) {
        return refusal(Code::Cancelled, "CALLER_GONE", error.to_string());
    }
    if let PrepareError::Topology(_) = error {
        return refusal(Code::Internal, "PROGRAM_FAULT", error.to_string());
    }
    invalid(&prepare_violations(error))
}

fn too_big(most: u64) -> Status {
    exhausted(
        "MODEL_TOO_LARGE",
        "model file size",
        format!(
            "the file has more than {most} bytes, the most this server takes: send a coarser mesh or raise --max-mesh-mb"
        ),
    )
}

fn wrong_size(claimed: u64, came: &str) -> Status {
    invalid_field(
        "header.size_bytes",
        format!("is {claimed}, but {came} bytes came: send the whole file"),
    )
}

fn checked(message: v1::UploadHeader, rules: &UploadRules) -> Result<Header, InvalidFields> {
    let mut faults = Collector::default();
    let format = format_from_proto(message.format, "header.format", &mut faults);
    let unit = unit_from_proto(message.unit, format, "header.unit", &mut faults);
    if message.display_name.chars().count() > DISPLAY_NAME {
        faults.add(
            "header.display_name",
            format!("is too long: give at most {DISPLAY_NAME} characters"),
        );
    }
    if !is_plain(&message.display_name) {
        let words = "holds characters that steer the terminal or turn the direction of text: leave \
                     them out";
        faults.add("header.display_name", words);
    }
    if let Some(size) = message.size_bytes
        && size > rules.most_bytes
    {
        faults.add(
            "header.size_bytes",
            format!("is {size}: this server takes files of at most {} bytes", rules.most_bytes),
        );
    }
    let sum = &message.sha256;
    if !sum.is_empty() && (sum.len() != 64 || !sum.bytes().all(|b| b.is_ascii_hexdigit())) {
        faults.add("header.sha256", "is not a SHA-256: give 64 hexadecimal digits");
    }
    let mut options = options_from_proto(message.options.as_ref(), "header.options", &mut faults);
    options.limits = ReadLimits {
        // Holds for what a packed file unpacks to as well.
        max_bytes: rules.most_bytes,
        max_triangles: rules.most_triangles,
        ..ReadLimits::default()
    };
    let Some(format) = format else {
        // Missing only when a fault was noted.
        return Err(faults.into_faults());
    };
    faults.finish(Header { format, unit, options, message })
}

fn keep(
    models: &Models,
    planner: &dyn Planner,
    header: Header,
    owner: Option<&Owner>,
    bytes: &[u8],
    cancel: &Cancel,
) -> Result<v1::Model, Status> {
    let sha256 = digest(bytes);
    let claimed = &header.message.sha256;
    if !claimed.is_empty() && !claimed.eq_ignore_ascii_case(&sha256) {
        return Err(invalid_field(
            "header.sha256",
            format!("differs from that of the bytes that came, {sha256}: send the file again"),
        ));
    }
    let model = planner
        .prepare(bytes, header.format, header.unit, &header.options, cancel)
        .map_err(|error| refused(&error))?;
    let poses = planner.poses(&model);
    if let Err(fault) = &poses {
        tracing::warn!(%fault, "a model without poses");
    }
    let message = v1::Model {
        name: format!("models/{}", uuid::Uuid::new_v4()),
        display_name: header.message.display_name,
        format: header.message.format,
        unit: header.message.unit,
        size_bytes: bytes.len() as u64,
        sha256,
        create_time: Some(timestamp(SystemTime::now())),
        report: Some(report_to_proto(&model, poses.as_ref().ok())),
    };
    let options = header.message.options.unwrap_or_default();
    let entry = ModelEntry { message, options };
    models.add(&entry, owner, bytes, model)?;
    tracing::info!(model = entry.message.name, bytes = entry.message.size_bytes, "model kept");
    Ok(entry.message)
}
