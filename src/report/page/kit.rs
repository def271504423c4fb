//! The charts that a tank's readings came from: their age, what they are made of, what speaks against them.

use chrono::{DateTime, FixedOffset, NaiveDate};
use maud::{Markup, html};

use super::{ChartUsed, Story};
use crate::chart::{Chart, Form, Scale};
use crate::math::digits::rounded;

/// The charts, one a line.
pub fn charts(story: &Story) -> Markup {
    let at = story.assessment.at;
    html! {
        @if !story.charts.is_empty() {
            h3 { "Charts used" }
            ul { @for used in &story.charts { li { b { (used.name) } ": " (told(used, at)) } } }
        }
    }
}

fn told(used: &ChartUsed, at: DateTime<FixedOffset>) -> String {
    let Some(chart) = &used.chart else {
        return "no longer at hand, so nothing can be said of its age".to_owned();
    };
    let mut parts = vec![contents(chart), age(chart, at), expiry(chart.expires, at)];
    parts.push(match used.checked {
        Some(checked) => format!("last checked with a standard on {}", checked.format("%Y-%m-%d")),
        None => "not checked with a standard since it was made".to_owned(),
    });
    if let Some(since) = used.drifted {
        parts.push(format!(
            "DRIFTED by a check of {}: readings since are in doubt, make the chart anew",
            since.format("%Y-%m-%d")
        ));
    }
    parts.join("; ")
}

fn contents(chart: &Chart) -> String {
    let form = match chart.form {
        Form::Vial => "vial",
        Form::Strip => "strip",
    };
    let span = |scale: &Scale| {
        let values = scale.levels.iter().map(|level| level.value);
        let (low, high) = values.fold((f64::INFINITY, 0.0_f64), |(low, high), v| (low.min(v), high.max(v)));
        let limit = scale
            .limits
            .as_ref()
            .map(|limits| format!(" (hardly ever misses {} or more)", rounded(limits.detection)));
        let limit = limit.unwrap_or_default();
        format!("{} {} to {} {}{limit}", scale.analyte, rounded(low), rounded(high), scale.unit)
    };
    let scales: Vec<String> = chart.scales.iter().map(span).collect();
    let mut photos: Vec<&str> = chart.standards.iter().map(|standard| standard.photo.as_str()).collect();
    photos.sort_unstable();
    photos.dedup();
    format!("{form}, {}, from {} photos of standards", scales.join(", "), photos.len())
}

fn age(chart: &Chart, at: DateTime<FixedOffset>) -> String {
    let made = chart.made_on.as_deref().and_then(|date| date.parse::<NaiveDate>().ok());
    match made.map(|made| (made, (at.date_naive() - made).num_days())) {
        Some((made, days)) if days >= 0 => format!("made on {made}, {days} days before"),
        Some((made, _)) => format!("made on {made}, after this moment"),
        None => "when it was made is not known".to_owned(),
    }
}

fn expiry(expires: Option<NaiveDate>, at: DateTime<FixedOffset>) -> String {
    match expires {
        Some(date) if date < at.date_naive() => format!("EXPIRED on {date}: readings since are in doubt"),
        Some(date) => format!("good until {date}"),
        None => "no expiry date was given: see the reagents' labels".to_owned(),
    }
}
