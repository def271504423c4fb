//! One analyte over time as a drawing in the page: readings with intervals, deeds, proof, forecast.

use chrono::{DateTime, Duration, FixedOffset};
use maud::{Markup, html};

use super::{ReadingRow, Story};
use crate::cycle::forecast::Span;
use crate::math::digits::rounded;
use crate::reading::{Measurement, Status};
use crate::terms::{Analyte, EventKind};

mod points;

/// Size of the drawing and sides of the plot within it, in its own units.
const WIDTH: f64 = 520.0;
const HEIGHT: f64 = 252.0;
const LEFT: f64 = 46.0;
const RIGHT: f64 = 512.0;
const TOP: f64 = 64.0;
const BOTTOM: f64 = 220.0;
/// Baselines of the names of what is shaded: of the proof, of the days on which it may be ready.
const NAMES: [f64; 2] = [18.0, 40.0];
/// Days of forecast that are shown at least, where there is one, and at most.
const AHEAD_DAYS: std::ops::RangeInclusive<f64> = 7.0..=45.0;

/// Draws an analyte; nothing if it was never measured.
pub fn plot(story: &Story, analyte: Analyte) -> Option<Markup> {
    let is_drawn = |row: &&ReadingRow| {
        row.reading.measurement.analyte == analyte && row.reading.measurement.status != Status::Refused
    };
    let rows: Vec<&ReadingRow> = story.readings.iter().filter(is_drawn).collect();
    if rows.is_empty() {
        return None;
    }
    let frame = Frame::new(story, analyte, &rows);
    let unit = analyte.default_unit();
    let label = format!(
        "{analyte} over time, {unit}, {} readings; the table of readings holds the same numbers",
        rows.len()
    );
    Some(html! {
        figure {
            figcaption { @if analyte == Analyte::Ph { "pH" } @else { (analyte) " (" (unit) ")" } }
            svg viewBox=(format!("0 0 {WIDTH} {HEIGHT}")) width=(WIDTH) height=(HEIGHT) role="group" aria-label=(label) {
                g aria-hidden="true" {
                    (frame.spans(story))
                    (frame.axes())
                    (frame.deeds(story))
                    (frame.forecast(story, analyte))
                    (frame.path(&rows))
                    @for row in &rows { (frame.mark(row)) }
                }
                (frame.pointers(&rows))
            }
        }
    })
}

/// What the signs mean, in words, once for all plots.
pub fn legend() -> Markup {
    html! {
        p.small {
            "● reading with its 95 % interval · ▽ not detected, drawn at the bound · △ above the chart, drawn at \
             what it exceeds · ✕ withdrawn · ▼ ammonia dose · ◆ water change · ■ another deed (see the list of deeds) · \
             shaded: 24 h of a proof, days on which it may be ready (both named in the plot) · dashed with a band: \
             forecast, four courses in five lie within. "
            span.pointing { "Point at one of the latest readings, tap it, or go there with the tab key: it is told above its plot." }
        }
    }
}

struct Frame {
    origin: DateTime<FixedOffset>,
    days: f64,
    now: f64,
    top: f64,
    bottom: f64,
}

impl Frame {
    fn new(story: &Story, analyte: Analyte, rows: &[&ReadingRow]) -> Self {
        let assessment = story.assessment;
        let first = rows.iter().map(|row| row.reading.measurement.taken_at).min().unwrap_or(assessment.at);
        let origin = assessment.series.origin.min(first);
        let day = |at: DateTime<FixedOffset>| (at - origin).num_seconds() as f64 / 86_400.0;
        let now = day(assessment.at);
        let ready = assessment.ready_on.map_or(0.0, |on| day(on.latest) - now + 2.0);
        let ahead = if assessment.ready { 0.0 } else { ready.clamp(*AHEAD_DAYS.start(), *AHEAD_DAYS.end()) };
        let (bottom, top) = heights(story, analyte, rows, ahead);
        Self { origin, days: (now + ahead).max(1.0), now, top, bottom }
    }

