//! Which of several charts a sample belongs to, told by its colour alone.

use std::borrow::Borrow;

use super::{Refusal, Window, card_evidence};
use crate::chart::Chart;
use crate::reading::{Sighting, Status};
use crate::terms::Flag;

/// Reads a window with the one chart whose colours the sample has. A sample that lies on the paths of
/// several charts, or only beside one, is refused, and the candidates are named: a guess between kits
/// would be a number of the wrong thing.
pub fn read_with_any<C: Borrow<Chart>>(window: &Window, charts: &[C]) -> Vec<Sighting> {
    let view = window.view;
    let version = view.card.layout.version;
    let tried: Vec<&Chart> =
        charts.iter().map(Borrow::borrow).filter(|chart: &&Chart| chart.card_version == version).collect();
    let mut fitting: Vec<(&Chart, Vec<Sighting>)> = tried
        .iter()
        .map(|chart| (*chart, window.read(chart)))
        .filter(|(_, sightings)| sightings.iter().any(|sighting| sighting.status != Status::Refused))
        .collect();
    let names = |charts: &mut dyn Iterator<Item = &str>| charts.collect::<Vec<_>>().join(", ");
    let refusal = match fitting.len() {
        0 => Refusal::NoChartFits { tried: names(&mut tried.iter().map(|chart| chart.name.as_str())) },
        1 if lies_on_path(&fitting[0].1) => return fitting.remove(0).1,
        _ => Refusal::ChartUnclear {
            candidates: names(&mut fitting.iter().map(|(chart, _)| chart.name.as_str())),
        },
    };
    vec![Sighting::refused(None, None, refusal.to_string(), card_evidence(view))]
}

fn lies_on_path(sightings: &[Sighting]) -> bool {
    sightings.iter().all(|sighting| !sighting.flags.contains(&Flag::OffPath))
}
