//! What somebody who wants to look gets to see: trials on the way, and pictures and words at the end.

use std::path::PathBuf;

use slitwright_solver::control::{Cancel, Control, Progress};
use slitwright_solver::mesh::Model;
use slitwright_solver::outputs::pictures::{PictureStyle, draw_plan, draw_trial};
use slitwright_solver::outputs::summary;
use slitwright_solver::plan::{Plan, TrialVerdict};

/// Where to, if anybody wants to look.
pub struct Shown {
    name: String,
    folder: Option<PathBuf>,
}

impl Shown {
    /// For a case.
    pub fn new(case: &str) -> Self {
        let folder = std::env::var_os("SLITWRIGHT_SHOW").map(PathBuf::from);
        Self { name: case.replace(' ', "-"), folder }
    }

    /// Tells of each trial that begins.
    pub fn control(&self) -> Control<'static> {
        let is_wanted = self.folder.is_some();
        Control::new(Cancel::new(), move |progress: Progress| {
            if is_wanted && progress.message.contains("simulation") {
                eprintln!("{:7.1} s: {}", progress.elapsed_seconds, progress.message);
            }
        })
    }

    /// A better plan.
    pub fn better(&self, plan: &Plan, seconds: f64) {
        if self.folder.is_none() {
            return;
        }
        let trial = match &plan.trial {
            TrialVerdict::NotRun(why) => format!("{why:?}"),
            TrialVerdict::Ran(trial) => {
                let report = &trial.report;
                let (mesh, pull) = (&report.mesh, report.greatest_pull());
                format!("{:?}, {pull:.0} N, {} elements", report.outcome, mesh.elements)
            }
        };
        eprintln!("{seconds:7.1} s: better, {:.0} mm: {trial}", plan.total_length);
    }

    /// The plan as it is in the end.
    pub fn end(&self, model: &Model, plan: &Plan) -> Result<(), String> {
        let Some(folder) = &self.folder else { return Ok(()) };
        let write = |what: &str, bytes: &[u8]| {
            let file = folder.join(format!("{}-{what}", self.name));
            std::fs::write(&file, bytes).map_err(|e| format!("{}: {e}", file.display()))
        };
        let style = PictureStyle::default();
        if let TrialVerdict::Ran(trial) = &plan.trial {
            write("way-out.png", &draw_trial(trial, &style).map_err(|e| e.to_string())?.png)?;
        }
        let pictures = draw_plan(&model.original, plan, &style).map_err(|e| e.to_string())?;
        for picture in pictures.iter().filter(|p| p.name.contains("overview")) {
            write("overview.png", &picture.png)?;
        }
        write("plan.txt", summary(plan, &model.original).as_bytes())
    }
}
