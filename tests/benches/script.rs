//! What a plain script with a general-purpose vision library takes, against reading.
//!
//! `cargo bench --bench script` runs both by turns, each on one thread, and prints the ratios of their
//! least times beside what is aimed at; on a busy machine they say little. The script
//! (`script/plain_read.py`) wants Python with OpenCV, at least version 4.7, and NumPy; without them the
//! bench says that it measured nothing. `TINTWELL_SCRIPT_ROUNDS` sets the number of turns.

#[path = "support/phone.rs"]
mod phone;
#[path = "support/program.rs"]
mod program;
#[path = "support/turns.rs"]
mod turns;
#[path = "support/whole_read.rs"]
mod whole_read;

use std::env;
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};
use std::time::Duration;

use program::tintwell;
use tintwell::chart::Chart;
use turns::by_turns;
use whole_read::read;

/// Script to reading, whole processes with one photo.
const WHOLE: f64 = 8.0;
/// Script to reading, without what both take to start.
const WITHIN: f64 = 5.0;

fn main() {
    let rounds = env::var("TINTWELL_SCRIPT_ROUNDS").map_or(8, |text| text.parse().unwrap());
    let folder = tempfile::tempdir().unwrap();
    let phones = folder.path().join("noise.jpg");
    std::fs::write(&phones, phone::twelve_megapixels()).unwrap();
    if !done(&mut script(&[&phones])) {
        println!("nothing measured: python3 with OpenCV (cv2) and NumPy is wanted for this bench");
        return;
    }
    rayon::ThreadPoolBuilder::new().num_threads(1).build_global().unwrap();
    let rendered = phone::file("fixtures/photos/ammonia_unknown/006.jpg");
    for (what, photo) in [("a rendered photo of 12 megapixels", rendered), ("the same with noise", phones)] {
        let megabytes = std::fs::metadata(&photo).unwrap().len() as f64 / 1e6;
        println!("{what}, {megabytes:.1} MB");
        whole_processes(folder.path(), &photo, rounds);
        within_processes(&photo, rounds);
    }
}

/// Both from start to end, with one photo and with three.
fn whole_processes(home: &Path, photo: &Path, rounds: usize) {
    for (photos, aim) in [(vec![photo], format!(" (aim {WHOLE})")), (vec![photo; 3], String::new())] {
        let [theirs, ours] = by_turns(
            rounds,
            [&mut || assert!(done(&mut script(&photos))), &mut || assert!(done(&mut reading(home, &photos)))],
        );
        print_ratio(&format!("whole processes, {} photo(s)", photos.len()), theirs, ours, &aim);
    }
}

/// Both as they go on, with all libraries and charts loaded.
fn within_processes(photo: &Path, rounds: usize) {
    let chart = Chart::load(&chart_file()).unwrap();
    let mut running = Running::start();
    running.read(photo);
    let mut ours = || read(&std::fs::read(photo).unwrap(), &chart);
    let [theirs, ours] = by_turns(rounds, [&mut || running.read(photo), &mut ours]);
    print_ratio("in process", theirs, ours, &format!(" (aim {WITHIN})"));
}

fn print_ratio(what: &str, theirs: Duration, ours: Duration, aim: &str) {
    let ratio = theirs.as_secs_f64() / ours.as_secs_f64();
    println!("  {what}: script {theirs:.1?}, reading {ours:.1?}, ratio {ratio:.2}{aim}");
}

fn chart_file() -> PathBuf {
    phone::file("calibration/rendered-ammonia.json")
}

/// The script on one thread.
fn script(photos: &[&Path]) -> Command {
    let mut command = Command::new("python3");
    command.env("OPENBLAS_NUM_THREADS", "1").env("OMP_NUM_THREADS", "1");
    command.arg(phone::file("tests/benches/script/plain_read.py")).arg(chart_file()).args(photos);
    command
}

/// The program on one thread.
fn reading(home: &Path, photos: &[&Path]) -> Command {
    let mut command = tintwell(home, 1, &["read", "--dry-run", "--chart"]);
    command.arg(chart_file()).args(photos);
    command
}

fn done(command: &mut Command) -> bool {
    command.output().is_ok_and(|output| output.status.success())
}

/// The script, waiting for photos.
struct Running {
    child: Child,
    photos: Option<ChildStdin>,
    values: BufReader<ChildStdout>,
}

impl Running {
    fn start() -> Self {
        let mut command = script(&[]);
        let mut child = command.stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().unwrap();
        let values = BufReader::new(child.stdout.take().unwrap());
        Self { photos: child.stdin.take(), values, child }
    }

    fn read(&mut self, photo: &Path) {
        writeln!(self.photos.as_mut().unwrap(), "{}", photo.display()).unwrap();
        let mut value = String::new();
        self.values.read_line(&mut value).unwrap();
        assert!(value.trim().parse::<f64>().is_ok(), "the script ended: {value:?}");
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        // Without further photos it ends.
        drop(self.photos.take());
        self.child.wait().unwrap();
    }
}
