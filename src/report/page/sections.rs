//! The page's parts for one tank, in words and tables.

use maud::{Markup, html};

use super::{Look, ReadingRow, Story, deed_words};
use crate::cycle::alkalinity::{MEQ_PER_MG_N, RESERVE_MEQ_L, doses_left};
use crate::log::Source;
use crate::math::digits::rounded;
use crate::report::document::jpeg_address;
use crate::report::{measured, verdict as words};
use crate::terms::Analyte;
use crate::terms::unit::NH3_PER_N;

/// Rows of a table that are shown without asking.
const OPEN_ROWS: usize = 12;
/// Ammonia of the dose that a proof begins with, mg/L (common practice).
const PROOF_DOSE_MG_L: f64 = 2.0;
/// Longest side of a sample in the table, CSS pixels.
const PHOTO_SIDE: u32 = 48;

/// Name, verdict and date.
pub fn verdict(story: &Story) -> Markup {
    let assessment = story.assessment;
    let class = if assessment.ready { "verdict" } else { "verdict wait" };
    html! {
        h2 { (assessment.tank) }
        p class=(class) { (words::headline(assessment)) }
        @if let Some(date) = words::date(assessment) { p { (date) } }
        @if let Some(settling) = words::settling(assessment) { p { (settling) } }
        p.small { "Day " (format!("{:.0}", assessment.day)) ", " (assessment.tests) " tests. As of " (assessment.at.format("%Y-%m-%d %H:%M %:z")) "." }
    }
}

/// What to do, the most urgent first.
pub fn today(story: &Story) -> Markup {
    html! {
        h3 { "Today" }
        @if story.assessment.advice.is_empty() { p { "Nothing is due." } }
        ol.today {
            @for advice in &story.assessment.advice {
                li {
                    b { (advice.action) } @if !advice.amount.is_empty() { ": " (advice.amount) }
                    p.why { "because " (advice.why) }
                    @if let Some(caution) = advice.caution { p.caution { b { "Caution: " } (caution) } }
                }
            }
        }
    }
}

/// What the verdict rests on.
pub fn why(story: &Story) -> Markup {
    let assessment = story.assessment;
    html! {
        h3 { "Why" }
        ul {
            li { (words::stage(assessment)) }
            @if let Some(stall) = assessment.stall_sentence() { li { (stall) } }
            @for obstacle in &assessment.obstacles { li { (obstacle.sentence()) } }
            @if let Some(load) = &assessment.load { li { (load.sentence()) } }
            li { (words::chance(assessment)) }
            @match &assessment.proof {
                Some(proof) => li {
                    "proof of " (proof.dosed_at.format("%Y-%m-%d")) ": " (words::outcome(proof.outcome))
                    ul { @for line in &proof.evidence { li { (line) } } }
                },
                None => li { (words::no_proof(assessment)) },
            }
            @for line in assessment.dangers.iter().filter_map(words::danger) { li { (line) } }
        }
    }
}

/// Where the nitrogen went.
pub fn balance(story: &Story) -> Markup {
    let lines = words::nitrogen(story.assessment);
    let full: Vec<_> = story.assessment.balance.points.iter().filter(|point| point.seen.is_some()).collect();
    html! {
        h3 { "Nitrogen balance" }
        @if lines.is_empty() { p { "Not to be drawn yet: it takes tests of ammonia, nitrite and nitrate together." } }
        ul { @for line in &lines { li { (line) } } }
        @if !full.is_empty() {
            details {
                summary { "Each full test against what went in and out, mg/L N" }
                div.scroll role="region" aria-label=(labelled(story, "Nitrogen balance")) tabindex="0" { table {
                    thead { tr { th scope="col" { "When" } th scope="col" { "Expected" } th scope="col" { "Seen" } th scope="col" { "Difference" } } }
                    tbody { @for point in full.iter().rev() { tr {
                        td { (point.at.format("%Y-%m-%d %H:%M")) }
                        @for estimate in [Some(point.expected), point.seen, point.residual] {
                            td.value { @if let Some(e) = estimate { (format!("{:.2} ± {:.2}", e.value, 1.96 * e.sd)) } }
                        }
                    } } }
                } }
            }
        }
    }
}

