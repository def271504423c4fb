//! Strips in trouble, through the command: askew, lifted, unevenly wetted, glossy, bled, with pads
//! covered or missing, and strips of another kit. The pictures are rendered from a rendered photo
//! (`support/strips.rs`): they prove nothing of a real strip.

use serde_json::Value;
use tintwell::card::layout::PointMm;

use crate::support::home::Home;
use crate::support::pads::{agrees, only_this_pad_is_refused};
use crate::support::strips;
use crate::support::strips::{FIRST_MM, Laying, PITCH_MM, Strip, own_pads};

const ORDER: [&str; 4] = ["nitrate", "nitrite", "ph", "ammonia"];
const PHOTO: &str = "002.jpg";

fn read(strip: &Strip, laying: &Laying) -> Vec<Value> {
    let home = Home::new();
    let file = home.path().join("laid.png");
    strip.laid(laying).save(&file).unwrap();
    let file = file.display().to_string();
    let lines = home.run(["--json", "read", "--dry-run", "--chart", "rendered-strip", &file]).lines();
    assert_eq!(lines.len(), 4);
    for (line, analyte) in lines.iter().zip(ORDER) {
        assert_eq!(line["analyte"], analyte);
    }
    lines
}

fn all_agree(before: &[Value], after: &[Value], what: &str) {
    before.iter().zip(after).for_each(|(before, after)| agrees(before, after, what));
}

fn all_are_refused(after: &[Value], reason: &str) {
    for line in after {
        assert_eq!(line["status"], "refused", "{line}");
        assert!(line["reason"].as_str().unwrap().contains(reason), "{line}");
    }
}

#[test]
fn a_strip_turned_by_up_to_twenty_degrees_either_end_up_reads_the_same() {
    let strip = Strip::of(PHOTO);
    let straight = read(&strip, &Laying::default());
    for turned in [-20.0, -11.0, 6.0, 20.0, 180.0, 165.0, 200.0] {
        let after = read(&strip, &Laying { turned, ..Laying::default() });
        all_agree(&straight, &after, &format!("{turned} degrees"));
        for line in after {
            let is_flagged = line["flags"].to_string().contains("strip_reversed");
            assert_eq!(is_flagged, turned > 90.0, "{turned}: {line}");
        }
    }
}

/// Three millimetres off the card at a hand's distance: a little larger, aside, over its own shadow.
#[test]
fn a_strip_lifted_off_the_card_reads_the_same() {
    let strip = Strip::of(PHOTO);
    let flat = read(&strip, &Laying::default());
    for (turned, moved) in [(0.0, (2.0, -1.0)), (9.0, (-1.5, 1.5)), (180.0, (1.0, 1.0))] {
        let laying = Laying { turned, moved, enlarged: 1.015, shadow: 0.3, ..Laying::default() };
        all_agree(&flat, &read(&strip, &laying), "lifted");
    }
}

#[test]
fn gloss_bleeding_and_a_gently_uneven_wetting_are_borne() {
    let strip = Strip::of(PHOTO);
    let plain = read(&strip, &Laying::default());
    let spot = |d: f64, u: f64, at: f64| (-((d - at).powi(2) + (u - 0.8).powi(2)) / 0.5).exp();
    let gloss = |d: f64, u: f64, light: [f64; 3]| {
        let white: f64 = (0..4).map(|k| spot(d, u, FIRST_MM + PITCH_MM * f64::from(k) + 0.5)).sum();
        light.map(|share| share + 0.5 * white)
    };
    all_agree(&plain, &read(&strip, &Laying { change: &gloss, ..Laying::default() }), "gloss");
    let bled = |d: f64, u: f64, light: [f64; 3]| {
        let neighbours = [strip.relative(d - 1.0, u), strip.relative(d + 1.0, u)];
        std::array::from_fn(|k| 0.5 * light[k] + 0.25 * (neighbours[0][k] + neighbours[1][k]))
    };
    all_agree(&plain, &read(&strip, &Laying { change: &bled, ..Laying::default() }), "bleeding");
    let wetted = |d: f64, _: f64, light: [f64; 3]| {
        let within = (d - FIRST_MM + PITCH_MM / 2.0).rem_euclid(PITCH_MM) - PITCH_MM / 2.0;
        light.map(|share| share.powf(1.0 + 0.03 * within))
    };
    all_agree(&plain, &read(&strip, &Laying { change: &wetted, ..Laying::default() }), "uneven");
}

#[test]
fn a_folded_or_half_covered_pad_is_refused_alone_wherever_it_is() {
    let strip = Strip::of(PHOTO);
    let before = read(&strip, &Laying::default());
    for pad in 0..4 {
        let centre = FIRST_MM + PITCH_MM * pad as f64;
        // Folded back, a pad shows the plastic's other side.
        let folded = |d: f64, u: f64, light: [f64; 3]| {
            if d > centre && d < centre + 3.0 { strip.bare(u) } else { light }
        };
        let after = read(&strip, &Laying { change: &folded, ..Laying::default() });
        only_this_pad_is_refused(&before, &after, pad, "half covered");
        let covered = |d: f64, u: f64, light: [f64; 3]| {
            if (d - centre).abs() < 3.0 && u > 0.0 { [0.05, 0.04, 0.04] } else { light }
        };
        let after = read(&strip, &Laying { change: &covered, ..Laying::default() });
        only_this_pad_is_refused(&before, &after, pad, "half covered");
    }
}

