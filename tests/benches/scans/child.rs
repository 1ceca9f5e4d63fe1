//! One mesh in a process of its own.

use std::path::Path;
use std::sync::Mutex;
use std::time::Instant;

use serde::{Deserialize, Serialize};
use slitwright_solver::body::{Advised, GateChoice, MouldShape, poses};
use slitwright_solver::control::{Cancel, Control};
use slitwright_solver::mesh::{
    Fault, FaultKind, LengthUnit, MeshFormat, PrepareError, PrepareOptions, TriangleMesh, Vector,
    prepare,
};
use slitwright_solver::plan::{
    Budget, Hooks, Plan, PlanRequest, Standing, TrialVerdict, Tried, make_plan_with,
};
use slitwright_tests::peak_memory;

/// Walls of the block, mm.
const WALL: f64 = 15.0;
/// Height of the gate above the lowest point of a model without a flat base, mm.
const ABOVE: f64 = 3.0;

/// What became of a mesh.
#[derive(Serialize, Deserialize)]
pub struct Outcome {
    faces: usize,
    /// Reading and checking, s.
    read: f64,
    /// Why it was refused as it came, and how it was read then.
    refused: Option<String>,
    /// A sentence each.
    repairs: Vec<String>,
    /// How it was stood up.
    stands: String,
    planned: Result<Planned, String>,
    /// Peak memory of the process, MiB.
    peak_memory: f64,
}

/// A plan.
#[derive(Serialize, Deserialize)]
struct Planned {
    /// From the start to the first plan, and to the first that passes its trial, s.
    first: Option<f64>,
    first_pass: Option<f64>,
    seconds: f64,
    tried: String,
    passes: bool,
    pull: f64,
    cuts: usize,
    bridges: usize,
    /// Knife length without bridges, mm.
    length: f64,
    missed: Vec<String>,
}

/// Run a case and print its outcome as JSON.
pub fn run(seconds: &str, size: f64, file: &Path) -> Result<(), String> {
    let seconds: f64 = seconds.parse().map_err(|e| format!("{seconds}: {e}"))?;
    let bytes = std::fs::read(file).map_err(|e| format!("{}: {e}", file.display()))?;
    let mut started = Instant::now();
    let unit = Some(LengthUnit::Millimetre);
    let mut model = prepare(&bytes, MeshFormat::Off, unit, &PrepareOptions::default());
    let mut refused = None;
    let answers = match &model {
        Err(PrepareError::Unsound { faults, .. }) => Some(answers(faults, size)),
        _ => None,
    };
    let mut read = started.elapsed().as_secs_f64();
    if let (Some((options, words)), Err(error)) = (answers, &model) {
        refused = Some(format!("as it comes, after {read:.1} s: {error}\nread again with {words}"));
        started = Instant::now();
        model = prepare(&bytes, MeshFormat::Off, unit, &options);
        read = started.elapsed().as_secs_f64();
    }
    let outcome = match model {
        Ok(model) => {
            let (stands, gate) = stood_up(&model.original)?;
            let planned = planned(&model, gate, seconds);
            let (faces, repairs) = (model.original.faces.len(), model.repairs);
            Outcome { faces, read, refused, repairs, stands, planned, peak_memory: peak_memory()? }
        }
        Err(error) => {
            let repairs = match &error {
                PrepareError::Unsound { repairs, .. } => repairs.clone(),
                _ => Vec::new(),
            };
            let planned = Err(format!("refused: {error}"));
            let stands = "-".to_owned();
            Outcome {
                faces: 0,
                read,
                refused,
                repairs,
                stands,
                planned,
                peak_memory: peak_memory()?,
            }
        }
    };
    println!("{}", serde_json::to_string(&outcome).map_err(|e| e.to_string())?);
    Ok(())
}

/// What a person would answer who wants a plan of it all the same: every hole filled however large, a rebuilt surface within
/// a hundredth of the longest side, the body with the largest surface where there are several.
fn answers(faults: &[Fault], size: f64) -> (PrepareOptions, String) {
    let several = faults.iter().any(|f| f.kind == FaultKind::SeveralBodies);
    let options = PrepareOptions {
        largest_hole: Some(2.0 * size),
        rebuild_deviation: Some(0.01 * size),
        bodies: if several { vec![1] } else { Vec::new() },
        ..PrepareOptions::default()
    };
    let body = if several { ", the largest body" } else { "" };
    (options, format!("holes of any size filled, {:.1} mm for rebuilding{body}", 0.01 * size))
}

