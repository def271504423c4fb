//! A home folder of its own for a test, and the program run on it.

use std::path::{Path, PathBuf};

use assert_cmd::Command;
use serde_json::Value;
use tempfile::TempDir;

/// A home folder that goes away with the test.
pub struct Home {
    folder: TempDir,
}

/// What a run printed.
pub struct Run {
    /// Exit status.
    pub status: i32,
    /// Standard output.
    pub out: String,
    /// Standard error.
    pub err: String,
}

/// The program, to be run on this home folder.
pub fn tintwell(home: impl AsRef<Path>) -> Command {
    let mut command = Command::cargo_bin("tintwell").unwrap();
    command.env("TINTWELL_HOME", home.as_ref()).env_remove("RUST_BACKTRACE").env("NO_COLOR", "1");
    command
}

impl Home {
    /// An empty one.
    pub fn new() -> Self {
        Self { folder: tempfile::tempdir().unwrap() }
    }

    /// The folder.
    pub fn path(&self) -> &Path {
        self.folder.path()
    }

    /// The log's file.
    pub fn log(&self) -> PathBuf {
        self.path().join("log.jsonl")
    }

    /// Runs the program in Central European time, given as a rule so that no zone files are needed.
    pub fn run<S: AsRef<std::ffi::OsStr>>(&self, args: impl IntoIterator<Item = S>) -> Run {
        let output =
            tintwell(self.path()).env("TZ", "CET-1CEST,M3.5.0,M10.5.0/3").args(args).output().unwrap();
        Run {
            status: output.status.code().unwrap_or(-1),
            out: String::from_utf8(output.stdout).unwrap(),
            err: String::from_utf8(output.stderr).unwrap(),
        }
    }

    /// Runs the program and wants it to have done everything.
    pub fn done<S: AsRef<std::ffi::OsStr>>(&self, args: impl IntoIterator<Item = S>) -> Run {
        let run = self.run(args);
        assert_eq!(run.status, 0, "{}", run.err);
        run
    }
}

impl Run {
    /// The lines of JSON on standard output.
    pub fn lines(&self) -> Vec<Value> {
        self.out.lines().map(|line| serde_json::from_str(line).unwrap()).collect()
    }
}
