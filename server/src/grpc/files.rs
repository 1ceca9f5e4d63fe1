//! Files of plans: which there are, and one of them in parts.
//!
//! Nothing drawn is kept: a file is drawn when it is asked for, from the plan in full that the ledger has and
//! the model that it was made on. So plans need no room for their pictures, whatever has ended a job has not
//! kept it from being drawn, and a better program draws better pictures of older plans.

use std::pin::Pin;
use std::sync::{Arc, OnceLock};
use std::task::{Context, Poll};
use std::time::Duration;

use slitwright_proto::v1;
use slitwright_proto::v1::plan_file_part::Part;
use slitwright_solver::control::Cancel;
use slitwright_solver::outputs::bench::Paper;
use slitwright_solver::outputs::pictures::Subject;
use slitwright_solver::outputs::record;
use slitwright_solver::plan::Plan;
use tokio::sync::{OwnedSemaphorePermit, Semaphore, mpsc};
use tokio_stream::Stream;
use tonic::{Code, Status};
use tonic_types::ErrorDetails;

use super::errors::{CancelOnDrop, blocking, busy, internal, invalid_field};
use super::limits::FILES;
use super::mesh::of_the_model;
use super::paging::{Pages, QUOTED, check_name, page_size};
use super::plans::without_plan;
use crate::convert::{ending_from_proto, is_cancelled};
use crate::files::{Bench, FileFault, FileType, Source, draw, file_types, missing};
use crate::refusal::{refusal, refusal_with};
use crate::store::{Ledger, ModelEntry, ModelFault, Models, StoreError};
use crate::text::shortened;

/// Files drawn at a time; others wait their turn. Each takes all processors that are free.
const DRAWN: usize = 2;
/// Bytes of one chunk; the protocol allows 1 MiB.
const CHUNK: usize = 256 << 10;
/// How long a reader may take nothing.
const IDLE: Duration = Duration::from_secs(60);
/// Between a plan's name and a file's.
const FILES_OF: &str = "/files/";

/// Hands out files.
pub struct Files {
    ledger: Arc<dyn Ledger>,
    models: Arc<Models>,
    /// Held from the first look until the last byte has gone: a file is in memory all that time.
    places: Arc<Semaphore>,
    drawing: Arc<Semaphore>,
}

/// A plan as it is stored, and what is drawn of it.
struct Kept {
    job: v1::PlanJob,
    message: v1::Plan,
    plan: Result<Plan, String>,
    /// Its model, unless that is gone.
    model: Option<ModelEntry>,
}

impl Files {
    pub fn new(ledger: Arc<dyn Ledger>, models: Arc<Models>) -> Self {
        let places = Arc::new(Semaphore::new(FILES));
        Self { ledger, models, places, drawing: Arc::new(Semaphore::new(DRAWN)) }
    }

    /// The files of a plan, page by page (Google's AIP-132, "Standard methods: List").
    pub async fn list(
        &self,
        request: v1::ListPlanFilesRequest,
    ) -> Result<v1::ListPlanFilesResponse, Status> {
        let v1::ListPlanFilesRequest { parent, page_size: size, page_token, filter } = request;
        check_name("parent", &parent, "plans")?;
        let size = page_size(size)?;
        let kind = wanted_kind(&filter)?;
        let pages = Pages::of("files", &[&parent, &filter]);
        let after = pages.position(&page_token)?.unwrap_or_default();
        let _place = self.place()?;
        let (ledger, models) = (Arc::clone(&self.ledger), Arc::clone(&self.models));
        let look = move || Kept::read(ledger.as_ref(), &models, &parent);
        let kept = blocking("the store", look).await?;
        let mut answer = v1::ListPlanFilesResponse::default();
        let mut there = Vec::new();
        for file in file_types().iter().filter(|file| kind.is_none_or(|kind| kind == file.kind)) {
            let of_plan = kept.file(file, None);
            match missing(file, kept.plan(), kept.model.is_some()) {
                None => there.push(of_plan),
                Some(why) => answer.missing.push(v1::MissingPlanFile {
                    name: of_plan.name,
                    kind: of_plan.kind,
                    reason: why.reason().to_owned(),
                    description: why.to_string(),
                }),
            }
        }
        let end = after.saturating_add(size as u64);
        answer.next_page_token = pages.token(Some(end).filter(|&end| end < there.len() as u64));
        let first = usize::try_from(after).unwrap_or(usize::MAX);
        answer.files = there.into_iter().skip(first).take(size).collect();
        Ok(answer)
    }