/// How a mesh is stood up, in words and as a gate.
fn stood_up(mesh: &TriangleMesh) -> Result<(String, GateChoice), String> {
    let found = poses(mesh, &Vector::z()).map_err(|e| e.to_string())?;
    let pose = |k: usize| {
        let pose = &found.candidates[k];
        (format!("{:.0} %", 100.0 * pose.likelihood), pose.stance.up)
    };
    Ok(match found.advised {
        Advised::AsGiven => ("as given".to_owned(), GateChoice::LowestFlat { up: Vector::z() }),
        Advised::Pose(k) => {
            let (share, up) = pose(k);
            (format!("flat, {share}"), GateChoice::LowestFlat { up })
        }
        Advised::NoneFlat(k) => {
            let (share, up) = pose(k);
            let height = |p: &slitwright_solver::mesh::Point| p.coords.dot(&up);
            let lowest = mesh.positions.iter().map(height).fold(f64::INFINITY, f64::min);
            let point = (up * (lowest + ABOVE)).into();
            (format!("plane, {share}"), GateChoice::Plane { point, normal: -up })
        }
    })
}

fn planned(
    model: &slitwright_solver::mesh::Model,
    gate: GateChoice,
    seconds: f64,
) -> Result<Planned, String> {
    let request = PlanRequest {
        gate,
        mould: MouldShape::Box { side_clearance: WALL, top_clearance: WALL },
        budget: Budget { seconds, ..Budget::default() },
        ..PlanRequest::default()
    };
    let started = Instant::now();
    let seen = Mutex::new((None, None));
    let better = |plan: &Plan| {
        let now = started.elapsed().as_secs_f64();
        if let Ok(mut seen) = seen.lock() {
            seen.0.get_or_insert(now);
            if passes(plan) {
                seen.1.get_or_insert(now);
            }
        }
    };
    let hooks = Hooks { better: Some(&better), ..Hooks::NONE };
    let control = Control::new(Cancel::new(), |_| {});
    let plan = make_plan_with(model, &request, &control, &hooks).map_err(|e| e.to_string())?;
    let seconds = started.elapsed().as_secs_f64();
    let (first, first_pass) = seen.into_inner().map_err(|e| e.to_string())?;
    let (tried, pull) = match &plan.trial {
        TrialVerdict::NotRun(why) => (format!("{why:?}"), 0.0),
        TrialVerdict::Ran(trial) => {
            (format!("{:?}", Standing::of(&plan).tried), trial.report.greatest_pull())
        }
    };
    Ok(Planned {
        first,
        first_pass,
        seconds,
        tried,
        passes: passes(&plan),
        pull,
        cuts: plan.cuts.len() - plan.bridges.len().min(plan.cuts.len()),
        bridges: plan.bridges.len(),
        length: plan.two_sides.map_or(plan.total_length, |t| t.cut),
        missed: plan.limits.iter().filter(|l| !l.met).map(|l| l.name.clone()).collect(),
    })
}

fn passes(plan: &Plan) -> bool {
    matches!(Standing::of(plan).tried, Tried::Passed | Tried::Narrowly)
}

impl Outcome {
    /// Whether there is a plan.
    pub fn has_plan(&self) -> bool {
        self.planned.is_ok()
    }

    /// Whether it was read as it came.
    pub fn as_it_came(&self) -> bool {
        self.refused.is_none()
    }

    /// Whether it comes off.
    pub fn passes(&self) -> bool {
        self.planned.as_ref().is_ok_and(|plan| plan.passes)
    }

    /// Heading of the table.
    pub fn heading() -> String {
        format!(
            "{:<20} {:>7} {:>6} {:<12} {:>7} {:>7} {:>5} {:<10} {:>6} {:>4} {:>4} {:>6} {:>5}  {}",
            "mesh",
            "faces",
            "read s",
            "stands",
            "first s",
            "passes",
            "s",
            "trial",
            "pull N",
            "cuts",
            "brdg",
            "cut mm",
            "MiB",
            "limits missed"
        )
    }

    /// Its line of the table, with what was repaired, or why there is no plan, below.
    pub fn lines(&self, name: &str) -> String {
        let seconds = |s: Option<f64>| s.map_or("-".to_owned(), |s| format!("{s:.1}"));
        let head = format!("{name:<20} {:>7} {:>6.1} {:<12}", self.faces, self.read, self.stands);
        let mut text = match &self.planned {
            Ok(plan) => format!(
                "{head} {:>7} {:>7} {:>5.0} {:<10} {:>6.0} {:>4} {:>4} {:>6.0} {:>5.0}  {}",
                seconds(plan.first),
                seconds(plan.first_pass),
                plan.seconds,
                plan.tried,
                plan.pull,
                plan.cuts,
                plan.bridges,
                plan.length,
                self.peak_memory,
                if plan.missed.is_empty() { "none".to_owned() } else { plan.missed.join(", ") },
            ),
            Err(why) => format!("{head} no plan ({:.0} MiB): {why}", self.peak_memory),
        };
        let lines = self.refused.iter().flat_map(|told| told.lines());
        for line in lines.chain(self.repairs.iter().map(String::as_str)) {
            text += &format!("\n    {line}");
        }
        text
    }
}
