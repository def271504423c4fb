//! The card's windows, each with its own chart: what stands before them, and which are empty.

use std::sync::Arc;

use super::photo::{PhotoRead, refused};
use crate::card::CardView;
use crate::chart::Chart;
use crate::cli::charts::NO_CHART;
use crate::pipeline::{self, View, Window};
use crate::reading::{Evidence, Sighting};

/// Reads every window with the chart told for it, from the left; leaves out those told to stay empty.
pub fn read_with(view: &View, charts: &[Option<Arc<Chart>>], read: &mut PhotoRead) {
    let count = view.card.layout.windows.len();
    if charts.len() != count {
        read.sightings = vec![refused(wrong_count(&view.card, charts), Evidence::default())];
        return;
    }
    read_each(view, read, |index| charts[index].as_slice(), |window, charts| window.read(&charts[0]));
}

/// Reads every window with the one of these charts whose colours its sample has.
pub fn read_with_any(view: &View, charts: &[Arc<Chart>], read: &mut PhotoRead) {
    read_each(view, read, |_| charts, pipeline::read_with_any);
}

/// Reads the windows. Of a card of several those without a sample are said and left out, and
/// so are vials before windows without a chart; what is wrong with one is told with its number.
fn read_each<'c>(
    view: &View,
    read: &mut PhotoRead,
    charts_of: impl Fn(usize) -> &'c [Arc<Chart>],
    read_one: impl Fn(&Window, &[Arc<Chart>]) -> Vec<Sighting>,
) {
    let windows = Window::all(view);
    let has_several = windows.len() > 1;
    for (index, window) in windows.iter().enumerate() {
        let charts = charts_of(index);
        if charts.is_empty() {
            read.notes.extend((!window.has_no_vial()).then(|| not_looked_at(index + 1)));
            continue;
        }
        if has_several && charts.iter().all(|chart| window.is_empty_for(chart.form)) {
            read.notes.push(format!("window {} from the left is empty", index + 1));
            continue;
        }
        let mut sightings = read_one(window, charts);
        if has_several {
            sightings.iter_mut().for_each(|sighting| name_window(sighting, index + 1));
        }
        read.sightings.extend(sightings);
    }
    if read.sightings.is_empty() {
        let reason = "all windows of the card that have a chart are empty: stand a vial in front of at least one of them, or lay a strip into it";
        read.sightings = vec![refused(reason.to_owned(), Evidence::default())];
    }
}

fn name_window(sighting: &mut Sighting, number: usize) {
    if let Some(reason) = &mut sighting.reason {
        *reason = format!("window {number} from the left: {reason}");
    }
}

fn not_looked_at(number: usize) -> String {
    format!(
        "something stands before window {number} from the left, but its chart is `{NO_CHART}`: it was not read"
    )
}

fn wrong_count(card: &CardView, charts: &[Option<Arc<Chart>>]) -> String {
    let given = charts.len();
    match card.layout.windows.len() {
        1 if charts.contains(&None) => format!(
            "the card has one window, so none of the charts can be `{NO_CHART}`: give one --chart, that of the vial or strip"
        ),
        1 => format!("the card has one window but {given} charts were given: give one --chart"),
        count => format!(
            "the card has {count} windows but {given} {} given: give one --chart for each window, from the left (`{NO_CHART}` for a window that stays empty)",
            if given == 1 { "chart was" } else { "charts were" }
        ),
    }
}
