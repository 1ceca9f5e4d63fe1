//! The shell's face: the same work as over gRPC, in this process.

mod beside;
mod check;
mod compare;
mod front;
mod input;
mod plan;
mod progress;
mod request;
mod serve;
mod summary;
mod token;

use std::io::IsTerminal;
use std::process::ExitCode;

use clap::{Parser, Subcommand};
use tracing_subscriber::EnvFilter;

/// Plans where the knife goes in one-piece flexible moulds.
///
/// Exit codes: 0 done, 1 the work failed, 2 the input is wrong.
#[derive(Parser)]
#[command(name = "slitwright", version, arg_required_else_help = true)]
struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    /// Plan the cuts for a model file
    Plan(Box<plan::PlanArgs>),
    /// Make or judge plans of one model by several requests and show them side by side
    Compare(compare::CompareArgs),
    /// Read a model file and say what the checks found
    Check(check::CheckArgs),
    /// Print a request file with every value at its default
    RequestTemplate,
    /// Serve plans over gRPC
    Serve(Box<serve::ServeArgs>),
    /// Make the tokens that callers of the service need
    #[command(subcommand)]
    Token(token::TokenCommand),
}

/// Why a command did not do its work.
#[derive(Debug, thiserror::Error)]
enum CliError {
    /// Something that the person gave is wrong.
    #[error("{0}")]
    Input(String),
    /// The work itself failed.
    #[error("{0}")]
    Failed(String),
}

/// Reads the command line and does what it says.
pub fn main() -> ExitCode {
    let cli = Cli::parse();
    let filter = EnvFilter::try_from_default_env().unwrap_or_else(|_| {
        // The optimiser warns of every solve that its limits end, which is how it is used.
        EnvFilter::new(match cli.command {
            Command::Serve(_) => "info,highs=error",
            _ => "warn,highs=error",
        })
    });
    let log = tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_writer(std::io::stderr)
        .with_ansi(std::io::stderr().is_terminal());
    match &cli.command {
        Command::Serve(args) if args.front.log == front::LogForm::Json => {
            log.json().flatten_event(true).init();
        }
        _ => log.init(),
    }
    let outcome = match cli.command {
        Command::Plan(args) => plan::run(&args),
        Command::Compare(args) => compare::run(&args),
        Command::Check(args) => check::run(&args),
        Command::RequestTemplate => request::print_template(),
        Command::Serve(args) => serve::run(&args),
        Command::Token(command) => token::run(&command),
    };
    match outcome {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("slitwright: {error}");
            ExitCode::from(match error {
                CliError::Failed(_) => 1,
                CliError::Input(_) => 2,
            })
        }
    }
}

/// Prints a message of the protocol as JSON.
fn print_json(message: &impl serde::Serialize) -> Result<(), CliError> {
    let text = to_json(message)?;
    print_text(&text)
}

/// A message of the protocol as JSON.
fn to_json(message: &impl serde::Serialize) -> Result<String, CliError> {
    crate::text::to_json(message).map_err(|error| {
        CliError::Failed(format!("the answer could not be written as JSON: {error}"))
    })
}

/// Prints to stdout. A reader that went away early, such as `head`, is no fault.
fn print_text(text: &str) -> Result<(), CliError> {
    use std::io::Write;
    match std::io::stdout().write_all(text.as_bytes()) {
        Err(error) if error.kind() != std::io::ErrorKind::BrokenPipe => {
            Err(CliError::Failed(format!("writing to stdout failed: {error}")))
        }
        _ => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use clap::CommandFactory;

    use super::*;

    #[test]
    fn the_command_line_is_sound() {
        Cli::command().debug_assert();
    }
}