    fn day(&self, at: DateTime<FixedOffset>) -> f64 {
        (at - self.origin).num_seconds() as f64 / 86_400.0
    }

    fn x(&self, day: f64) -> f64 {
        let share = (day / self.days).clamp(0.0, 1.0);
        tenth(LEFT + (RIGHT - LEFT) * share)
    }

    fn y(&self, value: f64) -> f64 {
        let share = ((value - self.bottom) / (self.top - self.bottom)).clamp(0.0, 1.0);
        tenth(BOTTOM - (BOTTOM - TOP) * share)
    }

    /// Proof and days of readiness, as shades with their names.
    fn spans(&self, story: &Story) -> Markup {
        let assessment = story.assessment;
        let proof = assessment.proof.as_ref().map(|proof| {
            (
                self.day(proof.dosed_at),
                self.day(proof.tested_at),
                "proof",
                format!("proof {}", proof.outcome.word().replace('_', " ")),
            )
        });
        let ready = assessment.ready_on.filter(|on| on.latest > assessment.at).map(|on| {
            (
                self.day(on.earliest),
                self.day(on.latest),
                "ready",
                format!("ready about {}", on.likely.format("%-d %b")),
            )
        });
        html! {
            @for (from, until, class, words) in proof.into_iter().chain(ready) {
                @let (x0, x1) = (self.x(from), self.x(until));
                rect class=(class) x=(x0) y=(TOP) width=(tenth((x1 - x0).max(2.0))) height=(BOTTOM - TOP) {}
                @let is_right = x1 > 0.6 * WIDTH;
                text x=(if is_right { x1 } else { x0 }) y=(NAMES[usize::from(class == "ready")]) text-anchor=(if is_right { "end" } else { "start" }) { (words) }
            }
            @if let Some(on) = assessment.ready_on.filter(|on| on.likely > assessment.at) {
                @let x = self.x(self.day(on.likely));
                line.likely x1=(x) x2=(x) y1=(TOP) y2=(BOTTOM) {}
            }
        }
    }

    fn axes(&self) -> Markup {
        let step = nice_step((self.top - self.bottom) / 4.0);
        let first = (self.bottom / step).ceil() as i64;
        let ticks: Vec<f64> = (first..=(self.top / step).floor() as i64).map(|k| k as f64 * step).collect();
        let days = [1.0, 2.0, 7.0, 14.0, 28.0, 56.0, 91.0, 182.0];
        let every = days.into_iter().find(|every| self.days / every <= 6.0).unwrap_or(365.0);
        let dates: Vec<f64> = (0..=(self.days / every) as i64).map(|k| k as f64 * every).collect();
        html! {
            @for &tick in &ticks {
                line.grid x1=(LEFT) x2=(RIGHT) y1=(self.y(tick)) y2=(self.y(tick)) {}
                text x=(LEFT - 6.0) y=(self.y(tick) + 4.0) text-anchor="end" { (rounded(tick)) }
            }
            @for &day in &dates {
                line.axis x1=(self.x(day)) x2=(self.x(day)) y1=(BOTTOM) y2=(BOTTOM + 5.0) {}
                @let date = self.origin + Duration::seconds((day * 86_400.0) as i64);
                @if self.x(day) < RIGHT - 26.0 {
                    text x=(self.x(day)) y=(BOTTOM + 24.0) text-anchor="middle" { (date.format("%-d %b")) }
                }
            }
            path.axis d=(format!("M{LEFT} {TOP}V{BOTTOM}H{RIGHT}")) {}
            line.now x1=(self.x(self.now)) x2=(self.x(self.now)) y1=(TOP) y2=(BOTTOM) {}
        }
    }

