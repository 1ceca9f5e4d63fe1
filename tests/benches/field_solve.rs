//! Time and memory of the potential in the rubber: `cargo bench -p slitwright-tests --bench field_solve`.
//!
//! A torus in a ball, both by formula, and the mesh of a torus in a box and in a blanket, on grids of 64,
//! 128, 192 and 256 nodes along the longest side, to a residual of 1e-8. Each case runs in a process of
//! its own, so that its peak memory is its own. Numbers after `--` pick grids.
//! Where `SLITWRIGHT_PYTHON` names a Python with NumPy, SciPy and pyamg, the ball's
//! equations are solved by pyamg too (`pyamg_times.py` beside this file), up to 128 nodes a side unless
//! `SLITWRIGHT_PYAMG_LARGEST` says otherwise: beyond that it needs much memory.

use std::path::Path;
use std::process::{Command, ExitCode, Stdio};
use std::time::Instant;

use slitwright_solver::body::{MouldBody, MouldShape};
use slitwright_solver::control::Control;
use slitwright_solver::field::{Domain, Equations, ImplicitDomain, RubberDomain};
use slitwright_solver::mesh::Point;
use slitwright_tests::{bench_words, ended, torus_with_edge};

const ONE: &str = "--one";
const MAJOR: f64 = 20.0;
const MINOR: f64 = 6.0;
const BALL: f64 = 40.0;
const TOLERANCE: f64 = 1e-8;

fn main() -> ExitCode {
    let words = bench_words();
    let done = match words.as_slice() {
        [flag, case, nodes] if flag == ONE => {
            nodes.parse().map_err(|e| format!("{nodes}: {e}")).and_then(|n| one(case, n))
        }
        _ => all(&words),
    };
    ended("field_solve", done)
}

fn all(words: &[String]) -> Result<(), String> {
    let nodes = if words.is_empty() {
        vec![64, 128, 192, 256]
    } else {
        words
            .iter()
            .map(|w| w.parse().map_err(|e| format!("{w}: {e}")))
            .collect::<Result<_, _>>()?
    };
    println!(
        "{:<12} {:>6} {:>10} {:>9} {:>9} {:>6} {:>9} {:>9} {:>9} {:>9}",
        "solver",
        "nodes",
        "unknowns",
        "set-up s",
        "solve s",
        "iter",
        "residual",
        "stated MB",
        "peak MB",
        "saddles s"
    );
    let this = std::env::current_exe().map_err(|e| format!("this program's path: {e}"))?;
    for case in ["ball", "box", "blanket"] {
        for n in &nodes {
            run(Command::new(&this).args([ONE, case, &n.to_string()]))?;
        }
    }
    let Some(python) = std::env::var_os("SLITWRIGHT_PYTHON") else {
        println!("pyamg was not run: SLITWRIGHT_PYTHON names no Python that has it");
        return Ok(());
    };
    let largest: usize = match std::env::var("SLITWRIGHT_PYAMG_LARGEST") {
        Ok(text) => text.parse().map_err(|e| format!("SLITWRIGHT_PYAMG_LARGEST: {e}"))?,
        Err(_) => 128,
    };
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("benches/pyamg_times.py");
    for n in nodes.iter().filter(|&&n| n <= largest) {
        run(Command::new(&python).arg(&script).arg(n.to_string()).arg(TOLERANCE.to_string()))?;
    }
    Ok(())
}

fn run(command: &mut Command) -> Result<(), String> {
    let status = command
        .stdin(Stdio::null())
        .status()
        .map_err(|e| format!("{}: {e}", command.get_program().display()))?;
    if status.success() { Ok(()) } else { Err(format!("a case ended with {status}")) }
}

fn one(case: &str, nodes: usize) -> Result<(), String> {
    if case == "ball" {
        let domain = ImplicitDomain {
            model: |p: &Point| (p.x.hypot(p.y) - MAJOR).hypot(p.z) - MINOR,
            outside: |p: &Point| p.coords.norm() - BALL,
            bounds: (Point::new(-BALL, -BALL, -BALL), Point::new(BALL, BALL, BALL)),
            on_board: false,
        };
        return measured(case, &domain, nodes);
    }
    let mut model = torus_with_edge(MAJOR, MINOR, 0.3);
    // It hangs, so that there is rubber all round.
    model.positions.iter_mut().for_each(|p| p.z -= 2.0 * BALL);
    let shape = match case {
        "box" => MouldShape::Box { side_clearance: 14.0, top_clearance: 14.0 },
        // So thick that it fills the hole.
        "blanket" => MouldShape::Blanket { thickness: 15.0 },
        _ => return Err(format!("no case is called {case}")),
    };
    let body = MouldBody::new(&model, &shape).map_err(|e| e.to_string())?;
    measured(case, &RubberDomain::new(&body, &model), nodes)
}

fn measured(case: &str, domain: &dyn Domain, nodes: usize) -> Result<(), String> {
    let (low, high) = domain.bounds();
    // A layer or two of the nodes lies outside.
    let spacing = (high - low).max() / (nodes as f64 - 3.5);
    let control = Control::silent();
    let started = Instant::now();
    let equations = Equations::new(domain, spacing, &control).map_err(|e| e.to_string())?;
    let set_up = started.elapsed().as_secs_f64();
    let started = Instant::now();
    let field = equations.solve(TOLERANCE, &control).map_err(|e| e.to_string())?;
    let solved = started.elapsed().as_secs_f64();
    let report = field.report();
    let peak = peak_memory()?;
    let started = Instant::now();
    let found = field.saddles(0.02, None, &control).map_err(|e| e.to_string())?;
    if found.saddles.len() != 1 {
        return Err(format!("{} saddles in a torus", found.saddles.len()));
    }
    println!(
        "{:<12} {:>6} {:>10} {:>9.2} {:>9.2} {:>6} {:>9.1e} {:>9} {:>9} {:>9.2}",
        case,
        field.grid().counts[0],
        report.unknowns,
        set_up,
        solved,
        report.iterations,
        report.residual,
        field.grid().memory_bytes() / 1_000_000,
        peak,
        started.elapsed().as_secs_f64(),
    );
    Ok(())
}

/// Peak resident memory of this process, MB.
fn peak_memory() -> Result<u64, String> {
    let text = std::fs::read_to_string("/proc/self/status").map_err(|e| format!("status: {e}"))?;
    text.lines()
        .find_map(|l| l.strip_prefix("VmHWM:")?.split_whitespace().next()?.parse::<u64>().ok())
        .map(|kib| kib * 1024 / 1_000_000)
        .ok_or_else(|| "no VmHWM in /proc/self/status".to_string())
}
