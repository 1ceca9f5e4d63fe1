//! Benches that run each case in a process of its own.

use std::process::{Command, Stdio};

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
