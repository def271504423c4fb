//! `demo`: an invented tank in a folder of its own; import, read, assess and report run on it.
//!
//! The weeks of history were simulated and the photo was rendered; everything shown from them is
//! computed when the command runs.

use std::path::{Path, PathBuf};

use anyhow::{Context, Result, bail};
use clap::Parser;

use super::{Cli, Outcome, Settings};
use crate::terms::text::{printable, shown};

/// The invented tank's files: name and contents.
const FILES: [(&str, &[u8]); 4] = [
    ("tank.json", include_bytes!("demo/tank.json")),
    ("readings.csv", include_bytes!("demo/readings.csv")),
    ("events.csv", include_bytes!("demo/events.csv")),
    ("nitrate-rendered.jpg", include_bytes!("demo/nitrate-rendered.jpg")),
];
/// The tank's name.
const TANK: &str = "north window";
/// When the last test was taken, a day after the dose of the proof.
const LAST_TEST: &str = "2024-03-10T18:30:00+01:00";
/// The moment at which the tank is judged.
const JUDGED: &str = "2024-03-10T19:00:00+01:00";

/// Arguments of `demo`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  tintwell demo tintwell-demo")]
pub struct Args {
    /// Folder to lay the scenario out in; it must be new or empty
    #[arg(default_value = "tintwell-demo", value_name = "FOLDER")]
    folder: PathBuf,
}

/// Lays the scenario out and runs the commands on it.
///
/// # Errors
/// The folder is not empty or cannot be written, or a command fails.
pub fn run(args: &Args, settings: &Settings) -> Result<Outcome> {
    if settings.json {
        bail!("demo is for looking at: run its commands with --json yourself");
    }
    let folder = &args.folder;
    lay_out(folder)?;
    println!(
        "An invented tank, {TANK:?}, lies in {}. Its five weeks of history are simulated, its photo is rendered.\n",
        shown(folder)
    );
    let at = |name: &str| folder.join(name).display().to_string();
    let (home, picture, page) = (at("home"), at("nitrate-picture.png"), at("north-window.html"));
    let (tank, readings, events) = (at("tank.json"), at("readings.csv"), at("events.csv"));
    let photo = at("nitrate-rendered.jpg");
    run_one(&home, &["import", &tank, &readings, &events])?;
    let read = ["read", "--chart", "rendered-nitrate", "--tank", TANK, "--at", LAST_TEST];
    run_one(&home, &[&read[..], &["--picture", &picture, &photo]].concat())?;
    run_one(&home, &["assess", "--tank", TANK, "--at", JUDGED])?;
    run_one(&home, &["report", "--tank", TANK, "--at", JUDGED, "--out", &page])?;
    println!("What to look at:");
    println!("- {}: the tank's story; open it in a browser", printable(&page));
    println!(
        "- {}: what was measured in the photo, and the liquid among its chart's colours",
        printable(&picture)
    );
    println!("- {}: the files it was made from; try the commands above with your own", shown(folder));
    Ok(Outcome::Done)
}

/// Shows a command as it would be typed, and runs it.
fn run_one(home: &str, words: &[&str]) -> Result<()> {
    let typed: Vec<String> = words
        .iter()
        .map(|word| if word.contains(' ') { format!("{word:?}") } else { (*word).to_owned() })
        .collect();
    println!("$ tintwell --home {home} {}", typed.join(" "));
    let cli = Cli::try_parse_from(["tintwell", "--home", home].iter().chain(words))?;
    super::run(&cli)?;
    println!();
    Ok(())
}

fn lay_out(folder: &Path) -> Result<()> {
    let refuse = || format!("{}: cannot lay the scenario out here: choose another folder", folder.display());
    std::fs::create_dir_all(folder).with_context(refuse)?;
    if std::fs::read_dir(folder).with_context(refuse)?.next().is_some() {
        bail!(
            "{}: the folder is not empty: choose a new one, so that nothing of yours is touched",
            folder.display()
        );
    }
    for (name, contents) in FILES {
        std::fs::write(folder.join(name), contents).with_context(refuse)?;
    }
    Ok(())
}