    /// One file. A stream of parts, as that of a model's mesh, not the resource by itself as AIP-131 has it:
    /// a scene may have more bytes than clients take in one message.
    pub async fn get(&self, request: v1::GetPlanFileRequest) -> Result<FileParts, Status> {
        let (plan, file) = parsed(&request.name)?;
        let bench = Bench { paper: paper(request.paper)?, ..Bench::default() };
        let place = self.place()?;
        // Whoever leaves while it waits has no turn.
        let drawing = Arc::clone(&self.drawing).acquire_owned().await;
        let drawing = drawing.map_err(|_| internal("the drawing of a file"))?;
        let leaves = CancelOnDrop::default();
        let cancel = leaves.0.clone();
        let (ledger, models) = (Arc::clone(&self.ledger), Arc::clone(&self.models));
        let drawn = blocking("the drawing of a file", move || -> Result<_, Status> {
            let _drawing = drawing;
            let kept = Kept::read(ledger.as_ref(), &models, &plan)?;
            let bytes = kept.draw(&models, &file, bench, &cancel)?;
            Ok((kept.file(&file, Some(bytes.len() as u64)), bytes))
        });
        let (file, bytes) = drawn.await?;
        drop(leaves);
        Ok(parts(file, bytes, place, IDLE))
    }

    fn place(&self) -> Result<OwnedSemaphorePermit, Status> {
        Arc::clone(&self.places).try_acquire_owned().map_err(|_| {
            let words = format!("{FILES} files are drawn or sent already: try again in a moment");
            busy("TOO_MANY_FILES", "files", &words)
        })
    }
}

impl Kept {
    fn read(ledger: &dyn Ledger, models: &Models, name: &str) -> Result<Self, Status> {
        let (mut job, record) = ledger.job_with_record(name)?;
        let state = job.state();
        let message = job.plan.take().ok_or_else(|| without_plan(name, state))?;
        let plan = match record.map(|record| record::read(&record)) {
            Some(Ok(mut plan)) => {
                ending_from_proto(&message, &mut plan.ending);
                Ok(plan)
            }
            Some(Err(error)) => Err(error.to_string()),
            None => {
                Err("the plan is not stored in full, as earlier versions of this program left it: \
                         submit it again, or judge its cuts"
                    .to_owned())
            }
        };
        let model = match models.entry(&job.model) {
            Ok(entry) => Some(entry),
            Err(StoreError::NoModel(_)) => None,
            Err(error) => return Err(error.into()),
        };
        Ok(Self { job, message, plan, model })
    }

    fn plan(&self) -> Result<&Plan, &str> {
        self.plan.as_ref().map_err(String::as_str)
    }

    fn file(&self, file: &FileType, size_bytes: Option<u64>) -> v1::PlanFile {
        v1::PlanFile {
            name: format!("{}{FILES_OF}{}", self.job.name, file.name),
            kind: file.kind.into(),
            media_type: file.media_type.to_owned(),
            title: file.title.to_owned(),
            size_bytes,
            plan_number: self.job.best.map_or(0, |best| best.number),
        }
    }

