//! Time and convergence of the release trial:
//! `cargo bench -p slitwright-tests --bench release_trial --profile dev -- 5000 20000 60000`.
//!
//! A ball on a rod in a block, uncut and with a cut along one side, and a ball in a blanket, with each
//! number of elements asked for. With `demo` in their place: the demo pieces, uncut in a box of 15 mm, with
//! 60 s each; `demo jug` takes one. Memory is the highest of the process so far. RAYON_NUM_THREADS=1 tells
//! what one core does. With `library` and numbers of elements: the mechanics beside felupe, where `SLITWRIGHT_PYTHON` names a Python
//! that has it.

mod library;

use std::process::ExitCode;
use std::time::Instant;

use slitwright_solver::body::{MouldBody, MouldShape, Rubber};
use slitwright_solver::control::Control;
use slitwright_solver::mesh::{Point, TriangleMesh};
use slitwright_solver::trial::{TrialReport, TrialSettings, TrialSetup, run};
use slitwright_tests::{bench_words, ended, peak_memory};

const RADIUS: f64 = 12.0;
const ROD: f64 = 4.0;
const NECK: f64 = 12.0;
const AROUND: u32 = 48;

fn main() -> ExitCode {
    let words = bench_words();
    let beside = words.first().is_some_and(|w| w == "library");
    let asked: Result<Vec<usize>, _> =
        words.iter().skip(usize::from(beside)).map(|w| w.parse()).collect();
    let done = match asked {
        Ok(asked) if beside => library::beside_a_library(&asked),
        _ if words.first().is_some_and(|w| w == "demo") => demo(words.get(1)),
        Ok(asked) if !asked.is_empty() => all(&asked),
        Ok(_) => all(&[5_000, 20_000, 60_000]),
        Err(error) => Err(format!("elements: {error}")),
    };
    ended("release_trial", done)
}

fn head() {
    println!(
        "{:<14} {:>8} {:>8} {:>6} {:>7} {:>8} {:>6} {:>9} {:>8} {:>8} {:>8}  outcome",
        "case",
        "elements",
        "spacing",
        "steps",
        "s",
        "M el/s",
        "MiB",
        "pull N",
        "greatest",
        "99 %",
        "overlap"
    );
}

fn row(name: &str, report: &TrialReport, seconds: f64) -> Result<(), String> {
    let pull = report.pull.iter().map(|p| p.force).fold(0.0, f64::max);
    let done = report.mesh.elements as f64 * report.relaxation_steps as f64 / seconds / 1e6;
    println!(
        "{:<14} {:>8} {:>8.2} {:>6} {:>7.1} {:>8.1} {:>6.0} {:>9.1} {:>8.2} {:>8.2} {:>8.2}  {:?}",
        name,
        report.mesh.elements,
        report.mesh.spacing,
        report.relaxation_steps,
        seconds,
        done,
        peak_memory()?,
        pull,
        report.greatest_stretch,
        report.stretch_99,
        report.overlap,
        report.outcome
    );
    for c in &report.coarser {
        println!("    before: {c:?}");
    }
    Ok(())
}

/// One trial, and its row.
fn tried(
    name: &str,
    (model, body): (&TriangleMesh, &MouldBody),
    sheets: &[TriangleMesh],
    settings: &TrialSettings,
) -> Result<TrialReport, String> {
    let rubber = Rubber::default();
    let setup = TrialSetup {
        body,
        model,
        sheets,
        across: &[],
        rubber: &rubber,
        bridges: &[],
        plugs: &[],
        settings,
    };
    let start = Instant::now();
    let report = run(&setup, &Control::silent()).map_err(|e| e.to_string())?;
    row(name, &report, start.elapsed().as_secs_f64())?;
    Ok(report)
}

fn demo(only: Option<&String>) -> Result<(), String> {
    let block = MouldShape::Box { side_clearance: 15.0, top_clearance: 15.0 };
    head();
    for piece in demo_models::pieces() {
        if only.is_some_and(|o| o != piece.name) {
            continue;
        }
        let model = piece.mesh().map_err(|e| e.to_string())?;
        let body = MouldBody::new(&model, &block).map_err(|e| e.to_string())?;
        let settings = TrialSettings { seconds: Some(60.0), ..TrialSettings::default() };
        tried(piece.name, (&model, &body), &[], &settings)?;
    }
    Ok(())
}

fn all(asked: &[usize]) -> Result<(), String> {
    let model = ball_on_rod();
    let block = MouldShape::Box { side_clearance: 10.0, top_clearance: 10.0 };
    let blanket = MouldShape::Blanket { thickness: 6.0 };
    head();
    for (name, shape, sheets) in [
        ("block, uncut", &block, vec![]),
        ("block, cut", &block, vec![side_cut()]),
        ("blanket, uncut", &blanket, vec![]),
        ("blanket, cut", &blanket, vec![side_cut()]),
    ] {
        let body = MouldBody::new(&model, shape).map_err(|e| e.to_string())?;
        for &elements in asked {
            let settings = TrialSettings { elements, ..TrialSettings::default() };
            let report = tried(name, (&model, &body), &sheets, &settings)?;
            if std::env::var_os("SLITWRIGHT_TRIAL_CURVE").is_some() {
                for p in &report.pull {
                    println!("    {:8.2} mm {:8.2} N {}", p.travel, p.force, p.settled);
                }
            }
        }
    }
    Ok(())
}

/// A ball on a rod that stands on the board, as a surface of revolution.
fn ball_on_rod() -> TriangleMesh {
    let lowest = (ROD / RADIUS).asin();
    let middle = NECK + RADIUS * lowest.cos();
    let mut profile = vec![[ROD, 0.0], [ROD, NECK / 2.0]];
    profile.extend((0..=32).map(|k| {
        let a = lowest + (std::f64::consts::PI - 0.02 - lowest) * f64::from(k) / 32.0;
        [RADIUS * a.sin(), middle - RADIUS * a.cos()]
    }));
    let mut mesh = TriangleMesh::default();
    for [r, z] in &profile {
        for k in 0..AROUND {
            let a = std::f64::consts::TAU * f64::from(k) / f64::from(AROUND);
            mesh.positions.push(Point::new(r * a.cos(), r * a.sin(), *z));
        }
    }
    let rings = profile.len() as u32;
    let at = |ring: u32, k: u32| ring * AROUND + k % AROUND;
    for ring in 0..rings - 1 {
        for k in 0..AROUND {
            let (a, b, c, d) = (at(ring, k), at(ring, k + 1), at(ring + 1, k + 1), at(ring + 1, k));
            mesh.faces.extend([[a, b, c], [a, c, d]]);
        }
    }
    let ends = mesh.positions.len() as u32;
    mesh.positions.push(Point::new(0.0, 0.0, 0.0));
    mesh.positions.push(Point::new(0.0, 0.0, profile[rings as usize - 1][1]));
    for k in 0..AROUND {
        mesh.faces.push([ends, at(0, k + 1), at(0, k)]);
        mesh.faces.push([ends + 1, at(rings - 1, k), at(rings - 1, k + 1)]);
    }
    mesh
}

/// From the axis out to one side, from the board to the height of the ball's top.
fn side_cut() -> TriangleMesh {
    let at = |x, z| Point::new(x, 0.01, z);
    let top = NECK + 2.0 * RADIUS;
    TriangleMesh {
        positions: vec![at(0.0, -1.0), at(60.0, -1.0), at(60.0, top), at(0.0, top)],
        faces: vec![[0, 1, 2], [0, 2, 3]],
    }
}
