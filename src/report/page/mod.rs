//! One self-contained page: the story of a tank, or of all tanks, at one moment.
//!
//! No scripts, no files beside it. Everything from the log is escaped by the macro that writes it.

use std::sync::Arc;

use chrono::{DateTime, FixedOffset};
use maud::{DOCTYPE, Markup, html};

use super::{document, verdict};
use crate::chart::Chart;
use crate::cycle::Assessment;
use crate::log::{Event, Reading};
use crate::math::digits::rounded;
use crate::terms::Analyte;
use crate::terms::text::is_invisible;

mod kit;
mod plot;
mod sections;

/// A reading of the tank as the log holds it.
pub struct ReadingRow<'a> {
    /// Its number in the log.
    pub id: u64,
    /// What it says today.
    pub reading: &'a Reading,
    /// Whether it was withdrawn.
    pub withdrawn: bool,
    /// Whether it was corrected.
    pub corrected: bool,
    /// How its sample looked, if its photo is at hand.
    pub look: Option<Look>,
}

/// How a reading's sample looked.
pub struct Look {
    /// The sample cut out of its photo, a small JPEG.
    pub jpeg: Vec<u8>,
    /// Its width and height, pixels.
    pub size: (u32, u32),
    /// The chart's levels on either side of the reading, with their colours, 8-bit sRGB.
    pub levels: Vec<(f64, [u8; 3])>,
}

/// A deed of the tank as the log holds it.
pub struct EventRow<'a> {
    /// Its number in the log.
    pub id: u64,
    /// What it says today.
    pub event: &'a Event,
    /// Whether it was withdrawn.
    pub withdrawn: bool,
}

/// A chart that readings of the tank came from.
pub struct ChartUsed {
    /// Its name.
    pub name: String,
    /// The chart, if it is still at hand.
    pub chart: Option<Arc<Chart>>,
    /// When it was last checked with a standard of known value.
    pub checked: Option<DateTime<FixedOffset>>,
    /// Since when its checks speak against it.
    pub drifted: Option<DateTime<FixedOffset>>,
}

/// Everything the page tells of one tank.
pub struct Story<'a> {
    /// The judgement.
    pub assessment: &'a Assessment,
    /// Readings up to the moment of judgement, withdrawn ones too, by time.
    pub readings: Vec<ReadingRow<'a>>,
    /// Deeds, likewise.
    pub events: Vec<EventRow<'a>>,
    /// Charts that the readings came from, by name.
    pub charts: Vec<ChartUsed>,
}

/// The page.
pub fn page(stories: &[Story], at: DateTime<FixedOffset>) -> String {
    let title = match stories {
        [story] => format!("{}: nitrogen cycle", story.assessment.tank),
        _ => "All tanks: nitrogen cycle".to_owned(),
    };
    let markup = html! {
        (DOCTYPE)
        html lang="en" {
            (document::head(&title))
            body {
                main {
                    h1 { "Tintwell: where the cycle stands on " (at.format("%-d %B %Y, %H:%M")) }
                    @if stories.len() > 1 { (overview(stories)) }
                    @for (index, story) in stories.iter().enumerate() { (article(index, story)) }
                }
                footer { (sections::method()) }
            }
        }
    };
    shown_as_is(&markup.into_string())
}

/// The page without control characters and characters that turn or hide the text around them: names
/// and notes may hold any.
fn shown_as_is(page: &str) -> String {
    page.chars()
        .map(|c| if c != '\n' && (c.is_control() || is_invisible(c)) { '\u{fffd}' } else { c })
        .collect()
}

/// A row for each tank.
fn overview(stories: &[Story]) -> Markup {
    html! {
        div.scroll role="region" aria-label="All tanks" tabindex="0" {
            table.overview {
                thead { tr { th scope="col" { "Tank" } th scope="col" { "Verdict" } th scope="col" { "Worst danger to animals" } th scope="col" { "Next" } } }
                tbody {
                    @for (index, story) in stories.iter().enumerate() {
                        @let assessment = story.assessment;
                        tr {
                            th scope="row" { a href=(format!("#tank-{index}")) { (assessment.tank) } }
                            td { (verdict::headline(assessment)) }
                            td { (worst_danger(assessment)) }
                            td { (assessment.advice.first().map_or("nothing due", |advice| advice.action.as_str())) }
                        }
                    }
                }
            }
        }
    }
}

fn worst_danger(assessment: &Assessment) -> String {
    match assessment.dangers.iter().max_by_key(|danger| danger.severity) {
        Some(danger) => format!("{}: {}", danger.analyte, danger.severity),
        None => "unknown".to_owned(),
    }
}

fn article(index: usize, story: &Story) -> Markup {
    let analytes = [Analyte::Ammonia, Analyte::Nitrite, Analyte::Nitrate, Analyte::Ph, Analyte::Alkalinity];
    html! {
        article id=(format!("tank-{index}")) {
            (sections::verdict(story))
            (sections::today(story))
            h3 { "Over time" }
            (plot::legend())
            div.plots { @for analyte in analytes { @if let Some(plot) = plot::plot(story, analyte) { (plot) } } }
            (sections::why(story))
            (sections::balance(story))
            (sections::buffer(story))
            (sections::faults(story))
            (sections::readings(story))
            (kit::charts(story))
            (sections::deeds(story))
        }
    }
}

/// A deed in words.
fn deed_words(event: &Event) -> String {
    let kind = event.kind.word().replace('_', " ");
    match event.amount {
        Some(amount) => format!("{kind}, {} {}", rounded(amount), event.kind.unit()),
        None => kind,
    }
}

#[cfg(test)]
mod tests;
