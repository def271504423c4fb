//! Finding charts: by path, in the user's data folder, or among those that come with the program.

use std::path::{Path, PathBuf};

use super::{Settings, suggest};
use crate::chart::{Chart, ChartError, shipped};

/// What is written in place of a chart's name for a window of the card that stays empty.
pub const NO_CHART: &str = "none";

/// Folder of the user's own charts.
pub fn folder(settings: &Settings) -> PathBuf {
    settings.home.join("calibration")
}

/// File of one of the user's own charts.
pub fn file_of(settings: &Settings, name: &str) -> PathBuf {
    folder(settings).join(format!("{name}.json"))
}

/// The chart of a name, or in a file.
///
/// # Errors
/// There is no such chart, or its file is unusable.
pub fn find(settings: &Settings, name: &str) -> Result<Chart, ChartError> {
    let path = Path::new(name);
    let looks_like_path =
        path.extension().is_some_and(|ending| ending == "json") || path.components().count() > 1;
    if looks_like_path {
        return Chart::load(path);
    }
    let own = file_of(settings, name);
    if own.is_file() {
        return Chart::load(&own);
    }
    match shipped::find(name) {
        Some(chart) => chart,
        None => Err(ChartError::NotFound { name: name.to_owned(), known: listed(name, &known(settings)) }),
    }
}

/// The known names, with the one that was probably meant.
fn listed(typed: &str, known: &[String]) -> String {
    let names: Vec<&str> = known.iter().map(String::as_str).collect();
    let meant = suggest::closest(typed, &names).map(|name| format!(" (did you mean {name:?}?)"));
    names.join(", ") + &meant.unwrap_or_default()
}

/// The user's own charts, by name.
///
/// # Errors
/// There are none, or one of them is unusable.
pub fn own(settings: &Settings) -> Result<Vec<Chart>, ChartError> {
    let names = own_names(settings);
    if names.is_empty() {
        return Err(ChartError::NoneOwn { known: known(settings).join(", ") });
    }
    names.iter().map(|name| Chart::load(&file_of(settings, name))).collect()
}

/// Names of all charts, the user's own first, each group sorted.
pub fn known(settings: &Settings) -> Vec<String> {
    let own = own_names(settings);
    let shipped = shipped::names().filter(|name| !own.iter().any(|own| own == name)).map(str::to_owned);
    let shipped: Vec<String> = shipped.collect();
    own.into_iter().chain(shipped).collect()
}

/// Names of the user's own charts, sorted.
pub fn own_names(settings: &Settings) -> Vec<String> {
    let mut own: Vec<String> = std::fs::read_dir(folder(settings))
        .into_iter()
        .flatten()
        .flatten()
        .map(|entry| entry.path())
        .filter(|path| path.extension().is_some_and(|ending| ending == "json"))
        .filter_map(|path| Some(path.file_stem()?.to_string_lossy().into_owned()))
        .collect();
    own.sort();
    own
}

/// Whether a name can be a chart's: it becomes a file name.
pub fn check_name(name: &str) -> Result<(), String> {
    if name == NO_CHART {
        return Err(format!(
            "{name:?} cannot be a chart's name: with `--chart {NO_CHART}` a window of the card is left out; use another"
        ));
    }
    let sound = !name.is_empty()
        && name.len() <= 80
        && name.chars().all(|c| c.is_alphanumeric() || matches!(c, '-' | '_' | ' '))
        && name.trim() == name;
    if sound {
        Ok(())
    } else {
        Err(format!("{name:?} cannot be a chart's name: use letters, digits, blanks, - and _, at most 80"))
    }
}
