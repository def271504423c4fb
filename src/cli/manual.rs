//! `manual`: manual pages from the definitions of the commands.

use std::path::PathBuf;

use anyhow::{Context, Result};
use clap::CommandFactory;

use super::{Cli, Outcome};
use crate::terms::text::shown;

/// Arguments of `manual`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  tintwell manual ~/.local/share/man/man1")]
pub struct Args {
    /// Folder for the pages; it is made if it is new
    #[arg(value_name = "FOLDER")]
    folder: PathBuf,
}

/// Writes a page for the program and one for each command.
///
/// # Errors
/// A page cannot be written.
pub fn run(args: &Args) -> Result<Outcome> {
    let refuse =
        || format!("{}: cannot write manual pages here: choose another folder", args.folder.display());
    std::fs::create_dir_all(&args.folder).with_context(refuse)?;
    clap_mangen::generate_to(Cli::command(), &args.folder).with_context(refuse)?;
    eprintln!("written to {}: read them with man {}/tintwell.1", shown(&args.folder), shown(&args.folder));
    Ok(Outcome::Done)
}