    fn deeds(&self, story: &Story) -> Markup {
        html! {
            @for row in story.events.iter().filter(|row| !row.withdrawn) {
                @let x = self.x(self.day(row.event.at));
                @let y = TOP - 8.0;
                g.deed {
                    title { (row.event.at.format("%-d %B %H:%M")) ": " (super::deed_words(row.event)) }
                    line.deedline x1=(x) x2=(x) y1=(TOP) y2=(BOTTOM) {}
                    @match row.event.kind {
                        EventKind::AmmoniaDose => path d=(format!("M{} {}h10l-5 9z", tenth(x - 5.0), y - 4.0)) {},
                        EventKind::WaterChange => path d=(format!("M{x} {}l5 5l-5 5l-5 -5z", y - 5.0)) {},
                        _ => rect x=(tenth(x - 3.5)) y=(y - 3.5) width="7" height="7" {},
                    }
                }
            }
        }
    }

    /// The band of the coming days.
    fn forecast(&self, story: &Story, analyte: Analyte) -> Markup {
        let spans = course(story, analyte, self.days - self.now);
        if spans.len() < 2 {
            return html! {};
        }
        let at = |k: usize, value: f64| format!("{} {}", self.x(self.now + k as f64), self.y(value));
        let upper: Vec<String> = spans.iter().enumerate().map(|(k, span)| at(k, span.high)).collect();
        let lower: Vec<String> = spans.iter().enumerate().rev().map(|(k, span)| at(k, span.low)).collect();
        let middle: Vec<String> = spans.iter().enumerate().map(|(k, span)| at(k, span.middle)).collect();
        html! {
            path.band d=(format!("M{}L{}Z", upper.join("L"), lower.join("L"))) { title { "forecast: four courses in five lie in this band" } }
            path.ahead d=(format!("M{}", middle.join("L"))) {}
            // Where there is no room for the word, the legend says it.
            @if RIGHT - self.x(self.now) > 100.0 { text x=(self.x(self.now) + 4.0) y=(TOP + 18.0) { "forecast" } }
        }
    }
}

/// Lowest and highest value of the plot.
fn heights(story: &Story, analyte: Analyte, rows: &[&ReadingRow], ahead: f64) -> (f64, f64) {
    let ends = |m: &Measurement| [m.value, m.low, m.high].into_iter().flatten().collect::<Vec<_>>();
    let seen = rows.iter().flat_map(|row| ends(&row.reading.measurement));
    let foreseen = course(story, analyte, ahead).into_iter().map(|span| span.high);
    let all: Vec<f64> = seen.chain(foreseen).filter(|value| value.is_finite()).collect();
    let highest = all.iter().copied().fold(0.0, f64::max);
    let lowest = all.iter().copied().fold(f64::INFINITY, f64::min);
    if analyte.is_concentration() { (0.0, (highest * 1.08).max(0.5)) } else { (lowest - 0.4, highest + 0.4) }
}

/// The forecast of the coming days, as far as it is shown; empty where there is none.
fn course(story: &Story, analyte: Analyte, days: f64) -> Vec<Span> {
    let is_modelled = matches!(analyte, Analyte::Ammonia | Analyte::Nitrite | Analyte::Nitrate);
    if story.assessment.ready || !is_modelled {
        return Vec::new();
    }
    // Low water that the forecast shows after what may have killed bacteria would be a promise.
    if story.assessment.strike.is_some() {
        return Vec::new();
    }
    let mut course = story.assessment.course(analyte);
    course.truncate(days.floor() as usize + 1);
    course
}

/// 1, 2 or 5 times a power of ten, not below a width.
fn nice_step(width: f64) -> f64 {
    let power = 10_f64.powf(width.max(1e-6).log10().floor());
    [1.0, 2.0, 5.0].into_iter().map(|k| k * power).find(|step| *step >= width).unwrap_or(10.0 * power)
}

fn tenth(value: f64) -> f64 {
    (value * 10.0).round() / 10.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_are_round_and_wide_enough() {
        for (width, step) in [(0.13, 0.2), (0.2, 0.2), (3.1, 5.0), (40.0, 50.0), (0.7, 1.0)] {
            assert!((nice_step(width) - step).abs() < 1e-9, "{width}");
        }
    }
}
