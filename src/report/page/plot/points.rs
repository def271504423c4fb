//! The readings of a plot: their marks, and what is told of the one that is pointed at.
//!
//! No script is at work: the places that can be pointed at lie over all marks, and what each tells shows
//! while it is hovered over or holds the focus, above the plot.

use maud::{Markup, html};

use super::{Frame, TOP, WIDTH, tenth};
use crate::reading::{Measurement, Status};
use crate::report::measured;
use crate::report::page::{Look, ReadingRow};

/// Readings of a plot at which the tab key stops, the latest; the table holds all.
const STOPS: usize = 12;
/// Readings of a plot that can be pointed at, the latest; in a longer row they lie too close, and would make
/// the page too large to send.
const POINTED: usize = 90;
/// Longest side of a photo above the plot.
const PHOTO: f64 = TOP - 12.0;

impl Frame {
    /// A thin line through the readings that count.
    pub(super) fn path(&self, rows: &[&ReadingRow]) -> Markup {
        let counted = rows.iter().filter(|row| !row.withdrawn);
        let points: Vec<String> = counted
            .map(|row| self.place(&row.reading.measurement))
            .map(|(x, y)| format!("{x} {y}"))
            .collect();
        html! { @if points.len() > 1 { path.path d=(format!("M{}", points.join("L"))) {} } }
    }

    /// A sign for each kind of reading, with its interval.
    pub(super) fn mark(&self, row: &ReadingRow) -> Markup {
        let measurement = &row.reading.measurement;
        let (x, y) = self.place(measurement);
        let (left, above, below) = (tenth(x - 5.0), tenth(y - 4.0), tenth(y + 4.0));
        html! {
            @if row.withdrawn {
                path.past d=(format!("M{left} {above}l9 9m0 -9l-9 9")) {}
            } @else if measurement.status == Status::AboveRange {
                path.bound d=(format!("M{left} {below}h10l-5 -9z")) {}
            } @else if measurement.status == Status::BelowDetection {
                path.bound d=(format!("M{left} {above}h10l-5 9z")) {}
            } @else {
                @if let (Some(low), Some(high)) = (measurement.low, measurement.high) {
                    path.bar d=(format!("M{x} {}V{}", self.y(low), self.y(high))) {}
                }
                circle.dot cx=(x) cy=(y) r="3" {}
            }
        }
    }

    /// The places to point at.
    pub(super) fn pointers(&self, rows: &[&ReadingRow]) -> Markup {
        let latest = &rows[rows.len().saturating_sub(POINTED)..];
        let first_stop = latest.len().saturating_sub(STOPS);
        html! { @for (index, row) in latest.iter().enumerate() { (self.pointer(row, index >= first_stop)) } }
    }

    fn pointer(&self, row: &ReadingRow, is_stop: bool) -> Markup {
        let measurement = &row.reading.measurement;
        let (x, y) = self.place(measurement);
        let when = measurement.taken_at.format("%-d %b %Y, %H:%M").to_string();
        let when = if row.withdrawn { when + " (withdrawn)" } else { when };
        let value = measured::value(measurement);
        let (tab, role) = if is_stop { ("0", Some("img")) } else { ("-1", None) };
        html! {
            g.at tabindex=(tab) role=[role] aria-label=[is_stop.then(|| format!("{when}: {value}"))] {
                circle.spot cx=(x) cy=(y) r="9" {}
                g.told {
                    circle.ring cx=(x) cy=(y) r="7" {}
                    path.plate d=(format!("M0 0H{WIDTH}V{}H0z", TOP - 8.0)) {}
                    text x="8" y="22" { (when) }
                    text x="8" y="46" { (value) }
                    @if let Some(look) = &row.look { (photo(look, row.id)) }
                }
            }
        }
    }

    fn place(&self, measurement: &Measurement) -> (f64, f64) {
        (self.x(self.day(measurement.taken_at)), self.y(height_of(measurement)))
    }
}

/// The reading's photo once more, at the right end.
fn photo(look: &Look, id: u64) -> Markup {
    let (width, height) = look.size;
    let scale = PHOTO / f64::from(width.max(height).max(1));
    let left = WIDTH - 4.0 - f64::from(width) * scale;
    html! { use href=(format!("#photo-{id}")) transform=(format!("translate({left:.1} 2) scale({scale:.2})")) {} }
}

/// Where a reading is drawn: its value, or the bound that is known.
fn height_of(measurement: &Measurement) -> f64 {
    match measurement.status {
        Status::AboveRange => measurement.low,
        Status::BelowDetection => measurement.high,
        _ => measurement.value,
    }
    .or(measurement.value)
    .unwrap_or(0.0)
}
