//! `log`: what was logged, and what became of it.

use anyhow::Result;
use clap::Subcommand;

use super::{Outcome, Settings};

mod amend;
mod checks;
mod export;
mod filter;
mod list;

/// Arguments of `log`.
#[derive(Debug, clap::Args)]
#[command(
    args_conflicts_with_subcommands = true,
    after_help = "Examples:\n  tintwell log --tank hallway --last 50\n  tintwell log --json --tank hallway\n  tintwell log correct 17 nitrite=0.5\n  tintwell log withdraw 17 --reason \"wrong vial\"\n  tintwell log checks\n  tintwell log export --help"
)]
pub struct Args {
    #[command(subcommand)]
    command: Option<Command>,

    #[command(flatten)]
    list: list::ListArgs,
}

/// What `log` can do besides listing.
#[derive(Debug, Subcommand)]
enum Command {
    /// Say what an entry should have said; the first version stays in the file
    Correct(amend::Correct),
    /// Let an entry no longer count; it stays in the file
    Withdraw(amend::Amend),
    /// Let a withdrawn entry count again
    Restore(amend::Amend),
    /// Show an entry with everything that was ever changed about it
    History(amend::History),
    /// Show the control charts of kits that were checked with known standards
    Checks(checks::Args),
    /// Write readings, events or everything for other programs
    Export(export::Args),
}

/// Lists, or does what the subcommand says.
///
/// # Errors
/// If the log cannot be read or written, or an argument makes no sense.
pub fn run(args: &Args, settings: &Settings) -> Result<Outcome> {
    match &args.command {
        None => list::run(&args.list, settings),
        Some(Command::Correct(args)) => amend::correct(args, settings),
        Some(Command::Withdraw(args)) => amend::withdraw(args, settings),
        Some(Command::Restore(args)) => amend::restore(args, settings),
        Some(Command::History(args)) => amend::history(args, settings),
        Some(Command::Checks(args)) => checks::run(args, settings),
        Some(Command::Export(args)) => export::run(args, settings),
    }
}
