//! What reading photos costs, as ratios to what must be done anyhow.
//!
//! `cargo bench --bench photo` prints each figure beside its bound and fails if one is missed. Both
//! sides of a ratio run by turns in one process, or in processes of their own by turns; the least time
//! counts, which others on the machine disturb least. `TINTWELL_PHOTO_ROUNDS` sets the number of turns.

#[path = "support/phone.rs"]
mod phone;

use std::env;
use std::hint::black_box;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use tintwell::chart::Chart;
use tintwell::log::content_hash;
use tintwell::pipeline;
use tintwell::reading::Status;
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
    for (threads, bound) in [(1, 1.35), (2, 1.5)] {
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

/// Least times of both, run by turns.
fn by_turns(rounds: usize, mut sides: [&mut dyn FnMut(); 2]) -> [Duration; 2] {
    let mut least = [Duration::MAX; 2];
    for _ in 0..rounds {
        for (least, side) in least.iter_mut().zip(&mut sides) {
            let begun = Instant::now();
            side();
            *least = begun.elapsed().min(*least);
        }
    }
    least
}

/// A full decode with the decoder that reading uses.
fn decode(jpeg: &[u8]) {
    let options = DecoderOptions::default().jpeg_set_out_colorspace(ColorSpace::RGB);
    let mut decoder = zune_jpeg::JpegDecoder::new_with_options(ZCursor::new(jpeg), options);
    black_box(decoder.decode().unwrap());
}

/// All that `read` does with a photo's bytes.
fn read(jpeg: &[u8], chart: &Chart) {
    black_box(content_hash(jpeg));
    let view = pipeline::look(pipeline::open(jpeg).unwrap()).unwrap();
    let sightings = pipeline::read_window(&view, view.card.layout.windows[0], chart);
    assert_eq!(sightings[0].status, Status::Read, "{:?}", sightings[0].reason);
}

fn matching(report: &mut Report, chart: &Chart, rounds: usize) {
    let colours = phone::colours(chart);
    let ruler = chart.scales[0].ruler(chart.form).unwrap();
    let mut all = || {
        for (colour, circumstances) in &colours {
            black_box(ruler.match_colour(*colour, circumstances));
        }
    };
    let [least, _] = by_turns(2 * rounds, [&mut all, &mut || {}]);
    report.at_least("colours a second", colours.len() as f64 / least.as_secs_f64(), 80_000.0);
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
    if let Some(peak) = peak_memory(tintwell(folder.path(), 2, &read).stdout(Stdio::null()).spawn().unwrap())
    {
        report.at_most("peak memory of reading to the 8-bit picture", peak / (4032.0 * 3024.0 * 3.0), 1.5);
    }
    calibrating(report, folder.path(), rounds.div_ceil(3));
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
    report.at_most(&what, making.as_secs_f64() / reading.as_secs_f64(), 1.3);
}

fn tintwell(home: &Path, threads: usize, args: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_tintwell"));
    command.env("TINTWELL_HOME", home).env("RAYON_NUM_THREADS", threads.to_string()).args(args);
    command
}

fn done(command: &mut Command) {
    let output = command.output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
}

/// Most memory that a process held, bytes; `None` where the system does not tell.
fn peak_memory(mut child: Child) -> Option<f64> {
    let file = format!("/proc/{}/status", child.id());
    let mut peak = None;
    while child.try_wait().unwrap().is_none() {
        let status = std::fs::read_to_string(&file).unwrap_or_default();
        let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:")?.split_whitespace().next());
        peak = line.map(|kilobytes| 1024.0 * kilobytes.parse::<f64>().unwrap()).or(peak);
        std::thread::sleep(Duration::from_micros(300));
    }
    peak
}
