//! One case in a process of its own.

use std::path::Path;
use std::sync::Mutex;
use std::time::Instant;

use serde::{Deserialize, Serialize};
use slitwright_solver::control::{Cancel, Control};
use slitwright_solver::mesh::{LengthUnit, PrepareOptions, prepare};
use slitwright_solver::plan::make_plan;
use slitwright_tests::peak_memory;

use crate::cases::{Case, all_cases};

/// What one case gave.
#[derive(Serialize, Deserialize)]
pub struct Outcome {
    /// Triangles in the file.
    pub triangles: u64,
    /// Reading, checking and decimating, s.
    pub prepare_seconds: f64,
    /// The whole plan, s.
    pub plan_seconds: f64,
    /// Stages of the plan before the search, s.
    pub stages: Vec<(String, f64)>,
    /// From the start of the plan to its first set of cuts, s.
    pub first_plan: Option<f64>,
    /// From the start of the plan to the gap asked for, s.
    pub to_gap: Option<f64>,
    gap: f64,
    target_gap: f64,
    cuts: usize,
    bridges: usize,
    length: f64,
    cost: f64,
    bound: f64,
    rounds: u32,
    rows: u32,
    planning_vertices: u64,
    /// Share of the exterior cuts where the knife is within the acceptable angle, the thinnest lip
    /// (degrees) and the length of weak lips (mm); none where sheets were not made or nothing is cut.
    lips: Option<(f64, f64, f64)>,
    missed: Vec<String>,
    stopped_by: String,
    /// Peak memory of the process, MiB.
    peak_memory: f64,
}

/// Run a case and print its outcome as JSON.
pub fn run(name: &str, file: &Path) -> Result<(), String> {
    let case = all_cases().into_iter().find(|c| c.name == name).ok_or("no such case")?;
    let bytes = std::fs::read(file).map_err(|e| format!("{}: {e}", file.display()))?;
    // These meshes cross themselves in a few faces at most.
    let options = PrepareOptions { accept_self_crossing: true, ..PrepareOptions::default() };
    let started = Instant::now();
    let model = prepare(&bytes, case.format(), Some(LengthUnit::Millimetre), &options)
        .map_err(|e| format!("{name}: {e}"))?;
    let prepare_seconds = started.elapsed().as_secs_f64();
    let request = case.request(&model.original)?;
    let target = request.budget.target_gap;
    let seen = Mutex::new((None, None));
    let control = Control::new(Cancel::new(), |progress| {
        let Ok(mut seen) = seen.lock() else { return };
        let (Some(best), Some(bound)) = (progress.best_cost, progress.lower_bound) else { return };
        seen.0.get_or_insert(progress.elapsed_seconds);
        if best - bound <= target * best {
            seen.1.get_or_insert(progress.elapsed_seconds);
        }
    });
    let started = Instant::now();
    let plan = make_plan(&model, &request, &control).map_err(|e| format!("{name}: {e}"))?;
    let plan_seconds = started.elapsed().as_secs_f64();
    drop(control);
    let (first_plan, to_gap) = seen.into_inner().map_err(|e| e.to_string())?;
    let outcome = Outcome {
        triangles: plan.figures.model_triangles,
        prepare_seconds,
        plan_seconds,
        stages: plan.figures.seconds.clone(),
        first_plan,
        to_gap,
        gap: plan.ending.gap,
        target_gap: target,
        cuts: plan.cuts.len(),
        bridges: plan.bridges.len(),
        length: plan.total_length,
        cost: plan.cost,
        bound: plan.ending.lower_bound,
        rounds: plan.figures.rounds,
        rows: plan.figures.rows,
        planning_vertices: plan.figures.planning_vertices,
        lips: plan
            .sheets
            .as_ref()
            .map(|s| (s.figures.share_acceptable, s.figures.least_wedge, s.figures.weak_length))
            .filter(|lips| lips.1.is_finite()),
        missed: plan.limits.iter().filter(|l| !l.met).map(|l| l.name.clone()).collect(),
        stopped_by: format!("{:?}", plan.ending.stopped_by),
        peak_memory: peak_memory()?,
    };
    let text = serde_json::to_string(&outcome).map_err(|e| e.to_string())?;
    println!("{text}");
    Ok(())
}

impl Outcome {
    /// Heading of the table.
    pub fn heading() -> String {
        format!(
            "{:<18} {:>9} {:>7} {:>7} {:>7} {:>7} {:>6} {:>4} {:>4} {:>8} {:>8} {:>8} {:>6} {:>6} {:>6} {:>6} {:>6} {:>5} {:>6}  {}",
            "case",
            "triangles",
            "read s",
            "first s",
            "to gap",
            "plan s",
            "gap %",
            "cuts",
            "brdg",
            "length",
            "cost",
            "bound",
            "rounds",
            "rows",
            "verts",
            "MiB",
            "knife%",
            "lip",
            "weak",
            "stopped by; limits missed"
        )
    }

    /// Its line of the table.
    pub fn line(&self, case: &Case) -> String {
        let seconds = |s: Option<f64>| s.map_or("-".to_owned(), |s| format!("{s:.1}"));
        // A plan without cuts is there at once and its gap is nothing.
        let to_gap = self.to_gap.or((self.gap <= self.target_gap).then_some(self.plan_seconds));
        format!(
            "{:<18} {:>9} {:>7.1} {:>7} {:>7} {:>7.1} {:>6.1} {:>4} {:>4} {:>8.1} {:>8.1} {:>8.1} {:>6} {:>6} {:>6} {:>6.0} {:>6} {:>5} {:>6}  {}; {}",
            case.name,
            self.triangles,
            self.prepare_seconds,
            seconds(self.first_plan),
            seconds(to_gap),
            self.plan_seconds,
            100.0 * self.gap,
            self.cuts,
            self.bridges,
            self.length,
            self.cost,
            self.bound,
            self.rounds,
            self.rows,
            self.planning_vertices,
            self.peak_memory,
            self.lips.map_or("-".to_owned(), |l| format!("{:.1}", 100.0 * l.0)),
            self.lips.map_or("-".to_owned(), |l| format!("{:.0}", l.1)),
            self.lips.map_or("-".to_owned(), |l| format!("{:.1}", l.2)),
            self.stopped_by,
            if self.missed.is_empty() { "none".to_owned() } else { self.missed.join(", ") },
        )
    }
}
