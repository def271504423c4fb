//! One analyte over time as a drawing in the page: readings with intervals, deeds, proof, forecast.

use chrono::{DateTime, Duration, FixedOffset};
use maud::{Markup, html};

use super::Story;
use crate::cycle::forecast::Span;
use crate::reading::{Measurement, Status};
use crate::report::json::rounded;
use crate::terms::{Analyte, EventKind};

/// Size of the drawing and sides of the plot within it, in its own units.
const WIDTH: f64 = 760.0;
const HEIGHT: f64 = 280.0;
const LEFT: f64 = 56.0;
const RIGHT: f64 = 748.0;
const TOP: f64 = 62.0;
const BOTTOM: f64 = 246.0;
/// Days of forecast that are shown at least, where there is one, and at most.
const AHEAD_DAYS: std::ops::RangeInclusive<f64> = 7.0..=45.0;

/// Draws an analyte; nothing if it was never measured.
pub fn plot(story: &Story, analyte: Analyte) -> Option<Markup> {
    let measured: Vec<(&Measurement, bool)> =
        story.readings.iter().map(|row| (&row.reading.measurement, row.withdrawn)).collect();
    let of_analyte: Vec<_> = measured.into_iter().filter(|(m, _)| m.analyte == analyte).collect();
    if of_analyte.is_empty() {
        return None;
    }
    let frame = Frame::new(story, analyte, &of_analyte);
    let unit = analyte.default_unit();
    let count = of_analyte.len();
    let label = format!(
        "{analyte} over time, {unit}, {count} readings; the table of readings holds the same numbers"
    );
    Some(html! {
        figure {
            figcaption { @if analyte == Analyte::Ph { "pH" } @else { (analyte) " (" (unit) ")" } }
            svg viewBox=(format!("0 0 {WIDTH} {HEIGHT}")) role="img" aria-label=(label) {
                (frame.spans(story))
                (frame.axes())
                (frame.deeds(story))
                (frame.forecast(story, analyte))
                (frame.path(&of_analyte))
                @for (measurement, withdrawn) in &of_analyte { (frame.mark(measurement, *withdrawn)) }
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
             forecast, four courses in five lie within"
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
    fn new(story: &Story, analyte: Analyte, measured: &[(&Measurement, bool)]) -> Self {
        let assessment = story.assessment;
        let first = measured.iter().map(|(m, _)| m.taken_at).min().unwrap_or(assessment.at);
        let origin = assessment.series.origin.min(first);
        let day = |at: DateTime<FixedOffset>| (at - origin).num_seconds() as f64 / 86_400.0;
        let now = day(assessment.at);
        let ready = assessment.ready_on.map_or(0.0, |on| day(on.latest) - now + 2.0);
        let ahead = if assessment.ready { 0.0 } else { ready.clamp(*AHEAD_DAYS.start(), *AHEAD_DAYS.end()) };
        let (bottom, top) = heights(story, analyte, measured, ahead);
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
                @let anchor = if x1 > 600.0 { "end" } else { "start" };
                text x=(if anchor == "end" { x1 } else { x0 }) y=(if class == "proof" { 18.0 } else { 42.0 }) text-anchor=(anchor) { (words) }
            }
        }
    }

    fn axes(&self) -> Markup {
        let step = nice_step((self.top - self.bottom) / 4.0);
        let first = (self.bottom / step).ceil() as i64;
        let ticks: Vec<f64> = (first..=(self.top / step).floor() as i64).map(|k| k as f64 * step).collect();
        let days = [1.0, 2.0, 7.0, 14.0, 28.0, 56.0, 91.0, 182.0];
        let every = days.into_iter().find(|every| self.days / every <= 8.0).unwrap_or(365.0);
        let dates: Vec<f64> = (0..=(self.days / every) as i64).map(|k| k as f64 * every).collect();
        html! {
            @for &tick in &ticks {
                line.grid x1=(LEFT) x2=(RIGHT) y1=(self.y(tick)) y2=(self.y(tick)) {}
                text x=(LEFT - 6.0) y=(self.y(tick) + 4.0) text-anchor="end" { (rounded(tick)) }
            }
            @for &day in &dates {
                line.axis x1=(self.x(day)) x2=(self.x(day)) y1=(BOTTOM) y2=(BOTTOM + 5.0) {}
                @let date = self.origin + Duration::seconds((day * 86_400.0) as i64);
                @if self.x(day) < RIGHT - 20.0 {
                    text x=(self.x(day)) y=(BOTTOM + 26.0) text-anchor="middle" { (date.format("%-d %b")) }
                }
            }
            path.axis d=(format!("M{LEFT} {TOP}V{BOTTOM}H{RIGHT}")) {}
            line.now x1=(self.x(self.now)) x2=(self.x(self.now)) y1=(TOP) y2=(BOTTOM) { title { "the moment of judgement" } }
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
            @if RIGHT - self.x(self.now) > 100.0 { text.faint x=(self.x(self.now) + 4.0) y=(TOP + 18.0) { "forecast" } }
        }
    }

    /// A thin line through the readings that count, broken at bounds.
    fn path(&self, measured: &[(&Measurement, bool)]) -> Markup {
        let counted = measured.iter().filter(|(m, withdrawn)| !withdrawn && m.status != Status::Refused);
        let points: Vec<String> = counted
            .map(|(m, _)| format!("{} {}", self.x(self.day(m.taken_at)), self.y(height_of(m))))
            .collect();
        html! { @if points.len() > 1 { path.path d=(format!("M{}", points.join("L"))) {} } }
    }

    fn mark(&self, measurement: &Measurement, withdrawn: bool) -> Markup {
        let (x, y) = (self.x(self.day(measurement.taken_at)), self.y(height_of(measurement)));
        let gone = if withdrawn { " (withdrawn)" } else { "" };
        html! {
            g {
                title { (measurement.taken_at.format("%-d %B %H:%M")) ": " (super::value_words(measurement)) (gone) }
                @if withdrawn {
                    path.past d=(format!("M{} {}l8 8m0 -8l-8 8", tenth(x - 4.0), tenth(y - 4.0))) {}
                } @else {
                    @match measurement.status {
                        Status::AboveRange => path.bound d=(format!("M{} {}h10l-5 -9z", tenth(x - 5.0), tenth(y + 4.0))) {},
                        Status::BelowDetection => path.bound d=(format!("M{} {}h10l-5 9z", tenth(x - 5.0), tenth(y - 4.0))) {},
                        _ => {
                            @if let (Some(low), Some(high)) = (measurement.low, measurement.high) {
                                line.bar x1=(x) x2=(x) y1=(self.y(low)) y2=(self.y(high)) {}
                            }
                            circle.dot cx=(x) cy=(y) r="3" {}
                        },
                    }
                }
            }
        }
    }
}

/// Lowest and highest value of the plot.
fn heights(story: &Story, analyte: Analyte, measured: &[(&Measurement, bool)], ahead: f64) -> (f64, f64) {
    let ends = |m: &Measurement| [m.value, m.low, m.high].into_iter().flatten().collect::<Vec<_>>();
    let seen = measured.iter().flat_map(|(m, _)| ends(m));
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
    let mut course = story.assessment.posterior.course(analyte);
    course.truncate(days.floor() as usize + 1);
    course
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
