//! `slitwright token`.

use std::fs::{self, OpenOptions};
use std::io::{self, Write as _};
use std::num::NonZeroU32;
use std::os::unix::fs::OpenOptionsExt as _;
use std::path::{Path, PathBuf};
use std::time::SystemTime;

use clap::{Args, Subcommand};

use super::{CliError, print_text};
use crate::front::tokens::{
    Role, TokenEntry, TokenHash, check_name, end, entry_text, new_token, parse,
};

/// What to do with tokens.
#[derive(Subcommand)]
pub enum TokenCommand {
    /// Make a token: print it, once, and add its hash to the tokens' file
    ///
    /// A running server takes it up by itself. To withdraw a token, delete its entry from the file.
    Add(AddArgs),
}

/// A new token.
#[derive(Args)]
pub struct AddArgs {
    /// The tokens' file; made when it is missing
    #[arg(long, value_name = "FILE")]
    tokens: PathBuf,
    /// Who or what will hold it, for logs: letters, digits, '-', '_', '.'
    #[arg(long)]
    name: String,
    /// What it may do
    #[arg(long, value_enum, default_value_t = Role::Write)]
    role: Role,
    /// Last day, UTC, or moment that it is good, like 2027-01-31 or 2027-01-31T18:00:00Z
    #[arg(long, value_name = "DATE")]
    expires: Option<String>,
    /// Most plans that it may have queued or running at once
    #[arg(long, value_name = "COUNT")]
    most_waiting_plans: Option<u32>,
    /// Most MiB of the model files that it sent
    #[arg(long, value_name = "MIB")]
    most_model_mib: Option<u32>,
    /// Most calls in a minute
    #[arg(long, value_name = "COUNT")]
    requests_per_minute: Option<NonZeroU32>,
}

/// Does what was asked.
pub fn run(command: &TokenCommand) -> Result<(), CliError> {
    let TokenCommand::Add(args) = command;
    let file = &args.tokens;
    let about = |error: String| CliError::Input(format!("--tokens {}: {error}", file.display()));
    check_name(&args.name).map_err(|fault| CliError::Input(format!("--name: {fault}")))?;
    let expires = args
        .expires
        .as_deref()
        .map(end)
        .transpose()
        .map_err(|fault| CliError::Input(format!("--expires: {fault}")))?;
    if expires.is_some_and(|end| end <= SystemTime::now()) {
        let told = args.expires.as_deref().unwrap_or_default();
        return Err(CliError::Input(format!(
            "--expires: {told} is past, and nobody would be let in: give a day to come"
        )));
    }
    let before = match fs::read_to_string(file) {
        Ok(text) => text,
        Err(error) if error.kind() == io::ErrorKind::NotFound => {
            "# Who may call the service. Only hashes: a token is shown when it is made, never again.\n"
                .to_owned()
        }
        Err(error) => return Err(about(error.to_string())),
    };
    let token = new_token()
        .map_err(|error| CliError::Failed(format!("no random bytes could be had: {error}")))?;
    let entry = TokenEntry {
        name: args.name.clone(),
        hash: TokenHash::of(&token),
        role: args.role,
        expires,
        most_waiting_plans: args.most_waiting_plans,
        most_model_bytes: args.most_model_mib.map(|mib| u64::from(mib) << 20),
        requests_per_minute: args.requests_per_minute,
    };
    let line_end = if before.ends_with('\n') || before.is_empty() { "" } else { "\n" };
    let text = format!("{before}{line_end}{}", entry_text(&entry, args.expires.as_deref()));
    // Refuses a file that was damaged before, and a name that is taken.
    parse(&text).map_err(|fault| about(fault.to_string()))?;
    replace(file, &text).map_err(|error| about(error.to_string()))?;
    print_text(&format!("{token}\n"))
}

/// Writes a file in one step, so that a server never reads half of it.
fn replace(file: &Path, text: &str) -> io::Result<()> {
    let mut beside = file.as_os_str().to_owned();
    beside.push(format!(".new-{}", std::process::id()));
    let beside = PathBuf::from(beside);
    let mut new = OpenOptions::new().write(true).create_new(true).mode(0o600).open(&beside)?;
    let written = new.write_all(text.as_bytes()).and_then(|()| new.sync_all()).and_then(|()| {
        match fs::metadata(file) {
            Ok(there) => new.set_permissions(there.permissions()),
            Err(_) => Ok(()),
        }
    });
    written.and_then(|()| fs::rename(&beside, file)).inspect_err(|_| {
        // The first fault is the one to tell.
        let _ = fs::remove_file(&beside);
    })
}
