use chrono::TimeDelta;

use super::*;
use crate::cycle::{Deed, TankHistory, assess};
use crate::log::Source;
use crate::reading::{Measurement, Status};
use crate::report::document::STYLE;
use crate::terms::{EventKind, TankFacts};

const HOSTILE: &str = "<script>alert(1)</script>\"'><img src=x onerror=y>&amp;";

fn start() -> DateTime<FixedOffset> {
    DateTime::parse_from_rfc3339("2031-03-01T08:00:00+00:00").unwrap()
}

/// An invented reading on a day.
fn reading(day: i64, analyte: Analyte, status: Status, value: f64) -> Reading {
    Reading {
        tank: HOSTILE.to_owned(),
        measurement: Measurement {
            analyte,
            status,
            value: (status != Status::AboveRange).then_some(value),
            low: Some(value * 0.8),
            high: Some(value * 1.2 + 0.1),
            taken_at: start() + TimeDelta::days(day),
            flags: Vec::new(),
        },
        source: Source::Csv { file: HOSTILE.to_owned(), line: 2 },
        note: HOSTILE.to_owned(),
    }
}

/// A page of an invented tank with hostile words wherever a keeper can put words.
fn hostile_page() -> String {
    let readings = [
        reading(0, Analyte::Ammonia, Status::Read, 2.0),
        reading(3, Analyte::Ammonia, Status::AboveRange, 8.0),
        reading(4, Analyte::Nitrite, Status::BelowDetection, 0.0),
        reading(5, Analyte::Nitrate, Status::Read, 10.0),
    ];
    let event = Event {
        tank: HOSTILE.to_owned(),
        kind: EventKind::AmmoniaDose,
        amount: Some(2.0),
        at: start(),
        note: HOSTILE.to_owned(),
    };
    let history = TankHistory {
        facts: TankFacts { tank: HOSTILE.to_owned(), ..TankFacts::default() },
        measurements: readings.iter().map(|reading| reading.measurement.clone()).collect(),
        deeds: vec![Deed {
            kind: event.kind,
            amount: event.amount,
            at: event.at,
            note: event.note.clone(),
            is_supposed: false,
        }],
    };
    let at = start() + TimeDelta::days(6);
    let assessment = assess(&history, at);
    let story = || Story {
        assessment: &assessment,
        readings: readings
            .iter()
            .enumerate()
            .map(|(index, reading)| ReadingRow {
                id: index as u64,
                reading,
                withdrawn: index == 3,
                corrected: false,
                look: None,
            })
            .collect(),
        events: vec![EventRow { id: 9, event: &event, withdrawn: false }],
        charts: Vec::new(),
    };
    page(&[story(), story()], at)
}

#[test]
fn hostile_names_and_notes_are_text() {
    let page = hostile_page();
    assert!(!page.contains("<script") && !page.contains("<img"), "markup came through");
    assert!(page.contains("&lt;script&gt;alert(1)&lt;/script&gt;&quot;"));
    assert!(page.contains("&amp;amp;"));
}

#[test]
fn the_page_refers_to_nothing_outside_itself() {
    let page = hostile_page();
    for word in [" src=", "http://", "https://", "url(", "@import", " style=", "<link", " onload"] {
        let outside_of_text = page.replace("src=x", "").contains(word);
        assert!(!outside_of_text, "{word}");
    }
    assert!(page.contains("default-src 'none'") || page.contains("default-src &#39;none&#39;"));
}

#[test]
fn the_verdict_comes_first_and_withdrawn_readings_are_said_to_be_so() {
    let page = hostile_page();
    let place = |text: &str| page.find(text).unwrap_or_else(|| panic!("{text} is missing"));
    assert!(place("NOT READY") < place("<svg"));
    assert!(place("Today") < place("<svg"));
    assert!(page.contains("withdrawn: does not count"));
    for value in ["2 mg/L NH3 (1.6 to 2.5)", "above 6.4 mg/L NH3", "below 0.1 mg/L NO2"] {
        assert!(page.contains(value), "{value}");
    }
}

/// The colours of a scheme by name: those after the media query are the dark ones.
fn colour(scheme: &str, name: &str) -> [f64; 3] {
    let rest = scheme.split(&format!("--{name}:#")).nth(1).unwrap();
    let digit = |k: usize| f64::from(u8::from_str_radix(&rest[2 * k..2 * k + 2], 16).unwrap()) / 255.0;
    [digit(0), digit(1), digit(2)]
}

/// Contrast ratio of WCAG 2.2: relative luminances of sRGB colours, 0.05 of flare.
fn contrast(a: [f64; 3], b: [f64; 3]) -> f64 {
    let linear = |c: f64| if c <= 0.04045 { c / 12.92 } else { ((c + 0.055) / 1.055).powf(2.4) };
    let luminance = |c: [f64; 3]| 0.2126 * linear(c[0]) + 0.7152 * linear(c[1]) + 0.0722 * linear(c[2]);
    let (a, b) = (luminance(a) + 0.05, luminance(b) + 0.05);
    a.max(b) / a.min(b)
}

/// WCAG 2.2, success criterion 1.4.3: 4.5 to 1 for text.
#[test]
fn text_keeps_the_contrast_of_wcag_in_both_schemes() {
    assert!((contrast([1.0; 3], [0.0; 3]) - 21.0).abs() < 1e-9);
    let (light, dark) = STYLE.split_once("@media(prefers-color-scheme:dark)").unwrap();
    for (scheme, word) in [(light, "light"), (dark, "dark")] {
        for text in ["ink", "faint", "accent", "mark"] {
            for ground in ["ground", "sheet"] {
                let ratio = contrast(colour(scheme, text), colour(scheme, ground));
                assert!(ratio >= 4.5, "{word}: {text} on {ground} has {ratio:.2}");
            }
        }
    }
}
