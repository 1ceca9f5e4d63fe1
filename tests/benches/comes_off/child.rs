//! One case in a process of its own.

use std::path::Path;
use std::sync::Mutex;
use std::time::Instant;

use serde::{Deserialize, Serialize};
use slitwright_solver::mesh::{LengthUnit, MeshFormat, PrepareOptions, prepare};
use slitwright_solver::plan::{Hooks, Plan, Standing, TrialVerdict, Tried, make_plan_with};
use slitwright_tests::peak_memory;

use crate::cases::{Case, all_cases};
use crate::shown::Shown;

/// What one case gave.
#[derive(Serialize, Deserialize)]
pub struct Outcome {
    /// From the start of the plan to the first that passes its trial, s.
    first_pass: Option<f64>,
    seconds: f64,
    tried: String,
    passes: bool,
    pull: f64,
    elements: u64,
    cuts: usize,
    bridges: usize,
    /// Knife length without bridges, mm.
    length: f64,
    /// The whole border between the two sides, mm; none where the plan is not cut between two sides.
    border: Option<f64>,
    within: Option<f64>,
    missed: Vec<String>,
    /// Peak memory of the process, MiB.
    peak_memory: f64,
}

/// Run a case and print its outcome as JSON.
pub fn run(name: &str, seconds: &str, file: &Path) -> Result<(), String> {
    let case = all_cases().into_iter().find(|c| c.name() == name).ok_or("no such case")?;
    let seconds: f64 = seconds.parse().map_err(|e| format!("{seconds}: {e}"))?;
    let bytes = std::fs::read(file).map_err(|e| format!("{}: {e}", file.display()))?;
    // Some open meshes cross themselves in a few faces.
    let options = PrepareOptions { accept_self_crossing: true, ..PrepareOptions::default() };
    let model = prepare(&bytes, MeshFormat::Stl, Some(LengthUnit::Millimetre), &options)
        .map_err(|e| format!("{name}: {e}"))?;
    let request = case.request(seconds);
    let started = Instant::now();
    let first = Mutex::new(None);
    let shown = Shown::new(&case.name());
    let better = |plan: &Plan| {
        shown.better(plan, started.elapsed().as_secs_f64());
        if passes(plan)
            && let Ok(mut first) = first.lock()
        {
            first.get_or_insert(started.elapsed().as_secs_f64());
        }
    };
    let hooks = Hooks { better: Some(&better), ..Hooks::NONE };
    let plan = make_plan_with(&model, &request, &shown.control(), &hooks)
        .map_err(|e| format!("{name}: {e}"))?;
    let seconds = started.elapsed().as_secs_f64();
    shown.end(&model, &plan)?;
    let (tried, pull, elements) = match &plan.trial {
        TrialVerdict::NotRun(why) => (format!("{why:?}"), 0.0, 0),
        TrialVerdict::Ran(trial) => {
            let report = &trial.report;
            (
                format!("{:?}", Standing::of(&plan).tried),
                report.greatest_pull(),
                report.mesh.elements as u64,
            )
        }
    };
    let outcome = Outcome {
        first_pass: first.into_inner().map_err(|e| e.to_string())?,
        seconds,
        tried,
        passes: passes(&plan),
        pull,
        elements,
        cuts: plan.cuts.len() - plan.bridges.len().min(plan.cuts.len()),
        bridges: plan.bridges.len(),
        length: plan.two_sides.map_or(plan.total_length, |t| t.cut),
        border: plan.two_sides.map(|t| t.border),
        within: plan.sheets.as_ref().map(|s| s.figures.share_acceptable).filter(|s| s.is_finite()),
        missed: plan.limits.iter().filter(|l| !l.met).map(|l| l.name.clone()).collect(),
        peak_memory: peak_memory()?,
    };
    println!("{}", serde_json::to_string(&outcome).map_err(|e| e.to_string())?);
    Ok(())
}

fn passes(plan: &Plan) -> bool {
    matches!(Standing::of(plan).tried, Tried::Passed | Tried::Narrowly)
}

impl Outcome {
    /// Heading of the table.
    pub fn heading() -> String {
        format!(
            "{:<18} {:<8} {:>7} {:>6} {:<14} {:>6} {:>8} {:>4} {:>4} {:>6} {:>6} {:>4} {:>6} {:>5}  {}",
            "piece",
            "mould",
            "first s",
            "s",
            "trial",
            "pull N",
            "elements",
            "cuts",
            "brdg",
            "cut mm",
            "border",
            "%",
            "knife%",
            "MiB",
            "limits missed"
        )
    }

    /// Its line of the table.
    pub fn line(&self, case: &Case) -> String {
        let or_dash = |value: Option<f64>, places: usize| {
            value.map_or("-".to_owned(), |v| format!("{v:.places$}"))
        };
        format!(
            "{:<18} {:<8} {:>7} {:>6.0} {:<14} {:>6.0} {:>8} {:>4} {:>4} {:>6.0} {:>6} {:>4} {:>6} {:>5.0}  {}",
            case.piece,
            case.mould,
            or_dash(self.first_pass, 1),
            self.seconds,
            self.tried,
            self.pull,
            self.elements,
            self.cuts,
            self.bridges,
            self.length,
            or_dash(self.border, 0),
            or_dash(self.share().map(|s| 100.0 * s), 0),
            or_dash(self.within.map(|s| 100.0 * s), 1),
            self.peak_memory,
            if self.missed.is_empty() { "none".to_owned() } else { self.missed.join(", ") },
        )
    }

    /// What is cut of the border.
    fn share(&self) -> Option<f64> {
        self.border.map(|border| self.length / border)
    }
}

/// What all of them come to.
pub fn summary(outcomes: &[Outcome], asked: usize) -> String {
    let passing: Vec<&Outcome> = outcomes.iter().filter(|o| o.passes).collect();
    let shares: Vec<f64> = passing.iter().filter_map(|o| o.share()).collect();
    let mean = 0.0 + 100.0 * shares.iter().sum::<f64>() / shares.len().max(1) as f64;
    let slowest = passing.iter().filter_map(|o| o.first_pass).fold(0.0, f64::max);
    let memory = outcomes.iter().map(|o| o.peak_memory).fold(0.0, f64::max);
    format!(
        "{} of {asked} come off; {} of them are cut between two sides, {mean:.0} % of the border on the mean; the slowest \
         first one took {slowest:.0} s; at most {memory:.0} MiB",
        passing.len(),
        shares.len()
    )
}
