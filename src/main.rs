//! Parses the command line, dispatches, and turns the outcome into an exit status.

use std::process::ExitCode;

use clap::Parser;
use tintwell::cli::{self, Cli};

fn main() -> ExitCode {
    end_quietly_on_a_closed_pipe();
    match cli::run(&Cli::parse()) {
        Ok(outcome) => outcome.into(),
        Err(error) => {
            eprintln!("tintwell: {error:#}");
            ExitCode::from(2)
        }
    }
}

/// A reader that has seen enough (`| head`) closes the pipe: that is no failure of ours.
fn end_quietly_on_a_closed_pipe() {
    let usual = std::panic::take_hook();
    std::panic::set_hook(Box::new(move |info| {
        let told = info.payload_as_str().unwrap_or_default();
        if told.starts_with("failed printing to stdout") && told.to_lowercase().contains("pipe") {
            std::process::exit(0);
        }
        usual(info);
    }));
}
