//! Making a file's bytes.

use slitwright_proto::v1;
use slitwright_solver::control::Cancel;
use slitwright_solver::outputs::bench::{BenchError, BenchStyle, Pages, Paper, pages, template};
use slitwright_solver::outputs::glb::{GlbError, plan_glb, trial_glb};
use slitwright_solver::outputs::pictures::{
    PictureError, PictureStyle, Subject, draw_picture, draw_plan, draw_shell, draw_trial,
    has_sections, has_shell,
};
use slitwright_solver::outputs::summary;
use slitwright_solver::plan::{Plan, PlanTrial, TrialVerdict};

use super::{Content, FileType, MOST_BYTES, file_types};
use crate::text::to_json;

/// What is asked of files that go to the bench.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bench {
    /// Paper of pages.
    pub paper: Paper,
    /// Rubber mixed beyond what the mould holds, as a share of it, 0 to 1.
    pub waste: f64,
}

impl Default for Bench {
    fn default() -> Self {
        let BenchStyle { paper, waste, .. } = BenchStyle::default();
        Self { paper, waste }
    }
}

/// What files are made from.
#[derive(Clone, Copy)]
pub struct Source<'a> {
    /// Name of the piece, for the headings; may be empty.
    pub heading: &'a str,
    /// How pages for the bench are made.
    pub bench: Bench,
    /// The model as it was read. `None`: it is gone.
    pub model: Option<Subject<'a>>,
    /// The plan in full, or why there is none.
    pub plan: Result<&'a Plan, &'a str>,
    /// The plan as the protocol shows it.
    pub message: &'a v1::Plan,
    /// What was asked.
    pub request: &'a v1::PlanRequest,
}

/// Why a plan has not a file that others have.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Missing {
    /// It was not tried, or the trial was broken off before its first moment.
    #[error(
        "the release of this plan was not tried: ask for a trial, or judge these cuts with one"
    )]
    NoTrial,
    /// No sheet runs through the rubber.
    #[error("the plan has no sheets through the rubber to cut across")]
    NoSections,
    /// Its mould is no blanket, or nothing is known of its shell.
    #[error(
        "the plan has no rigid shell: its mould is no blanket, or its work was stopped before the shell was looked at"
    )]
    NoShell,
    /// Nothing is known of where the blade enters.
    #[error(
        "the plan has no sheets through the rubber, so nothing is known of where the blade enters: give it more time"
    )]
    NoSheets,
    /// The model was deleted.
    #[error("the model of this plan was deleted, and it shows the model: send the model again")]
    ModelGone,
    /// It is not stored in full.
    #[error("{0}")]
    NoRecord(String),
}

impl Missing {
    /// The reason that a program can go by.
    pub fn reason(&self) -> &'static str {
        match self {
            Self::NoTrial => "NO_TRIAL",
            Self::NoSections => "NO_SECTIONS",
            Self::NoShell => "NO_SHELL",
            Self::NoSheets => "NO_SHEETS",
            Self::ModelGone => "MODEL_GONE",
            Self::NoRecord(_) => "NO_RECORD",
        }
    }
}

/// A file cannot be made.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum FileFault {
    /// This plan has none.
    #[error(transparent)]
    Missing(#[from] Missing),
    /// It would be larger than any may be.
    #[error("{0}")]
    TooLarge(String),
    /// Nobody waits for it any more.
    #[error("nobody waits for the file any more")]
    Cancelled,
    /// A fault of the program.
    #[error("{0}")]
    Failed(String),
}

impl From<PictureError> for FileFault {
    fn from(error: PictureError) -> Self {
        match error {
            PictureError::Cancelled(_) => Self::Cancelled,
            other => Self::Failed(other.to_string()),
        }
    }
}

impl From<BenchError> for FileFault {
    fn from(error: BenchError) -> Self {
        match error {
            BenchError::Picture(error) => error.into(),
            BenchError::NoSheets => Missing::NoSheets.into(),
            BenchError::TooLarge { .. } => Self::TooLarge(error.to_string()),
            other => Self::Failed(other.to_string()),
        }
    }
}

impl From<GlbError> for FileFault {
    fn from(error: GlbError) -> Self {
        match error {
            GlbError::TooLarge { .. } => Self::TooLarge(error.to_string()),
            other => Self::Failed(other.to_string()),
        }
    }
}

impl Source<'_> {
    fn style(&self) -> PictureStyle {
        let heading = Some(self.heading.to_owned()).filter(|heading| !heading.is_empty());
        PictureStyle { heading, ..PictureStyle::default() }
    }

    fn bench_style(&self) -> BenchStyle {
        let Bench { paper, waste } = self.bench;
        BenchStyle { heading: self.style().heading, paper, waste }
    }
}

/// The model and the plan in full.
fn both<'a>(source: &Source<'a>) -> Result<(Subject<'a>, &'a Plan), Missing> {
    let model = source.model.ok_or(Missing::ModelGone)?;
    Ok((model, source.plan.map_err(no_record)?))
}

fn no_record(why: &str) -> Missing {
    Missing::NoRecord(why.to_owned())
}

fn trial_of(plan: &Plan) -> Result<&PlanTrial, Missing> {
    match &plan.trial {
        TrialVerdict::Ran(trial) if !trial.report.frames.is_empty() => Ok(trial),
        _ => Err(Missing::NoTrial),
    }
}

