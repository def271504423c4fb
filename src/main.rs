//! Parses the command line, dispatches, and turns the outcome into an exit status.

use std::process::ExitCode;

use clap::Parser;
use tintwell::cli::{self, Cli};
use tintwell::terms::text::printable_lines;

fn main() -> ExitCode {
    end_where_nothing_can_be_printed();
    let cli = match Cli::try_parse() {
        Ok(cli) => cli,
        Err(error) => return refuse(&error),
    };
    match cli::run(&cli) {
        Ok(outcome) => outcome.into(),
        Err(error) => {
            eprintln!("tintwell: {}", printable_lines(&format!("{error:#}")));
            ExitCode::from(2)
        }
    }
}

/// Says what is wrong with the command line, or gives the help it asks for. Words of the command line
/// may come from file names: those that would confuse the terminal are spelt out.
fn refuse(error: &clap::Error) -> ExitCode {
    let plain = error.to_string();
    let shown = printable_lines(&plain);
    if error.use_stderr() && shown != plain.trim_end() {
        eprintln!("{shown}");
        return ExitCode::from(2);
    }
    error.exit()
}

/// A reader that has seen enough (`| head`) closes the pipe: that is no failure of ours. A full disk is one.
fn end_where_nothing_can_be_printed() {
    let usual = std::panic::take_hook();
    std::panic::set_hook(Box::new(move |info| {
        let told = info.payload_as_str().unwrap_or_default();
        let Some(reason) = told.strip_prefix("failed printing to stdout: ") else { return usual(info) };
        if reason.to_lowercase().contains("pipe") {
            std::process::exit(0);
        }
        eprintln!(
            "tintwell: cannot write the output: {reason}: make room, or send it elsewhere; what was to be logged may be in the log already: see `tintwell log` before you repeat it"
        );
        std::process::exit(2);
    }));
}
