//! Which plans come off, and what is cut for it: `cargo bench -p slitwright-tests --bench comes_off`.
//!
//! Demo pieces in a block of 15 mm and a blanket of 8 mm with 120 s each, open meshes of 150 mm, sunk in clay for a flat base, with 180 s. Each case
//! runs in a process of its own, so that its peak memory is its own. Words after `--` pick cases by piece, mould or
//! group (`demo`, `open`); a number is the seconds for each in place of these. The folder that SLITWRIGHT_SHOW names
//! gets the pictures and words of each plan, and the trials on the way go to the terminal.

mod cases;
mod child;
mod shown;

use std::path::Path;
use std::process::ExitCode;

use cases::{Case, all_cases};
use child::Outcome;
use slitwright_tests::{bench_words, ended, in_a_process};

/// Argument that makes this program run one case: the case's name, its seconds and its file follow.
const ONE: &str = "--one";

fn main() -> ExitCode {
    let words = bench_words();
    let done = match words.as_slice() {
        [flag, name, seconds, file] if flag == ONE => child::run(name, seconds, Path::new(file)),
        _ => run_all(&words),
    };
    ended("comes_off", done)
}

fn run_all(words: &[String]) -> Result<(), String> {
    let seconds = words.iter().find_map(|word| word.parse::<f64>().ok());
    let words: Vec<&String> = words.iter().filter(|w| w.parse::<f64>().is_err()).collect();
    let cases = all_cases();
    let picked: Vec<&Case> = cases.iter().filter(|case| case.is_called(&words)).collect();
    if picked.is_empty() {
        return Err(format!("no case is called {words:?}"));
    }
    let folder = tempfile::tempdir().map_err(|e| format!("no temporary folder: {e}"))?;
    println!("{}", Outcome::heading());
    let mut outcomes = Vec::new();
    for case in &picked {
        let file = folder.path().join("model.stl");
        let bytes = demo_models::stl::stl_bytes(&case.mesh()?)
            .map_err(|e| format!("{}: {e}", case.name()))?;
        std::fs::write(&file, bytes).map_err(|e| format!("{}: {e}", file.display()))?;
        let seconds = seconds.unwrap_or(case.seconds).to_string();
        let file = file.display().to_string();
        match in_a_process(&[ONE, &case.name(), &seconds, &file])
            .and_then(|text| serde_json::from_str::<Outcome>(&text).map_err(|e| e.to_string()))
        {
            Ok(outcome) => {
                println!("{}", outcome.line(case));
                outcomes.push(outcome);
            }
            Err(error) => println!("{:<18} {:<8} no plan: {error}", case.piece, case.mould),
        }
    }
    println!("{}", child::summary(&outcomes, picked.len()));
    Ok(())
}