/// Why a plan has not this file, given the plan in full or why there is none, and whether its model is there.
/// `None` where it has.
pub fn missing(file: &FileType, plan: Result<&Plan, &str>, has_model: bool) -> Option<Missing> {
    if file.content.needs_model() && !has_model {
        return Some(Missing::ModelGone);
    }
    match (file.content, plan) {
        (Content::Plan | Content::Request, _) => None,
        (_, Err(why)) => Some(no_record(why)),
        (Content::Words | Content::Picture(_) | Content::PlanInSpace, Ok(_)) => None,
        (Content::BenchPage | Content::BenchPrint, Ok(_)) => None,
        (Content::TemplateDrawing | Content::TemplatePrint, Ok(plan)) => {
            plan.sheets.is_none().then_some(Missing::NoSheets)
        }
        (Content::Sections, Ok(plan)) => (!has_sections(plan)).then_some(Missing::NoSections),
        (Content::Shell, Ok(plan)) => (!has_shell(plan)).then_some(Missing::NoShell),
        (Content::WayOutPicture | Content::WayOutInSpace, Ok(plan)) => trial_of(plan).err(),
    }
}

/// Makes one file, looking at `cancel` between its steps.
pub fn draw(file: &FileType, source: &Source<'_>, cancel: &Cancel) -> Result<Vec<u8>, FileFault> {
    cancel.check().map_err(|_| FileFault::Cancelled)?;
    if let Some(why) = missing(file, source.plan, source.model.is_some()) {
        return Err(why.into());
    }
    let trial = || trial_of(source.plan.map_err(no_record)?);
    let bytes = match file.content {
        Content::Words => {
            let (model, plan) = both(source)?;
            summary(plan, model.mesh).into_bytes()
        }
        Content::Plan => json(source.message)?,
        Content::Request => json(source.request)?,
        Content::Picture(name) => picture(source, name, cancel)?,
        Content::Sections => picture(source, "sections", cancel)?,
        Content::Shell => {
            let (model, plan) = both(source)?;
            let picture = draw_shell(model.mesh, plan, &source.style(), cancel)?;
            picture.ok_or(Missing::NoShell)?.png
        }
        Content::PlanInSpace => {
            let (model, plan) = both(source)?;
            plan_glb(model.mesh, plan, Some(MOST_BYTES))?
        }
        Content::WayOutPicture => draw_trial(trial()?, &source.style())?.png,
        Content::WayOutInSpace => {
            let trial = trial()?;
            trial_glb(&trial.report, &trial.model, Some(MOST_BYTES))?.bytes
        }
        Content::BenchPage => bench(source, cancel)?.html().into_bytes(),
        Content::BenchPrint => bench(source, cancel)?.pdf()?,
        Content::TemplateDrawing | Content::TemplatePrint => {
            let (model, plan) = both(source)?;
            let template = template(model.mesh, plan, &source.bench_style())?;
            match file.content {
                Content::TemplatePrint => template.pdf()?,
                _ => template.svg().into_bytes(),
            }
        }
    };
    if bytes.len() > MOST_BYTES {
        let words =
            format!("{} would have {} bytes, more than {MOST_BYTES}", file.name, bytes.len());
        return Err(FileFault::TooLarge(words));
    }
    Ok(bytes)
}

fn picture(source: &Source<'_>, name: &str, cancel: &Cancel) -> Result<Vec<u8>, FileFault> {
    let (model, plan) = both(source)?;
    let picture = draw_picture(model, plan, &source.style(), name, cancel)?;
    let none = || FileFault::Failed(format!("there is no picture called {name}"));
    Ok(picture.ok_or_else(none)?.png)
}

fn bench(source: &Source<'_>, cancel: &Cancel) -> Result<Pages, FileFault> {
    let (model, plan) = both(source)?;
    Ok(pages(model, plan, &source.bench_style(), cancel)?)
}

/// Makes all files that the plan has, those that show the model at one go.
pub fn draw_all(
    source: &Source<'_>,
    mut keep: impl FnMut(&FileType, &[u8]) -> Result<(), FileFault>,
) -> Result<(), FileFault> {
    let (model, plan) = both(source)?;
    let pictures = draw_plan(model, plan, &source.style())?;
    let bench = bench(source, &Cancel::new())?;
    for file in file_types() {
        if missing(&file, source.plan, true).is_some() {
            continue;
        }
        let name = match file.content {
            Content::Picture(name) => Some(name),
            Content::Sections => Some("sections"),
            _ => None,
        };
        let drawn = pictures.iter().find(|picture| Some(picture.name.as_str()) == name);
        match (drawn, file.content) {
            (Some(picture), _) => keep(&file, &picture.png)?,
            (None, Content::BenchPage) => keep(&file, bench.html().as_bytes())?,
            (None, Content::BenchPrint) => keep(&file, &bench.pdf()?)?,
            (None, _) => keep(&file, &draw(&file, source, &Cancel::new())?)?,
        }
    }
    Ok(())
}

fn json(message: &impl serde::Serialize) -> Result<Vec<u8>, FileFault> {
    let text = to_json(message).map_err(|error| FileFault::Failed(error.to_string()))?;
    Ok(text.into_bytes())
}