#[test]
fn a_missing_pad_is_refused_alone_wherever_it_is() {
    let strip = Strip::of(PHOTO);
    let before = read(&strip, &Laying::default());
    for pad in 0..4 {
        let mut pads = own_pads();
        pads.remove(pad);
        let after = read(&strip, &Laying { pads, ..Laying::default() });
        only_this_pad_is_refused(&before, &after, pad, "missing");
    }
}

#[test]
fn a_strip_of_other_pads_is_refused_with_the_mend() {
    let strip = Strip::of(PHOTO);
    let spaced = |pitch: f64, order: &[usize]| -> strips::Pads {
        order.iter().enumerate().map(|(k, own)| (FIRST_MM + pitch * k as f64, *own)).collect()
    };
    for pitch in [5.6, 6.0, 7.4, 8.6] {
        let after = read(&strip, &Laying { pads: spaced(pitch, &[0, 1, 2, 3]), ..Laying::default() });
        all_are_refused(&after, "another strip");
    }
    let five = read(&strip, &Laying { pads: spaced(PITCH_MM, &[0, 1, 2, 3, 0]), ..Laying::default() });
    all_are_refused(&five, "it shows a pad ");
    // One pad alone elsewhere leaves the spacing of all as it is.
    for pad in [1, 2] {
        let mut pads = own_pads();
        pads[pad].0 += 2.0;
        let after = read(&strip, &Laying { pads, ..Laying::default() });
        all_are_refused(&after, "it shows a pad ");
    }
}

/// Lies on strip and paper, or on a part as long as a pad; real shadows take less of the blue.
#[test]
fn a_shadow_with_soft_edges_on_the_strip_is_no_strange_pad() {
    let strip = Strip::of(PHOTO);
    let plain = read(&strip, &Laying::default());
    for depth in [[0.15, 0.15, 0.15], [0.3, 0.3, 0.28]] {
        for (from, to, edge, slope) in [
            (-10.0, 35.0, 5.0, 0.0),
            (28.0, 90.0, 5.0, 0.0),
            (28.5, 34.5, 3.0, 0.0),
            (-4.0, 1.0, 3.0, 0.0),
            (29.0, 34.0, 4.0, 0.4),
            (2.0, 16.0, 6.0, -0.3),
        ] {
            let light = |p: PointMm| {
                let at = p.y - 12.0 + slope * (p.x - 75.0);
                let share = soft(at, from, edge) * (1.0 - soft(at, to, edge));
                depth.map(|depth| 1.0 - depth * share)
            };
            let after = read(&strip, &Laying { light: &light, ..Laying::default() });
            all_agree(&plain, &after, &format!("{depth:?} from {from} to {to}"));
        }
    }
}

/// From 0 to 1 about a place, over the width of an edge.
fn soft(at: f64, place: f64, edge: f64) -> f64 {
    let t = ((at - place) / edge + 0.5).clamp(0.0, 1.0);
    t * t * (3.0 - 2.0 * t)
}

/// Where a strip is bent, it alone is shaded.
#[test]
fn soft_shading_of_the_strip_alone_is_no_strange_pad_but_a_grey_pad_is() {
    let strip = Strip::of(PHOTO);
    let plain = read(&strip, &Laying::default());
    let fifth = FIRST_MM + 4.0 * PITCH_MM;
    let bent = |d: f64, _: f64, light: [f64; 3]| {
        let share = soft(d, fifth - 2.5, 4.0) * (1.0 - soft(d, fifth + 2.5, 4.0));
        light.map(|light| light * (1.0 - 0.15 * share))
    };
    all_agree(&plain, &read(&strip, &Laying { change: &bent, ..Laying::default() }), "bent");
    let grey = |d: f64, _: f64, light: [f64; 3]| {
        if (d - fifth).abs() < 2.5 { light.map(|light| 0.75 * light) } else { light }
    };
    all_are_refused(&read(&strip, &Laying { change: &grey, ..Laying::default() }), "another strip");
}

/// A strip held above the card is darker than the paper beside it. What its light does not explain makes
/// its readings doubtful, not wrong.
#[test]
fn a_strip_darker_than_its_paper_is_read_with_wider_intervals() {
    let strip = Strip::of(PHOTO);
    let plain = read(&strip, &Laying::default());
    let dark = |_: f64, _: f64, light: [f64; 3]| light.map(|light| light * 0.75);
    let shaded = read(&strip, &Laying { change: &dark, ..Laying::default() });
    let number = |line: &Value, name: &str| line[name].as_f64().unwrap();
    for (before, after) in plain.iter().zip(&shaded) {
        assert_eq!(after["status"], "read", "{after}");
        let held = number(after, "low")..=number(after, "high");
        assert!(held.contains(&number(before, "value")), "{before} became {after}");
        assert!(number(after, "low") < number(before, "low"), "{before} became {after}");
        assert!(after["flags"].to_string().contains("off_path"), "{after}");
    }
}

#[test]
fn a_strip_of_other_pads_is_refused_in_a_shadow_too() {
    let strip = Strip::of(PHOTO);
    let pads: strips::Pads = (0..5).map(|k| (FIRST_MM + PITCH_MM * f64::from(k), k as usize % 4)).collect();
    let light = |p: PointMm| [1.0 - 0.15 * (soft(p.y, 10.0, 5.0) - soft(p.y, 60.0, 5.0)); 3];
    all_are_refused(&read(&strip, &Laying { pads, light: &light, ..Laying::default() }), "another strip");
}

#[test]
fn pads_out_of_order_give_no_numbers() {
    let strip = Strip::of(PHOTO);
    let pads = own_pads().into_iter().map(|(centre, own)| (centre, 3 - own)).collect();
    all_are_refused(&read(&strip, &Laying { pads, ..Laying::default() }), "another order");
}
