//! What the global arguments come to.

use std::path::PathBuf;

use anyhow::Context;

use super::Cli;

/// Resolved global settings.
#[derive(Debug, Clone)]
pub struct Settings {
    /// Folder of the log, the tanks and the user's charts; it may not exist yet.
    pub home: PathBuf,
    /// Whether standard output is for programs.
    pub json: bool,
}

impl Settings {
    /// Fills in defaults.
    pub fn resolve(cli: &Cli) -> anyhow::Result<Self> {
        let home = match &cli.home {
            Some(dir) => dir.clone(),
            None => directories::ProjectDirs::from("", "", "tintwell")
                .map(|dirs| dirs.data_dir().to_owned())
                .context("this system names no data folder: give one with --home DIR")?,
        };
        Ok(Self { home, json: cli.json })
    }
}
