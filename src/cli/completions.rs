//! `completions`: what a shell needs to complete commands and options, from their definitions.

use anyhow::Result;
use clap::CommandFactory;
use clap_complete::Shell;

use super::{Cli, Outcome};

/// Arguments of `completions`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example:\n  tintwell completions bash > ~/.local/share/bash-completion/completions/tintwell"
)]
pub struct Args {
    /// The shell
    #[arg(value_enum)]
    shell: Shell,
}

/// Prints them.
///
/// # Errors
/// None; the other commands' form is kept.
pub fn run(args: &Args) -> Result<Outcome> {
    clap_complete::generate(args.shell, &mut Cli::command(), "tintwell", &mut std::io::stdout());
    Ok(Outcome::Done)
}
