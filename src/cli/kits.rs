//! Charts, each loaded once in a run.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

use super::charts::NO_CHART;
use super::{Settings, charts};
use crate::chart::{Chart, ChartError};

/// The charts of a run; why one cannot be used is kept in words.
pub struct Kits<'a> {
    settings: &'a Settings,
    loaded: Mutex<BTreeMap<String, Result<Arc<Chart>, String>>>,
    own: OnceLock<Result<Vec<Arc<Chart>>, String>>,
}

impl<'a> Kits<'a> {
    /// None loaded yet.
    pub fn new(settings: &'a Settings) -> Self {
        Self { settings, loaded: Mutex::default(), own: OnceLock::new() }
    }

    /// The chart of a name, or in a file.
    ///
    /// # Errors
    /// There is none, or it cannot be used.
    pub fn get(&self, name: &str) -> Result<Arc<Chart>, String> {
        // A panic elsewhere leaves the map as it was.
        let mut loaded = self.loaded.lock().unwrap_or_else(PoisonError::into_inner);
        let load = || charts::find(self.settings, name).map(Arc::new).map_err(|error| error.to_string());
        loaded.entry(name.to_owned()).or_insert_with(load).clone()
    }

    /// The charts told for the card's windows, from the left; `None` for one that stays empty.
    ///
    /// # Errors
    /// One of them cannot be used, or no window has one.
    pub fn of_windows(&self, names: &[String]) -> Result<Vec<Option<Arc<Chart>>>, String> {
        if !names.is_empty() && names.iter().all(|name| name == NO_CHART) {
            return Err(format!(
                "the chart {NO_CHART} leaves out a window that stays empty, and no other is named: name the chart of at least one window; a card of one window needs its chart"
            ));
        }
        let chart = |name: &String| if name == NO_CHART { Ok(None) } else { self.get(name).map(Some) };
        names.iter().map(chart).collect()
    }

    /// The user's own charts, by name.
    ///
    /// # Errors
    /// There are none, or one of them cannot be used.
    pub fn own(&self) -> Result<&[Arc<Chart>], String> {
        let load = |error: ChartError| error.to_string();
        let own = self.own.get_or_init(|| {
            charts::own(self.settings).map(|own| own.into_iter().map(Arc::new).collect()).map_err(load)
        });
        own.as_deref().map_err(Clone::clone)
    }

    /// All that have been loaded.
    pub fn used(&self) -> Vec<Arc<Chart>> {
        let loaded = self.loaded.lock().unwrap_or_else(PoisonError::into_inner);
        let named = loaded.values().filter_map(|chart| chart.as_ref().ok().cloned());
        let own = self.own.get().and_then(|own| own.as_ref().ok()).into_iter().flatten().cloned();
        named.chain(own).collect()
    }
}
