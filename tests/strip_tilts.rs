//! Strips lying askew: a rendered strip is cut out of its photo, turned in the window and rendered back
//! through the photo's own projection and light. It proves nothing of a real strip.

use std::path::{Path, PathBuf};

use assert_cmd::Command;
use serde_json::Value;
use tintwell::card::layout::PointMm;
use tintwell::photo;
use tintwell::pipeline::{self, View};

/// Cut out beside the strip, mm: its edges and the shadow they throw.
const RIM_MM: f64 = 0.6;

fn original() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/photos/strip_unknown/004.jpg")
}

fn read(photo: &Path) -> Vec<Value> {
    let home = tempfile::tempdir().unwrap();
    let output = Command::cargo_bin("tintwell")
        .unwrap()
        .arg("--home")
        .arg(home.path())
        .args(["--json", "read", "--dry-run", "--chart", "rendered-strip"])
        .arg(photo)
        .output()
        .unwrap();
    let text = String::from_utf8(output.stdout).unwrap();
    text.lines().map(|line| serde_json::from_str(line).unwrap()).collect()
}

/// The photo with its strip turned about the window's middle by so many degrees.
fn turned(view: &View, degrees: f64) -> image::RgbImage {
    let window = view.card.layout.windows[0];
    let (lying, _) = pipeline::strip_in(view, window).unwrap();
    let (sin, cos) = degrees.to_radians().sin_cos();
    let centre = window.centre();
    let mut picture = view.photo.to_srgb();
    for (x, y, pixel) in picture.enumerate_pixels_mut() {
        let place = view.card.to_card.apply((f64::from(x), f64::from(y)));
        let place = PointMm { x: place.0, y: place.1 };
        if !window.grown(-0.5).contains(place) {
            continue;
        }
        let (dx, dy) = (place.x - centre.x, place.y - centre.y);
        let (u, s) = (dx * cos - dy * sin, dx * sin + dy * cos);
        let new = view.light.at(place);
        let light = if u.abs() < lying.axis.width / 2.0 + RIM_MM && s.abs() < 41.5 {
            let from = lying.axis.point(s, u);
            let old = view.light.at(from);
            let at = view.card.to_photo.apply((from.x, from.y));
            let own = mixed(view, at);
            std::array::from_fn(|channel| own[channel] / old[channel] * new[channel])
        } else {
            new
        };
        pixel.0 = light.map(code);
    }
    picture
}

/// Linear light between four pixels.
fn mixed(view: &View, (x, y): (f64, f64)) -> [f64; 3] {
    let (x0, y0) = (x.floor(), y.floor());
    let (fx, fy) = (x - x0, y - y0);
    let at = |dx: u32, dy: u32| view.photo.linear(x0 as u32 + dx, y0 as u32 + dy);
    let (a, b, c, d) = (at(0, 0), at(1, 0), at(0, 1), at(1, 1));
    std::array::from_fn(|k| {
        (a[k] * (1.0 - fx) + b[k] * fx) * (1.0 - fy) + (c[k] * (1.0 - fx) + d[k] * fx) * fy
    })
}

/// sRGB, IEC 61966-2-1.
fn code(light: f64) -> u8 {
    let light = light.clamp(0.0, 1.0);
    let value = if light <= 0.003_130_8 { 12.92 * light } else { 1.055 * light.powf(1.0 / 2.4) - 0.055 };
    (255.0 * value).round() as u8
}

/// Every pad's value must lie within the interval that the straight strip gave, or the intervals must
/// share most of their middle: turning changes neither colour nor light.
#[test]
fn a_strip_turned_by_up_to_twenty_degrees_either_end_up_reads_the_same() {
    let home = tempfile::tempdir().unwrap();
    let view = pipeline::look(photo::open(&original()).unwrap()).unwrap();
    let straight = read(&original());
    for degrees in [-20.0, -11.0, 6.0, 20.0, 180.0, 165.0, 200.0] {
        let file = home.path().join("turned.png");
        turned(&view, degrees).save(&file).unwrap();
        let lines = read(&file);
        assert_eq!(lines.len(), 4, "{degrees}");
        for (before, after) in straight.iter().zip(&lines) {
            assert_eq!(after["analyte"], before["analyte"]);
            assert_eq!(after["status"], before["status"], "{degrees}: {after}");
            let number = |line: &Value, name: &str| line[name].as_f64().unwrap();
            let (low, high) = (number(before, "low"), number(before, "high"));
            assert!((low..=high).contains(&number(after, "value")), "{degrees}: {before} became {after}");
            let is_flagged = after["flags"].to_string().contains("strip_reversed");
            assert_eq!(is_flagged, degrees > 90.0, "{degrees}: {after}");
        }
    }
}
