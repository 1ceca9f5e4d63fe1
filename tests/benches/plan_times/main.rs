//! Time, gap and memory of whole plans: `cargo bench -p slitwright-tests`.
//!
//! Each case runs in a process of its own, so that its peak memory is its own. Words after `--`
//! pick the cases whose group or name holds one of them: `-- demo`, `-- open`, `-- growth`, `-- large`,
//! `-- jug`.

mod cases;
mod child;
mod growth;

use std::path::Path;
use std::process::ExitCode;

use cases::{Case, all_cases};
use child::Outcome;
use slitwright_tests::{bench_words, ended, in_a_process};

/// Argument that makes this program run one case: the case's name and its file follow.
const ONE: &str = "--one";

fn main() -> ExitCode {
    let words = bench_words();
    let done = match words.as_slice() {
        [flag, name, file] if flag == ONE => child::run(name, Path::new(file)),
        _ => run_all(&words),
    };
    ended("plan_times", done)
}

fn run_all(words: &[String]) -> Result<(), String> {
    let picked: Vec<Case> = all_cases()
        .into_iter()
        .filter(|c| {
            words.is_empty()
                || words.iter().any(|w| c.group == w.as_str() || c.name.contains(w.as_str()))
        })
        .collect();
    if picked.is_empty() {
        return Err(format!("no case is named like {words:?}"));
    }
    let folder = tempfile::tempdir().map_err(|e| format!("no temporary folder: {e}"))?;
    let mut grown = Vec::new();
    let mut faults = Vec::new();
    let mut group = "";
    for case in &picked {
        if case.group != group {
            group = case.group;
            println!("\n{}\n{}", case.group_title(), Outcome::heading());
        }
        let file = folder.path().join(&case.name).with_extension(case.format().extension());
        std::fs::write(&file, case.file(&case.mesh()?)?)
            .map_err(|e| format!("{}: {e}", file.display()))?;
        let outcome = in_a_process(&[ONE, &case.name, &file.display().to_string()])
            .and_then(|text| serde_json::from_str::<Outcome>(&text).map_err(|e| e.to_string()));
        std::fs::remove_file(&file).map_err(|e| format!("{}: {e}", file.display()))?;
        // One case that fails does not keep the others from being measured.
        let outcome = match outcome {
            Ok(outcome) => outcome,
            Err(error) => {
                println!("{:<18} FAILED", case.name);
                faults.push(format!("{}: {error}", case.name));
                continue;
            }
        };
        println!("{}", outcome.line(case));
        if case.group == "growth" {
            grown.push(outcome);
        }
    }
    if grown.len() > 1 {
        print!("\n{}", growth::table(&grown));
    }
    if faults.is_empty() { Ok(()) } else { Err(faults.join("; ")) }
}
