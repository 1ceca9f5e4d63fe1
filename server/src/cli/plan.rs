//! `slitwright plan`.

use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};
use slitwright_proto::v1;
use slitwright_solver::control::{Cancel, Control};
use slitwright_solver::mesh::Model;
use slitwright_solver::outputs;
use slitwright_solver::outputs::bench::Paper;
use slitwright_solver::plan::{Hooks, Plan, PlanRequest};

use super::input::ModelArgs;
use super::progress::{progress_bar, show};
use super::request::RequestArgs;
use super::{CliError, print_text, to_json};
use crate::SolverPlanner;
use crate::convert::plan_to_proto;
use crate::files::{Bench, FileFault, Source, draw_all};
use crate::planner::{PlanFault, Planner};

/// What to plan.
#[derive(Args)]
pub struct PlanArgs {
    #[command(flatten)]
    model: ModelArgs,
    #[command(flatten)]
    request: RequestArgs,
    #[command(flatten)]
    bench: BenchArgs,
    /// Folder for plan.txt, plan.json, request.json, the pictures, GLB files, pages and template; made if
    /// missing
    #[arg(long, value_name = "FOLDER")]
    out: Option<PathBuf>,
    /// Print the plan as JSON instead of the summary
    #[arg(long)]
    json: bool,
}

/// How pages and template for the bench are made.
#[derive(Args)]
pub struct BenchArgs {
    /// Paper of plan.pdf and template.pdf
    #[arg(long, value_enum, default_value_t = PaperName::A4, help_heading = "Bench")]
    paper: PaperName,
    /// Rubber to mix beyond what the mould holds, as a fraction of it: 0.05 is 5 %
    #[arg(long, value_name = "FRACTION", default_value_t = Bench::default().waste, help_heading = "Bench")]
    waste: f64,
}

/// Paper.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum PaperName {
    /// 210 x 297 mm
    A4,
    /// 8.5 x 11 inches
    Letter,
}

impl BenchArgs {
    /// What they ask for.
    pub fn read(&self) -> Result<Bench, CliError> {
        let paper = match self.paper {
            PaperName::A4 => Paper::A4,
            PaperName::Letter => Paper::Letter,
        };
        if !(0.0..=1.0).contains(&self.waste) {
            let words =
                format!("--waste {}: give a fraction from 0 to 1, such as 0.05", self.waste);
            return Err(CliError::Input(words));
        }
        Ok(Bench { paper, waste: self.waste })
    }
}

/// Makes a plan. The first ctrl-c stops the search and keeps the best plan so far, if any.
pub fn run(args: &PlanArgs) -> Result<(), CliError> {
    let (request, full_request) = args.request.read()?;
    let bench = args.bench.read()?;
    if let Some(folder) = &args.out {
        made(folder)?;
    }
    let model = args.model.read(&SolverPlanner, request.resolution.deviation)?;
    let plan = planned(&model, &request)?;
    if let Some(folder) = &args.out {
        let name = args.model.model_file.file_stem().map(|name| name.to_string_lossy());
        write_plan(folder, &name.unwrap_or_default(), &model, &plan, &full_request, bench)?;
    }
    if args.json {
        print_text(&to_json(&plan_to_proto(&plan))?)
    } else {
        print_text(&outputs::summary(&plan, &model.original))
    }
}

/// Plans, or judges the scheme of the request, with a bar that shows how it gets on.
pub fn planned(model: &Model, request: &PlanRequest) -> Result<Plan, CliError> {
    let bar = progress_bar();
    let cancel = Cancel::new();
    cancel_on_ctrl_c(cancel.clone())?;
    let control = Control::new(cancel, |progress| show(&bar, &progress));
    let plan = SolverPlanner.plan(model, request, &control, &Hooks::NONE);
    bar.finish_and_clear();
    plan.map_err(|fault| match fault {
        PlanFault::Unfit(text) | PlanFault::NoPlan(text) => CliError::Input(text),
        PlanFault::Cancelled | PlanFault::Internal(_) | PlanFault::Checkpoint(_) => {
            CliError::Failed(fault.to_string())
        }
    })
}

/// Everything about a plan, into a folder.
pub fn write_plan(
    folder: &Path,
    heading: &str,
    model: &Model,
    plan: &Plan,
    request: &v1::PlanRequest,
    bench: Bench,
) -> Result<(), CliError> {
    made(folder)?;
    let source = Source {
        heading,
        bench,
        model: Some(model.into()),
        plan: Ok(plan),
        message: &plan_to_proto(plan),
        request,
    };
    let failed = |error: FileFault| CliError::Failed(error.to_string());
    draw_all(&source, |file, bytes| {
        let path = folder.join(file.name);
        std::fs::write(&path, bytes)
            .map_err(|error| FileFault::Failed(format!("{}: {error}", path.display())))
    })
    .map_err(failed)
}

/// Makes a folder, if it is missing.
pub fn made(folder: &Path) -> Result<(), CliError> {
    std::fs::create_dir_all(folder)
        .map_err(|error| CliError::Input(format!("--out {}: {error}", folder.display())))
}

/// Writes a file.
pub fn write(folder: &Path, name: &str, bytes: &[u8]) -> Result<(), CliError> {
    let path = folder.join(name);
    std::fs::write(&path, bytes)
        .map_err(|error| CliError::Failed(format!("{}: {error}", path.display())))
}

/// Sets `cancel` on the first ctrl-c and ends the process on the second.
fn cancel_on_ctrl_c(cancel: Cancel) -> Result<(), CliError> {
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|error| CliError::Failed(format!("ctrl-c cannot be watched: {error}")))?;
    std::thread::spawn(move || {
        runtime.block_on(async {
            if tokio::signal::ctrl_c().await.is_ok() {
                cancel.cancel();
            }
            if tokio::signal::ctrl_c().await.is_ok() {
                std::process::exit(130);
            }
        });
    });
    Ok(())
}
