//! Arguments as typed, resolved settings, and one short file a command.
//!
//! Every command module has a `pub struct Args` (clap) and `pub fn run(&Args, &Settings) ->
//! anyhow::Result<Outcome>`.

use std::path::PathBuf;
use std::process::ExitCode;

use clap::{Parser, Subcommand};

pub mod add;
pub mod assess;
pub mod calibrate;
pub mod card;
pub mod charts;
pub mod clock;
pub mod completions;
pub mod conditions;
pub mod demo;
pub mod dose;
pub mod doubts;
pub mod entry_args;
pub mod entry_line;
pub mod event;
pub mod harm;
pub mod history;
pub mod home_file;
pub mod identity;
pub mod import;
pub mod kits;
pub mod log;
pub mod logging;
pub mod manual;
pub mod page_name;
pub mod pictures;
pub mod read;
pub mod report;
pub mod settings;
pub mod slips;
pub mod standards;
pub mod standards_table;
pub mod suggest;
pub mod tank;
pub mod terminal;
pub mod thumbnail;
pub mod verify;

pub use settings::Settings;

/// How a command that got as far as doing its work ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outcome {
    /// Everything was done.
    Done,
    /// Done, but some photo was refused or some row rejected.
    Partly,
    /// Nothing could be done.
    Nothing,
}

impl From<Outcome> for ExitCode {
    fn from(outcome: Outcome) -> Self {
        match outcome {
            Outcome::Done => Self::from(0),
            Outcome::Partly => Self::from(1),
            Outcome::Nothing => Self::from(2),
        }
    }
}

/// Reads aquarium colour tests from photos, keeps the log and judges the nitrogen cycle.
#[derive(Debug, Parser)]
#[command(name = "tintwell", version, propagate_version = true)]
pub struct Cli {
    /// Folder of the log, the tanks and your own charts [default: the platform's data folder]
    #[arg(long, global = true, value_name = "DIR", env = "TINTWELL_HOME")]
    pub home: Option<PathBuf>,

    /// Print one JSON object a line on standard output, and nothing else there
    #[arg(long, global = true)]
    pub json: bool,

    /// What to do
    #[command(subcommand)]
    pub command: Command,
}

/// The commands.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Lay out an invented tank in a folder and show what the commands make of it
    Demo(demo::Args),
    /// Write the printable reference card, or tag slips, true to scale
    Card(card::Args),
    /// Make a chart from photos of standards
    Calibrate(calibrate::Args),
    /// Compare readings of known standards with a chart
    Verify(verify::Args),
    /// Read photos: numbers with intervals, logged under a tank
    Read(read::Args),
    /// Say how to mix standard solutions, with their uncertainty and cautions
    Standards(standards::Args),
    /// Show a tank's facts or change them
    Tank(tank::Args),
    /// Log readings typed by hand
    Add(add::Args),
    /// Log what was done to a tank
    Event(event::Args),
    /// Bring tables, tank files and folders of dated photos into the log; safe to repeat
    Import(import::Args),
    /// List, correct, withdraw, restore or export what was logged
    Log(log::Args),
    /// Say where the cycle stands, what is wrong, what to do today, when it will be ready
    Assess(assess::Args),
    /// Write a page that tells a tank's story, or all tanks'
    Report(report::Args),
    /// Print completions for a shell
    Completions(completions::Args),
    /// Write manual pages, one for each command
    Manual(manual::Args),
    /// Reckon amounts: ammonia source, water change, alkalinity, volume
    Dose(dose::Args),
}

/// Runs the command and says how it ended.
pub fn run(cli: &Cli) -> anyhow::Result<Outcome> {
    let settings = Settings::resolve(cli)?;
    match &cli.command {
        Command::Demo(args) => demo::run(args, &settings),
        Command::Card(args) => card::run(args, &settings),
        Command::Calibrate(args) => calibrate::run(args, &settings),
        Command::Verify(args) => verify::run(args, &settings),
        Command::Read(args) => read::run(args, &settings),
        Command::Standards(args) => standards::run(args, &settings),
        Command::Tank(args) => tank::run(args, &settings),
        Command::Add(args) => add::run(args, &settings),
        Command::Event(args) => event::run(args, &settings),
        Command::Import(args) => import::run(args, &settings),
        Command::Log(args) => log::run(args, &settings),
        Command::Assess(args) => assess::run(args, &settings),
        Command::Report(args) => report::run(args, &settings),
        Command::Completions(args) => completions::run(args),
        Command::Manual(args) => manual::run(args),
        Command::Dose(args) => dose::run(args, &settings),
    }
}

#[cfg(test)]
mod tests {
    use clap::CommandFactory;

    #[test]
    fn every_command_and_option_is_declared_soundly() {
        super::Cli::command().debug_assert();
    }
}