    fn draw(
        &self,
        models: &Models,
        file: &FileType,
        bench: Bench,
        cancel: &Cancel,
    ) -> Result<Vec<u8>, Status> {
        // Before the model is read, which takes longest.
        if let Some(why) = missing(file, self.plan(), self.model.is_some()) {
            return Err(self.refused(why.into(), file));
        }
        let entry = self.model.as_ref().filter(|_| file.needs_model());
        let model = entry.map(|entry| models.ready_until(entry, cancel)).transpose();
        let model = model.map_err(|fault| match fault {
            ModelFault::Refused(error) if is_cancelled(&error) => gone(),
            other => of_the_model(other),
        })?;
        let nothing = v1::PlanRequest::default();
        let source = Source {
            bench,
            heading: self.model.as_ref().map_or("", |entry| &entry.message.display_name),
            model: model.as_deref().map(Subject::from),
            plan: self.plan(),
            message: &self.message,
            request: self.job.request.as_ref().unwrap_or(&nothing),
        };
        draw(file, &source, cancel).map_err(|fault| self.refused(fault, file))
    }

    fn refused(&self, fault: FileFault, file: &FileType) -> Status {
        let name = &self.job.name;
        let words = format!("{} of {name}: {fault}", file.name);
        let precondition = |reason: &'static str| {
            let details = ErrorDetails::with_precondition_failure_violation(reason, name, &words);
            refusal_with(Code::FailedPrecondition, reason, &words, details)
        };
        match fault {
            FileFault::Missing(why) => precondition(why.reason()),
            FileFault::TooLarge(_) => precondition("FILE_TOO_LARGE"),
            FileFault::Cancelled => gone(),
            FileFault::Failed(_) => {
                tracing::error!(plan = name, file = file.name, %fault, "a file cannot be drawn");
                refusal(Code::Internal, "PROGRAM_FAULT", words)
            }
        }
    }
}

fn gone() -> Status {
    refusal(Code::Cancelled, "CALLER_GONE", "the client has left")
}

/// The plan and the file that a name is of.
fn parsed(name: &str) -> Result<(String, FileType), Status> {
    let malformed = || {
        let words = format!(
            "is {:?}: give a name like plans/{{id}}{FILES_OF}overview.png",
            shortened(name, QUOTED)
        );
        invalid_field("name", words)
    };
    let (plan, file) = name.split_once(FILES_OF).ok_or_else(malformed)?;
    check_name("name", plan, "plans").map_err(|_| malformed())?;
    check_name("name", &format!("files/{file}"), "files").map_err(|_| malformed())?;
    let known = file_types().into_iter().find(|known| known.name == file);
    let known = known.ok_or_else(|| {
        let words =
            format!("no plan has a file called {file}: ListPlanFiles shows those that there are");
        let details = ErrorDetails::with_resource_info("PlanFile", name, "", &words);
        refusal_with(Code::NotFound, "FILE_NOT_FOUND", &words, details)
    })?;
    Ok((plan.to_owned(), known))
}

/// The paper that is asked for.
fn paper(value: i32) -> Result<Paper, Status> {
    match v1::PaperSize::try_from(value) {
        Ok(v1::PaperSize::Unspecified | v1::PaperSize::A4) => Ok(Paper::A4),
        Ok(v1::PaperSize::Letter) => Ok(Paper::Letter),
        Err(_) => {
            let words = format!("is {value}: give PAPER_SIZE_A4 or PAPER_SIZE_LETTER");
            Err(invalid_field("paper", words))
        }
    }
}

/// The kind that a filter asks for: `kind = VIEW` (Google's AIP-160, "Filtering").
fn wanted_kind(filter: &str) -> Result<Option<v1::PlanFileKind>, Status> {
    let filter = filter.trim();
    if filter.is_empty() {
        return Ok(None);
    }
    let value = filter.split_once('=').filter(|(field, _)| field.trim() == "kind");
    let kind = value.map(|(_, value)| value.trim()).and_then(|value| {
        v1::PlanFileKind::from_str_name(value)
            .or_else(|| v1::PlanFileKind::from_str_name(&format!("PLAN_FILE_KIND_{value}")))
    });
    let kind = kind.filter(|kind| *kind != v1::PlanFileKind::Unspecified);
    let words = || format!("is {:?}: give one like kind = VIEW", shortened(filter, QUOTED));
    Ok(Some(kind.ok_or_else(|| invalid_field("filter", words()))?))
}