/// How far the water's buffer carries the bacteria.
pub fn buffer(story: &Story) -> Markup {
    let assessment = story.assessment;
    let dose = PROOF_DOSE_MG_L / NH3_PER_N;
    let ph = story.readings.iter().rev().find(|row| {
        !row.withdrawn
            && row.reading.measurement.analyte == Analyte::Ph
            && row.reading.measurement.value.is_some()
    });
    html! {
        h3 { "Buffer (alkalinity)" }
        @match (words::buffer(assessment), assessment.balance.alkalinity_meq_l) {
            (Some(line), Some(left)) => ul {
                li { (line) }
                li {
                    "oxidising a dose of 2 mg/L ammonia takes " (format!("{:.2}", dose * MEQ_PER_MG_N)) " meq/L of it: "
                    (format!("{:.0}", doses_left(left, dose).floor())) " such doses until " (format!("{RESERVE_MEQ_L:.0}"))
                    " meq/L are left, below which the pH falls and the bacteria slow down"
                }
                @if let Some(row) = ph {
                    li { "pH " (measured::value(&row.reading.measurement)) " on " (row.reading.measurement.taken_at.format("%Y-%m-%d %H:%M")) }
                }
            },
            _ => p { "Not known: log a reading of alkalinity, or tell the tap water's with " code { "tintwell tank --tap-alkalinity" } "." },
        }
    }
}

/// What does not fit in the log.
pub fn faults(story: &Story) -> Markup {
    let assessment = story.assessment;
    html! {
        h3 { "Faults in the log" }
        @if assessment.faults.is_empty() && assessment.left_out.is_empty() { p { "None found." } }
        @if let Some(searched) = words::searched(assessment) { p { (searched) "." } }
        ul {
            @for fault in &assessment.faults {
                li { b { (fault.kind.word().replace('_', " ")) } ", " (fault.at.format("%Y-%m-%d %H:%M")) ": " (fault.why()) }
            }
            @for left_out in &assessment.left_out { li { "left out: " (left_out) } }
        }
    }
}

/// All readings, the latest first; older ones folded.
pub fn readings(story: &Story) -> Markup {
    let rows: Vec<&ReadingRow> = story.readings.iter().rev().collect();
    let (open, folded) = rows.split_at(rows.len().min(OPEN_ROWS));
    html! {
        h3 { "Readings" }
        (reading_table(open, &labelled(story, "Latest readings")))
        @if !folded.is_empty() {
            details { summary { (folded.len()) " earlier readings" } (reading_table(folded, &labelled(story, "Earlier readings"))) }
        }
        @if rows.iter().any(|row| row.look.is_some()) {
            p.small { "Samples are shown as photographed, without correction; the colours beside them are the chart's levels on either side." }
        }
    }
}

/// What a scrolling part is called, which must be its name alone among all tanks of the page.
fn labelled(story: &Story, what: &str) -> String {
    format!("{what}, {}", story.assessment.tank)
}

fn reading_table(rows: &[&ReadingRow], label: &str) -> Markup {
    html! {
        div.scroll role="region" aria-label=(label) tabindex="0" { table.wide {
            colgroup { @for class in ["number", "when", "what", "number-words", "from", "notes"] { col class=(class); } }
            thead { tr {
                th scope="col" { "No." } th scope="col" { "When" } th scope="col" { "What" } th scope="col" { "Value (95 % interval)" }
                th scope="col" { "From" } th scope="col" { "Doubts and notes" }
            } }
            tbody { @for row in rows {
                @let measurement = &row.reading.measurement;
                tr.gone[row.withdrawn] {
                    td { (row.id) }
                    td { (measurement.taken_at.format("%Y-%m-%d %H:%M")) }
                    td { (measurement.analyte) }
                    td.value { (measured::value(measurement)) @if let Some(look) = &row.look { (looks(look, row.id)) } }
                    td { (source_words(&row.reading.source)) }
                    td {
                        @if row.withdrawn { b { "withdrawn: does not count. " } }
                        @if row.corrected { "corrected. " }
                        @for flag in &measurement.flags { (flag.cause()) ". " }
                        (row.reading.note)
                    }
                }
            } }
        } }
    }
}

