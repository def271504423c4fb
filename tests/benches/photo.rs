//! What reading photos costs, as ratios to what must be done anyhow.
//!
//! `cargo bench --bench photo` prints each figure beside its bound and fails if one is missed. Both
//! sides of a ratio run by turns in one process, or in processes of their own by turns; the least time
//! counts, which others on the machine disturb least. `TINTWELL_PHOTO_ROUNDS` sets the number of turns.

#[path = "support/colours.rs"]
mod colours;
#[path = "support/phone.rs"]
mod phone;
#[path = "support/program.rs"]
mod program;
#[path = "support/turns.rs"]
mod turns;
#[path = "support/whole_read.rs"]
mod whole_read;

use std::env;
use std::hint::black_box;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::Duration;

use program::tintwell;
use tintwell::chart::Chart;
use turns::by_turns;
use whole_read::read;
use zune_core::bytestream::ZCursor;
use zune_core::colorspace::ColorSpace;
use zune_core::options::DecoderOptions;

/// Figures that were missed.
#[derive(Default)]
struct Report {
    missed: usize,
}

impl Report {
    fn at_most(&mut self, what: &str, figure: f64, bound: f64) {
        println!("{what}: {figure:.3} (at most {bound})");
        self.missed += usize::from(figure > bound);
    }

    fn at_least(&mut self, what: &str, figure: f64, bound: f64) {
        println!("{what}: {figure:.3} (at least {bound})");
        self.missed += usize::from(figure < bound);
    }
}

fn main() {
    let rounds = env::var("TINTWELL_PHOTO_ROUNDS").map_or(15, |text| text.parse().unwrap());
    let chart = Chart::load(&phone::file("calibration/rendered-ammonia.json")).unwrap();
    let jpeg = phone::twelve_megapixels();
    println!("a JPEG of 12 megapixels, {:.1} MB", jpeg.len() as f64 / 1e6);
    let mut report = Report::default();
    for (threads, bound) in [(1, 1.15), (2, 1.25)] {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        let [decode, read] =
            pool.install(|| by_turns(rounds, [&mut || decode(&jpeg), &mut || read(&jpeg, &chart)]));
        let what = format!("reading a photo to decoding it, on {threads} core(s)");
        report.at_most(&what, read.as_secs_f64() / decode.as_secs_f64(), bound);
    }
    matching(&mut report, &chart, rounds);
    binary(&mut report, &jpeg, rounds);
    assert_eq!(report.missed, 0, "{} bounds missed", report.missed);
}

/// A full decode with the decoder that reading uses.
fn decode(jpeg: &[u8]) {
    let options = DecoderOptions::default().jpeg_set_out_colorspace(ColorSpace::RGB);
    let mut decoder = zune_jpeg::JpegDecoder::new_with_options(ZCursor::new(jpeg), options);
    black_box(decoder.decode().unwrap());
}

fn matching(report: &mut Report, chart: &Chart, rounds: usize) {
    let colours = colours::colours(chart);
    let ruler = chart.scales[0].ruler(chart.form).unwrap();
    let mut all = || {
        for (colour, circumstances) in &colours {
            black_box(ruler.match_colour(*colour, circumstances));
        }
    };
    let mut behind_glass = || {
        for (colour, circumstances) in &colours {
            black_box(ruler.match_behind_veil(*colour, circumstances, colours::VEIL));
        }
    };
    let rates = by_turns(2 * rounds, [&mut all, &mut behind_glass])
        .map(|least| colours.len() as f64 / least.as_secs_f64());
    report.at_least("colours a second", rates[0], 120_000.0);
    report.at_least("the same where a veil is thought possible, as of vials", rates[1], 55_000.0);
}

/// What only whole processes show.
fn binary(report: &mut Report, jpeg: &[u8], rounds: usize) {
    let folder = tempfile::tempdir().unwrap();
    let photo = folder.path().join("photo.jpg");
    std::fs::write(&photo, jpeg).unwrap();
    let [version, _] =
        by_turns(10 * rounds, [&mut || done(&mut tintwell(folder.path(), 1, &["--version"])), &mut || {}]);
    report.at_most("start-up, ms", 1e3 * version.as_secs_f64(), 5.0);
    let chart = phone::file("calibration/rendered-ammonia.json");
    let chart = chart.to_str().unwrap();
    let read = ["read", "--dry-run", "--chart", chart, photo.to_str().unwrap()];
    if let Some(run) = watched(tintwell(folder.path(), 2, &read)) {
        let ratio = run.peak_bytes / (4032.0 * 3024.0 * 3.0);
        report.at_most("peak memory of reading to the 8-bit picture", ratio, 1.5);
    }
    calibrating(report, folder.path(), rounds.div_ceil(3));
    importing(report, folder.path(), jpeg);
}