/// A file on its way to a caller.
pub struct FileParts {
    parts: mpsc::Receiver<v1::PlanFilePart>,
    /// Why it ended before its time.
    broken_off: Arc<OnceLock<Status>>,
}

impl Stream for FileParts {
    type Item = Result<v1::PlanFilePart, Status>;

    fn poll_next(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<Option<Self::Item>> {
        match self.parts.poll_recv(context) {
            // Told once.
            Poll::Ready(None) => {
                let told = std::mem::take(&mut self.broken_off);
                Poll::Ready(told.get().cloned().map(Err))
            }
            Poll::Ready(Some(part)) => Poll::Ready(Some(Ok(part))),
            Poll::Pending => Poll::Pending,
        }
    }
}

/// Hands a file out as fast as it is taken. `place` is free once the last part has gone, the caller has, or
/// nothing was taken for `idle`.
fn parts(
    file: v1::PlanFile,
    bytes: Vec<u8>,
    place: OwnedSemaphorePermit,
    idle: Duration,
) -> FileParts {
    let (sender, parts) = mpsc::channel(1);
    let broken_off = Arc::new(OnceLock::new());
    let told = Arc::clone(&broken_off);
    tokio::spawn(async move {
        let _place = place;
        let chunks = bytes.chunks(CHUNK).map(|chunk| Part::Chunk(chunk.to_vec()));
        for part in std::iter::once(Part::File(file)).chain(chunks) {
            let part = v1::PlanFilePart { part: Some(part) };
            match tokio::time::timeout(idle, sender.send(part)).await {
                Ok(Ok(())) => {}
                // Nobody takes them any more.
                Ok(Err(_)) => return,
                Err(_) => {
                    let words = format!(
                        "nothing of the file was taken in {} seconds: it is no longer sent",
                        idle.as_secs_f64()
                    );
                    let _ = told.set(refusal(Code::DeadlineExceeded, "READER_TOO_SLOW", words));
                    return;
                }
            }
        }
    });
    FileParts { parts, broken_off }
}

#[cfg(test)]
mod tests {
    use tokio_stream::StreamExt as _;

    use super::*;
    use crate::planner::SolverPlanner;
    use crate::store::{Folder, FolderFiles, NewJob, Step, StoreLimits};

    fn place() -> (Arc<Semaphore>, OwnedSemaphorePermit) {
        let places = Arc::new(Semaphore::new(1));
        let place = Arc::clone(&places).try_acquire_owned().expect("free");
        (places, place)
    }

    #[tokio::test]
    async fn a_file_comes_whole_and_frees_its_place() {
        let (places, place) = place();
        let bytes: Vec<u8> = (0..2 * CHUNK + 7).map(|k| (k % 251) as u8).collect();
        let mut sent = parts(v1::PlanFile::default(), bytes.clone(), place, IDLE);
        let first = sent.next().await.expect("a part").expect("no fault");
        assert!(matches!(first.part, Some(Part::File(_))));
        let mut came = Vec::new();
        while let Some(part) = sent.next().await {
            let Some(Part::Chunk(chunk)) = part.expect("no fault").part else { panic!("a chunk") };
            assert!(chunk.len() <= 1 << 20);
            came.extend(chunk);
        }
        assert!(came == bytes);
        let _place = places.acquire().await.expect("free");
    }

    #[tokio::test]
    async fn a_reader_who_takes_nothing_is_told_and_loses_its_place() {
        let (places, place) = place();
        let bytes = vec![0; 9 * CHUNK];
        let mut sent = parts(v1::PlanFile::default(), bytes, place, Duration::ZERO);
        let _place = places.acquire().await.expect("free");
        let mut last = None;
        while let Some(part) = sent.next().await {
            last = Some(part);
        }
        let status = last.expect("something").expect_err("broken off");
        assert_eq!(status.code(), Code::DeadlineExceeded);
        assert!(sent.next().await.is_none(), "once is enough");
    }

