//! Parses the command line, dispatches, and turns the outcome into an exit status.

use std::process::ExitCode;

use clap::Parser;
use tintwell::cli::{self, Cli};

fn main() -> ExitCode {
    match cli::run(&Cli::parse()) {
        Ok(outcome) => outcome.into(),
        Err(error) => {
            eprintln!("tintwell: {error:#}");
            ExitCode::from(2)
        }
    }
}
