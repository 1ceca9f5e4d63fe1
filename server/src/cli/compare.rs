//! `slitwright compare`.

use std::path::PathBuf;

use clap::Args;
use slitwright_solver::outputs;
use slitwright_solver::outputs::pictures::{PictureStyle, draw_comparison};
use slitwright_solver::plan::{NamedPlan, Plan, compare};

use super::input::ModelArgs;
use super::plan::{BenchArgs, planned, write, write_plan};
use super::request::RequestArgs;
use super::{CliError, print_text};
use crate::SolverPlanner;

/// What to compare.
#[derive(Args)]
pub struct CompareArgs {
    #[command(flatten)]
    model: ModelArgs,
    /// Request files, as printed by request-template; one with a scheme has its cuts judged. The
    /// files' names are the names of the plans
    #[arg(long = "requests", value_name = "FILE", num_args = 2..=5, required = true)]
    requests: Vec<PathBuf>,
    #[command(flatten)]
    bench: BenchArgs,
    /// Folder for comparison.txt, comparison.png and a folder for each plan; made if missing
    #[arg(long, value_name = "FOLDER")]
    out: Option<PathBuf>,
}

/// Makes or judges one plan after the other and shows them side by side.
pub fn run(args: &CompareArgs) -> Result<(), CliError> {
    let mut plans: Vec<(String, Plan)> = Vec::new();
    let mut drawn_on = None;
    let bench = args.bench.read()?;
    for file in &args.requests {
        let stem = file.file_stem().map_or_else(String::new, |s| s.to_string_lossy().into_owned());
        // Two folders may hold files of one name.
        let taken = plans.iter().filter(|(name, _)| name.split(" (").next() == Some(&stem)).count();
        let name = if taken == 0 { stem } else { format!("{stem} ({})", taken + 1) };
        let asked = RequestArgs::of_file(file.clone());
        let (request, full) = asked.read()?;
        let model = args.model.read(&SolverPlanner, request.resolution.deviation)?;
        let plan = planned(&model, &request).map_err(|error| match error {
            CliError::Input(text) => CliError::Input(format!("{name}: {text}")),
            CliError::Failed(text) => CliError::Failed(format!("{name}: {text}")),
        })?;
        if let Some(folder) = &args.out {
            write_plan(&folder.join(&name), &name, &model, &plan, &full, bench)?;
        }
        plans.push((name, plan));
        drawn_on = Some(model);
    }
    let candidates: Vec<NamedPlan<'_>> =
        plans.iter().map(|(name, plan)| NamedPlan { name, plan }).collect();
    let comparison = compare(&candidates);
    let table = outputs::comparison_table(&comparison);
    if let (Some(folder), Some(model)) = (&args.out, &drawn_on) {
        let all: Vec<&Plan> = plans.iter().map(|(_, plan)| plan).collect();
        let picture = draw_comparison(model, &all, &comparison, &PictureStyle::default())
            .map_err(|error| CliError::Failed(format!("comparison.png: {error}")))?;
        write(folder, "comparison.png", &picture.png)?;
        write(folder, "comparison.txt", table.as_bytes())?;
    }
    print_text(&table)
}
