//! The girth model against the trial on demo pieces and open meshes: with bridges cut and nothing else, with
//! a plan's cuts, and with 60 % of each. The same code judges all of them: what the girth model predicts is
//! whether it finds a ring too tight.

use slitwright_solver::body::{GateChoice, MouldShape};
use slitwright_solver::control::Control;
use slitwright_solver::mesh::{
    Model, Point, PrepareOptions, TriangleMesh, point_along, polyline_length, prepare_mesh,
};
use slitwright_solver::plan::{
    Budget, CutKind, Miss, Plan, PlanRequest, Scheme, SchemeCut, SchemeLine, TrialMode,
    TrialRequest, TrialVerdict, judge_scheme, make_plan,
};
use slitwright_solver::trial::Outcome;
use slitwright_tests::calibration::Tally;
use slitwright_tests::{open_gate, open_mesh_sized, outside_out};

/// Seconds of the search.
const SEARCH: f64 = 10.0;
/// Open meshes.
const OPEN: [&str; 3] = ["bunny00", "hand", "refined_elephant"];
/// Walls of the blocks, and thickness of the blankets, mm.
const WALLS: (f64, f64) = (15.0, 8.0);

/// Compare those named, or all of them, in a block and in a blanket each, with so many seconds for each
/// trial.
pub fn all(seconds: f64, names: &[&str]) -> Result<(), String> {
    println!(
        "{:<18} {:<8} {:<8} {:>7} {:>8} {:>6} {:>8}  predicted found",
        "piece", "mould", "cuts", "mm", "elements", "pull N", "99 %"
    );
    let mut tally = Tally::default();
    for (name, mesh, gate) in family()? {
        if !names.is_empty() && !names.contains(&name.as_str()) {
            continue;
        }
        let model = prepare_mesh(mesh, &PrepareOptions::default()).map_err(|e| e.to_string())?;
        let (wall, thickness) = WALLS;
        let block = MouldShape::Box { side_clearance: wall, top_clearance: wall };
        for (mould, shape) in [("block", block), ("blanket", MouldShape::Blanket { thickness })] {
            match compare((&name, mould), &model, shape, &gate, seconds) {
                Ok(found) => tally.add(found),
                Err(error) => println!("{name:<18} {mould:<8} left out: {error}"),
            }
        }
    }
    println!("{tally:?}");
    Ok(())
}

fn family() -> Result<Vec<(String, TriangleMesh, GateChoice)>, String> {
    let mut family = Vec::new();
    for piece in demo_models::pieces() {
        let mesh = piece.mesh().map_err(|e| e.to_string())?;
        family.push((piece.name.to_owned(), mesh, PlanRequest::default().gate));
    }
    for name in OPEN {
        let mesh = outside_out(open_mesh_sized(name, 150.0)?);
        let gate = open_gate(name, &mesh);
        family.push((name.to_owned(), mesh, gate));
    }
    Ok(family)
}

/// What the girth model predicted and what the trial found, for each scheme that was tried to its end.
fn compare(
    (name, mould): (&str, &str),
    model: &Model,
    shape: MouldShape,
    gate: &GateChoice,
    trial: f64,
) -> Result<Vec<(bool, bool)>, String> {
    let request = |mode, seconds| PlanRequest {
        mould: shape.clone(),
        gate: gate.clone(),
        trial: TrialRequest { mode, ..TrialRequest::default() },
        budget: Budget { seconds, ..Budget::default() },
        ..PlanRequest::default()
    };
    let silent = Control::silent;
    let searched = request(TrialMode::Off, SEARCH);
    let plan = make_plan(model, &searched, &silent()).map_err(|e| e.to_string())?;
    let judged = request(TrialMode::Judge, trial);
    let mut found = Vec::new();
    for (cuts, share) in [("bridges", 0.0), ("60 %", 0.6), ("plan", 1.0)] {
        let scheme = shortened(&plan, share);
        let result = match judge_scheme(model, &judged, &scheme, &silent()) {
            Ok(result) => result,
            Err(error) => {
                println!("{name:<18} {mould:<8} {cuts:<8} left out: {error}");
                continue;
            }
        };
        let predicted = !result.misses.iter().any(|m| matches!(m, Miss::TightRing { .. }));
        let TrialVerdict::Ran(trial) = &result.plan.trial else {
            println!("{name:<18} {mould:<8} {cuts:<8} left out: {:?}", result.plan.trial);
            continue;
        };
        let report = &trial.report;
        println!(
            "{name:<18} {mould:<8} {cuts:<8} {:>7.0} {:>8} {:>6.0} {:>8.2}  {predicted:<9} {:?}",
            result.plan.total_length,
            report.mesh.elements,
            report.greatest_pull(),
            report.stretch_99,
            report.outcome
        );
        if !matches!(report.outcome, Outcome::OutOfTime | Outcome::NoVerdict { .. }) {
            found.push((predicted, report.outcome == Outcome::Released));
        }
    }
    Ok(found)
}

/// The plan's bridge cuts, and a share of every line of the others, from where it begins.
fn shortened(plan: &Plan, share: f64) -> Scheme {
    let bridges = (0..plan.bridges.len()).map(|number| SchemeCut {
        name: format!("bridge {number}"),
        line: SchemeLine::Bridge(number),
    });
    let others = plan.cuts.iter().filter(|cut| cut.kind != CutKind::Bridge && share > 0.0);
    let lines = others.flat_map(|cut| {
        cut.branches.iter().map(|line| SchemeCut {
            name: format!("cut {}", cut.order),
            line: SchemeLine::Points(beginning(line, share * polyline_length(line))),
        })
    });
    Scheme { cuts: bridges.chain(lines).collect(), ..Scheme::default() }
}

/// The beginning of a line, `length` mm of it.
fn beginning(line: &[Point], length: f64) -> Vec<Point> {
    let (mut kept, mut gone) = (line[..1].to_vec(), 0.0);
    for pair in line.windows(2) {
        let step = (pair[1] - pair[0]).norm();
        if gone + step >= length {
            kept.push(point_along(line, length));
            return kept;
        }
        kept.push(pair[1]);
        gone += step;
    }
    kept
}