/// The liquid as photographed between the chart's colours on either side.
fn looks(look: &Look, id: u64) -> Markup {
    let swatch = |(value, [r, g, b]): (f64, [u8; 3])| {
        html! {
            svg.swatch viewBox="0 0 40 42" width="40" height="42" role="img" aria-label=(format!("the chart's colour at {}", rounded(value))) {
                rect width="40" height="26" fill=(format!("#{r:02x}{g:02x}{b:02x}")) {}
                text x="20" y="40" text-anchor="middle" { (rounded(value)) }
            }
        }
    };
    let (width, height) = look.size;
    let shown = |side: u32| side * PHOTO_SIDE / width.max(height).max(1);
    html! {
        div.looks {
            @if let Some(&lower) = look.levels.first() { (swatch(lower)) }
            svg.photo viewBox=(format!("0 0 {width} {height}")) width=(shown(width)) height=(shown(height)) role="img" aria-label="the sample as photographed" {
                image id=(format!("photo-{id}")) width=(width) height=(height) href=(jpeg_address(&look.jpeg)) {}
            }
            @if let Some(&upper) = look.levels.get(1) { (swatch(upper)) }
        }
    }
}

fn source_words(source: &Source) -> String {
    match source {
        Source::Photo(photo) => {
            let chart = photo.chart.as_deref().unwrap_or("no chart");
            let name = photo.photo.rsplit(['/', '\\']).next().unwrap_or_default();
            format!("photo {name}, chart {chart}")
        }
        Source::Hand { typed: Some(typed) } => format!("by hand: {typed}"),
        Source::Hand { typed: None } => "by hand".to_owned(),
        Source::Csv { file, line } => format!("{file}, line {line}"),
    }
}

/// What was done to the tank, the latest first.
pub fn deeds(story: &Story) -> Markup {
    html! {
        h3 { "Deeds" }
        @if story.events.is_empty() { p { "None are logged." } }
        details {
            summary { (story.events.len()) " deeds" }
            div.scroll role="region" aria-label=(labelled(story, "Deeds")) tabindex="0" { table {
                thead { tr { th scope="col" { "No." } th scope="col" { "When" } th scope="col" { "What" } th scope="col" { "Notes" } } }
                tbody { @for row in story.events.iter().rev() { tr.gone[row.withdrawn] {
                    td { (row.id) }
                    td { (row.event.at.format("%Y-%m-%d %H:%M")) }
                    td.value { (deed_words(row.event)) }
                    td { @if row.withdrawn { b { "withdrawn: does not count. " } } (row.event.note) }
                } } }
            } }
        }
    }
}

/// How the numbers come about, and what they cannot say.
pub fn method() -> Markup {
    html! {
        h3 { "Method, limits, cautions" }
        ul.small {
            li { "A photo is read like this: the card in it tells the light at every place; its patches tell how the phone bends colours, which is undone; the colour of the sample is then compared with the chart, a curve through photos of standards. How long the light's way through the vial was, reflections and mixed light are reckoned as unknowns, and what they leave open is the interval." }
            li { "Readings carry 95 % intervals. Dates of readiness and forecasts are intervals of 80 %, from a model of the two bacterial colonies with published parameter ranges, followed through the readings." }
            li { "Ready means: about 2 mg/L ammonia dosed, and 24 h later ammonia and nitrite read as zero and nitrate has risen (common practice), with nothing since that would undo it." }
            li { "Harm to animals is judged by published criteria for un-ionised ammonia, nitrite and nitrate; single species can be more sensitive, and what is not measured is called unknown." }
            li { "Colour tests err: a chart holds for one kit lot and one print of the card. Check it with a fresh standard from time to time (tintwell verify), and follow the kit's leaflet." }
            li { "Reagents and ammonia solutions harm eyes, skin and lungs: follow their labels, keep them from children, dispose of them as local rules say. For sick animals ask a vet." }
        }
    }
}
