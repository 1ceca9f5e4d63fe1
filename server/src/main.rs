//! The `slitwright` binary.

use std::process::ExitCode;

fn main() -> ExitCode {
    slitwright_server::cli::main()
}
