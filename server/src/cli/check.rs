//! `slitwright check`.

use clap::Args;

use super::input::ModelArgs;
use super::{CliError, print_json, print_text, summary};
use crate::SolverPlanner;
use crate::convert::report_to_proto;

/// What to check.
#[derive(Args)]
pub struct CheckArgs {
    #[command(flatten)]
    model: ModelArgs,
    /// Print the report as JSON
    #[arg(long)]
    json: bool,
}

/// Reads a model and prints what the checks found.
pub fn run(args: &CheckArgs) -> Result<(), CliError> {
    let model = args.model.read(&SolverPlanner, None)?;
    let report = report_to_proto(&model);
    if args.json { print_json(&report) } else { print_text(&summary::report_text(&report)) }
}