/// Making a chart of the standards' photos against reading them.
fn calibrating(report: &mut Report, home: &Path, rounds: usize) {
    let table = phone::file("fixtures/photos/ammonia_standards.csv");
    let photos: Vec<String> = std::fs::read_dir(phone::file("fixtures/photos/ammonia_standards"))
        .unwrap()
        .map(|entry| entry.unwrap().path().display().to_string())
        .collect();
    let out = home.join("chart.json");
    let (table, out) = (table.to_str().unwrap(), out.to_str().unwrap());
    let chart = phone::file("calibration/rendered-ammonia.json");
    let mut read = vec!["read", "--dry-run", "--chart", chart.to_str().unwrap()];
    read.extend(photos.iter().map(String::as_str));
    let calibrate = ["calibrate", "bench", "--standards", table, "--out", out];
    let run = |args: &[&str]| done(tintwell(home, 1, args).stdout(Stdio::null()));
    let [making, reading] = by_turns(rounds, [&mut || run(&calibrate), &mut || run(&read)]);
    let what = format!("making a chart of {} photos to reading them", photos.len());
    report.at_most(&what, making.as_secs_f64() / reading.as_secs_f64(), 1.2);
}

/// Importing photos: memory must not grow with their number, and a second core must be of use.
fn importing(report: &mut Report, home: &Path, jpeg: &[u8]) {
    let chart = phone::file("calibration/rendered-ammonia.json");
    let import = |count: usize, threads: usize| {
        let photos = tempfile::tempdir_in(home).unwrap();
        for k in 0..count {
            std::fs::write(photos.path().join(format!("{k}.jpg")), another(jpeg, k)).unwrap();
        }
        let fresh = tempfile::tempdir_in(home).unwrap();
        let (chart, folder) = (chart.to_str().unwrap(), photos.path().to_str().unwrap());
        let import = ["import", "--tank", "bench", "--chart", chart, "--at", "2031-03-04 18:00", folder];
        watched(tintwell(fresh.path(), threads, &import))
    };
    let [Some(few), Some(many), Some(alone)] = [(6, 2), (24, 2), (24, 1)].map(|(n, t)| import(n, t)) else {
        return;
    };
    let ratio = many.peak_bytes / few.peak_bytes;
    report.at_most("peak memory of importing 24 photos to that of 6", ratio, 1.15);
    let ratio = many.threads / alone.threads;
    report.at_least("threads that can run while importing on 2 cores, to 1", ratio, 1.8);
}

/// The same photo as far as it shows, but of another content hash: with a quantisation table that no
/// component uses (ITU-T T.81, B.2.4.1).
fn another(jpeg: &[u8], k: usize) -> Vec<u8> {
    let mut table = vec![0xff, 0xdb, 0, 67, 3];
    table.extend((0..64).map(|place| if place == 0 { 1 + k as u8 } else { 9 }));
    [&jpeg[..2], &table, &jpeg[2..]].concat()
}

fn done(command: &mut Command) {
    let output = command.output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
}

/// What was seen of a process while it ran.
struct Run {
    /// Most memory that it held.
    peak_bytes: f64,
    /// Threads that could run, on average: those that wait for a core that others use are not idle, so
    /// this tells on a busy machine too how many cores are of use.
    threads: f64,
}

/// Looks at a process while it runs; `None` where the system does not tell.
fn watched(mut command: Command) -> Option<Run> {
    let mut child = command.stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
    let folder = PathBuf::from(format!("/proc/{}", child.id()));
    let (mut peak, mut running, mut looks) = (None, 0, 0);
    let ended = loop {
        if let Some(ended) = child.try_wait().unwrap() {
            break ended;
        }
        let status = std::fs::read_to_string(folder.join("status")).unwrap_or_default();
        let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:")?.split_whitespace().next());
        peak = line.map(|kilobytes| 1024.0 * kilobytes.parse::<f64>().unwrap()).or(peak);
        let threads = std::fs::read_dir(folder.join("task")).into_iter().flatten().flatten();
        running += threads.filter(|thread| is_running(&thread.path())).count();
        looks += 1;
        std::thread::sleep(Duration::from_micros(300));
    };
    assert!(ended.success(), "{command:?}");
    Some(Run { peak_bytes: peak?, threads: running as f64 / f64::from(looks) })
}

/// Whether a thread runs or waits for a core (the state behind its name, proc_pid_stat(5)).
fn is_running(thread: &Path) -> bool {
    let stat = std::fs::read_to_string(thread.join("stat")).unwrap_or_default();
    stat.rsplit(')').next().is_some_and(|rest| rest.trim_start().starts_with('R'))
}
