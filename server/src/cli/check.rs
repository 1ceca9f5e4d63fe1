//! `slitwright check`.

use std::path::PathBuf;

use clap::Args;
use slitwright_solver::outputs::pictures::{PictureStyle, draw_poses, draw_repairs};
use slitwright_solver::outputs::pose_text;

use super::input::ModelArgs;
use super::plan::{made, write};
use super::{CliError, print_json, print_text, summary};
use crate::SolverPlanner;
use crate::convert::report_to_proto;
use crate::planner::Planner;

/// What to check.
#[derive(Args)]
pub struct CheckArgs {
    #[command(flatten)]
    model: ModelArgs,
    /// Folder for poses.png, how the model stands and rests, and repairs.png, what was mended; made if missing
    #[arg(long, value_name = "FOLDER")]
    out: Option<PathBuf>,
    /// Print the report as JSON
    #[arg(long)]
    json: bool,
}

/// Reads a model and prints what the checks found, and how it stands and rests.
pub fn run(args: &CheckArgs) -> Result<(), CliError> {
    if let Some(folder) = &args.out {
        made(folder)?;
    }
    let model = args.model.read(&SolverPlanner, None)?;
    let poses = SolverPlanner.poses(&model);
    let report = report_to_proto(&model, poses.as_ref().ok());
    if let Some(folder) = &args.out {
        let poses =
            poses.as_ref().map_err(|fault| CliError::Failed(format!("poses.png: {fault}")))?;
        let name =
            args.model.model_file.file_stem().map(|name| name.to_string_lossy().into_owned());
        let style = PictureStyle { heading: name, ..PictureStyle::default() };
        let picture = draw_poses(&model, poses, &style)
            .map_err(|error| CliError::Failed(format!("poses.png: {error}")))?;
        write(folder, "poses.png", &picture.png)?;
        let repairs = draw_repairs(&model, &style)
            .map_err(|error| CliError::Failed(format!("repairs.png: {error}")))?;
        if let Some(picture) = repairs {
            write(folder, "repairs.png", &picture.png)?;
        }
    }
    if args.json {
        return print_json(&report);
    }
    let poses = match &poses {
        Ok(poses) => pose_text(poses),
        Err(fault) => format!("How it stands and rests cannot be told: {fault}\n"),
    };
    print_text(&format!("{}{poses}", summary::report_text(&report)))
}
