//! What becomes of meshes of real things, just as they come: `cargo bench -p slitwright-tests --bench scans`.
//!
//! Each open mesh is scaled to 150 mm and read as any file is: checked, repaired, or refused with the reason. One that is
//! refused is read again with what its refusal asks for: larger holes filled, a larger deviation, a body named. It stands as in
//! its file where that has a flat base, else in the likeliest pose that has one; where none has, in the likeliest of all,
//! and the gate is what lies below a plane 3 mm above its lowest point. Then a block of 15 mm is planned for 60 s. Each mesh
//! has a process of its own, so that its peak memory is its own. Words after `--` pick meshes by parts of their names, a
//! number is the seconds for each.

mod child;

use std::path::Path;
use std::process::ExitCode;

use child::Outcome;
use slitwright_tests::{bench_words, ended, in_a_process, off, open_mesh_sized};

/// Argument that makes this program run one case: the seconds and its file follow.
const ONE: &str = "--one";
/// Longest side that the meshes are scaled to, mm.
const SIZE: f64 = 150.0;
/// Seconds for a plan.
const SECONDS: f64 = 60.0;
/// The meshes.
const MESHES: [&str; 23] = [
    "bull",
    "cow",
    "pig",
    "lion",
    "diplodocus",
    "mannequin-devil",
    "nefertiti",
    "head",
    "blobby",
    "bones",
    "elephant-with-holes",
    "fandisk",
    "rotor",
    "handle",
    "anchor",
    "ChineseDragon-10kv",
    "lion-head",
    "mushroom",
    "knot2",
    "spool",
    "pinion",
    "joint",
    "dragknob",
];

fn main() -> ExitCode {
    let words = bench_words();
    let done = match words.as_slice() {
        [flag, seconds, file] if flag == ONE => child::run(seconds, SIZE, Path::new(file)),
        _ => run_all(&words),
    };
    ended("scans", done)
}

fn run_all(words: &[String]) -> Result<(), String> {
    let seconds = words.iter().find_map(|word| word.parse().ok()).unwrap_or(SECONDS);
    let words: Vec<&String> = words.iter().filter(|w| w.parse::<f64>().is_err()).collect();
    let is_picked =
        |name: &str| words.is_empty() || words.iter().any(|w| name.contains(w.as_str()));
    let picked: Vec<&str> = MESHES.into_iter().filter(|name| is_picked(name)).collect();
    if picked.is_empty() {
        return Err(format!("no mesh is named like {words:?}"));
    }
    let folder = tempfile::tempdir().map_err(|e| format!("no temporary folder: {e}"))?;
    let file = folder.path().join("model.off");
    println!("{}", Outcome::heading());
    let (mut planned, mut as_they_came, mut passed) = (0, 0, 0);
    for name in &picked {
        let mesh = match open_mesh_sized(name, SIZE) {
            Ok(mesh) => mesh,
            Err(error) => {
                println!("{name:<20} not read: {error}");
                continue;
            }
        };
        std::fs::write(&file, off(&mesh)).map_err(|e| format!("{}: {e}", file.display()))?;
        let outcome = in_a_process(&[ONE, &seconds.to_string(), &file.display().to_string()])
            .and_then(|text| serde_json::from_str::<Outcome>(&text).map_err(|e| e.to_string()));
        match outcome {
            Ok(outcome) => {
                println!("{}", outcome.lines(name));
                planned += usize::from(outcome.has_plan());
                as_they_came += usize::from(outcome.has_plan() && outcome.as_it_came());
                passed += usize::from(outcome.passes());
            }
            Err(error) => println!("{name:<20} FAILED: {error}"),
        }
    }
    println!(
        "{} meshes: {planned} have a plan, {as_they_came} of them as they came, {passed} come off",
        picked.len()
    );
    Ok(())
}
