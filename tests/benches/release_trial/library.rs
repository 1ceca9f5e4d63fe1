//! The trial's mechanics beside a general-purpose library of finite elements, in one run and on one mesh.
//!
//! A cube of rubber whose ends are bonded to plates is drawn out by [`DRAWN`] of its height: force on the plates, seconds to rest from
//! the state of even stretch, and elements a second whose forces are summed up. The library (felupe, `felupe_times.py` beside this
//! file) assembles the same forces by NumPy and finds rest by Newton's method with a sparse direct solver. It has the same tetrahedra
//! without what keeps these from locking, so that its force is somewhat greater.

use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Instant;

use slitwright_solver::control::Control;
use slitwright_solver::mesh::{Point, Vector};
use slitwright_solver::trial::{
    Elastic, Material, Region, Relaxation, Skin, Solid, Workspace, fill,
};

/// Side of the cube, mm; shear modulus, MPa; share of the height by which it is drawn out.
const SIDE: f64 = 20.0;
const SHEAR: f64 = 0.3;
const DRAWN: f64 = 0.3;
/// Sums of all forces that are timed.
const SUMS: usize = 200;
/// Unbalanced force at rest, over what is applied.
const AT_REST: f64 = 1e-3;

struct Cube;

impl Region for Cube {
    fn level(&self, p: &Point) -> f64 {
        (p.coords - Vector::repeat(0.5 * SIDE)).amax() - 0.5 * SIDE
    }

    fn skin(&self, _: &Point) -> Skin {
        Skin::Outside
    }

    fn bounds(&self) -> (Point, Point) {
        (Point::origin(), Point::from(Vector::repeat(SIDE)))
    }
}

/// Both, with about so many elements each time.
pub fn beside_a_library(asked: &[usize]) -> Result<(), String> {
    println!(
        "{:<14} {:>8} {:>8} {:>9} {:>9} {:>9}",
        "program", "elements", "nodes", "M el/s", "rest s", "force N"
    );
    for &elements in asked {
        // Twelve elements a cube of the lattice.
        let spacing = SIDE / (elements as f64 / 12.0).cbrt();
        let solid = fill(&Cube, spacing, 0, &Control::silent()).map_err(|e| e.to_string())?;
        ours(&solid)?;
        library(&solid)?;
    }
    Ok(())
}

fn is_end(p: &Point, height: f64) -> bool {
    (p.z - height).abs() < 1e-6 * SIDE
}

fn drawn(p: &Point) -> Point {
    Point::new(p.x, p.y, (1.0 + DRAWN) * p.z)
}

fn ours(solid: &Solid) -> Result<(), String> {
    let elastic = Elastic::new(solid, Material::with_shear(SHEAR));
    let x: Vec<Point> = solid.nodes.iter().map(drawn).collect();
    let mut work = Workspace::default();
    let started = Instant::now();
    for _ in 0..SUMS {
        elastic.load(&x, &mut work);
    }
    let each = started.elapsed().as_secs_f64() / SUMS as f64;
    let started = Instant::now();
    let mut body = Relaxation::new(&elastic, x, &[], SIDE / 10.0);
    for (held, p) in body.held.iter_mut().zip(&solid.nodes) {
        *held = [is_end(p, 0.0) || is_end(p, SIDE); 3];
    }
    let settled = body.settle(None, 0.0, AT_REST, 100_000, &Control::silent());
    let settled = settled.map_err(|e| e.to_string())?;
    let rest = started.elapsed().as_secs_f64();
    let top = (0..solid.nodes.len()).filter(|&n| is_end(&solid.nodes[n], SIDE));
    let force: f64 = top.map(|n| body.reactions[n].z).sum();
    println!(
        "{:<14} {:>8} {:>8} {:>9.2} {:>9.2} {:>9.2}   {} steps, residual {:.1e}",
        "slitwright",
        solid.elements.len(),
        solid.nodes.len(),
        solid.elements.len() as f64 / each / 1e6,
        rest,
        force,
        settled.steps,
        settled.residual
    );
    Ok(())
}

/// The library on the same nodes and elements, given as JSON.
fn library(solid: &Solid) -> Result<(), String> {
    let Some(python) = std::env::var_os("SLITWRIGHT_PYTHON") else {
        println!("felupe was not run: SLITWRIGHT_PYTHON names no Python that has it");
        return Ok(());
    };
    let script =
        Path::new(env!("CARGO_MANIFEST_DIR")).join("benches/release_trial/felupe_times.py");
    let nodes: Vec<[f64; 3]> = solid.nodes.iter().map(|p| [p.x, p.y, p.z]).collect();
    let given = serde_json::json!({
        "nodes": nodes, "elements": solid.elements, "side": SIDE, "shear": SHEAR,
        "bulk": 40.0 * SHEAR, "drawn": DRAWN, "at_rest": AT_REST,
    });
    let told = |e: std::io::Error| format!("{}: {e}", python.display());
    let mut child =
        Command::new(&python).arg(&script).stdin(Stdio::piped()).spawn().map_err(told)?;
    if let Some(mut input) = child.stdin.take() {
        input.write_all(given.to_string().as_bytes()).map_err(told)?;
    }
    let status = child.wait().map_err(told)?;
    if status.success() { Ok(()) } else { Err(format!("felupe ended with {status}")) }
}