    #[tokio::test]
    async fn a_caller_who_leaves_frees_the_place() {
        let (places, place) = place();
        let mut sent = parts(v1::PlanFile::default(), vec![0; 9 * CHUNK], place, IDLE);
        sent.next().await.expect("a part").expect("no fault");
        drop(sent);
        let _place = places.acquire().await.expect("free");
    }

    /// Files on a ledger with one plan of the number 1, stored with this in full.
    fn with_record(record: Option<&[u8]>) -> (tempfile::TempDir, Folder, Files) {
        let place = tempfile::tempdir().expect("a folder");
        let folder = Folder::open(place.path()).expect("free");
        let ledger = Arc::new(folder.ledger(StoreLimits::default()).expect("opened"));
        let content = folder.content().expect("opened");
        let files = FolderFiles::new(Arc::clone(&ledger), content).expect("opened");
        let message = v1::Model { name: "models/plinth".to_owned(), ..Default::default() };
        let model = ModelEntry { message, options: v1::PrepareOptions::default() };
        ledger.add_model(&model, None).expect("kept");
        let job = NewJob {
            name: "plans/a".to_owned(),
            model: model.message.name,
            request: v1::PlanRequest::default(),
            request_id: None,
            priority: 0,
            seconds: 60.0,
            owner: None,
        };
        ledger.submit(&job).expect("queued");
        let run = ledger.claim(None).expect("claimed").expect("a job").run;
        let figures = v1::BetterPlan { number: 1, ..Default::default() };
        let better = Some((&figures, &v1::Plan::default()));
        ledger.keep(&run, &Step { better, record, ..Step::default() }).expect("kept");
        let planner = Arc::new(SolverPlanner);
        let models =
            Models::new(Arc::clone(&ledger) as Arc<dyn Ledger>, Arc::new(files), planner, 0);
        (place, folder, Files::new(ledger, Arc::new(models)))
    }

    fn of_file(file: &str) -> v1::GetPlanFileRequest {
        v1::GetPlanFileRequest { name: format!("plans/a/files/{file}"), ..Default::default() }
    }

    #[tokio::test]
    async fn plans_that_cannot_be_drawn_by_this_program_say_so() {
        let parent = "plans/a".to_owned();
        for record in [None, Some(&[0xff, 0xff, 0][..]), Some(&[1, 0, 0xc1])] {
            let (_place, _folder, files) = with_record(record);
            let asked = v1::ListPlanFilesRequest { parent: parent.clone(), ..Default::default() };
            let listed = files.list(asked).await.expect("listed");
            assert_eq!(listed.files.len(), 2, "{:?}", listed.files);
            assert!(listed.missing.iter().all(|file| file.reason == "NO_RECORD"));
            let refused = files.get(of_file("front.png")).await;
            let refused = refused.err().expect("no record");
            assert_eq!(refused.code(), Code::FailedPrecondition);
            assert!(refused.message().contains("again"), "{refused}");
            files.get(of_file("plan.json")).await.expect("as it is stored");
        }
    }

    #[test]
    fn names_and_filters_are_read() {
        let (plan, file) = parsed("plans/a/files/overview.png").expect("a name");
        assert_eq!((plan.as_str(), file.name), ("plans/a", "overview.png"));
        for bad in [
            "",
            "plans/a",
            "plans/a/files/",
            "plans/a/files/a/b",
            "models/a/files/plan.txt",
            "plans//files/plan.txt",
            "plans/a/files/../plan.txt",
            "files/plan.txt",
        ] {
            assert_eq!(parsed(bad).expect_err(bad).code(), Code::InvalidArgument, "{bad}");
        }
        assert_eq!(parsed("plans/a/files/x.png").expect_err("none").code(), Code::NotFound);
        assert_eq!(wanted_kind(" ").expect("all"), None);
        for good in ["kind = VIEW", "kind=PLAN_FILE_KIND_VIEW"] {
            assert_eq!(wanted_kind(good).expect(good), Some(v1::PlanFileKind::View));
        }
        for bad in ["kind", "kind = UNSPECIFIED", "kind = BLUE", "colour = VIEW", "kind != VIEW"] {
            wanted_kind(bad).expect_err(bad);
        }
    }
}
