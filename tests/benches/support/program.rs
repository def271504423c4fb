//! The program as a process of its own.

use std::path::Path;
use std::process::Command;

/// The program with a home of its own, on so many threads.
pub fn tintwell(home: &Path, threads: usize, args: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_tintwell"));
    command.env("TINTWELL_HOME", home).env("RAYON_NUM_THREADS", threads.to_string()).args(args);
    command
}
