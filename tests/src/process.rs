//! How benches begin and end, and cases that run in a process of their own.

use std::process::{Command, ExitCode, Stdio};

/// The words that a bench was started with; cargo adds `--bench`.
pub fn bench_words() -> Vec<String> {
    std::env::args().skip(1).filter(|word| word != "--bench").collect()
}

/// How a bench ends: what went wrong is said with its name.
pub fn ended(bench: &str, done: Result<(), String>) -> ExitCode {
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("{bench}: {error}");
            ExitCode::FAILURE
        }
    }
}

/// What this program prints when it is started with `arguments`; its errors go where this one's go.
pub fn in_a_process(arguments: &[&str]) -> Result<String, String> {
    let this = std::env::current_exe().map_err(|e| format!("this program's path: {e}"))?;
    let output = Command::new(this)
        .args(arguments)
        .stderr(Stdio::inherit())
        .output()
        .map_err(|e| format!("it could not be started: {e}"))?;
    if !output.status.success() {
        return Err(format!("its process ended with {}", output.status));
    }
    String::from_utf8(output.stdout).map_err(|e| e.to_string())
}
