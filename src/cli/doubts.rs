//! What is known against a reading besides its photo: checks of the kit in the log, the chart's expiry,
//! and a test that was not done as the kit's leaflet says.

use chrono::{DateTime, FixedOffset, NaiveDate};

use super::conditions::Conditions;
use crate::chart::control::{Limits, Rule, signals};
use crate::chart::history::Step;
use crate::chart::{Chart, Leaflet};
use crate::log::{Check, Entry, Loaded};
use crate::reading::{Sighting, Status};
use crate::terms::{Analyte, Flag};

/// Half width of a 95 % interval in standard deviations of a normal law.
const HALF_95: f64 = 1.96;
/// A check in standard uncertainties: a kit in order reads right, within its own uncertainty.
pub const LIMITS: Limits = Limits { centre: 0.0, sigma: 1.0 };
/// Score of a check whose bound excludes the known value: beyond any action limit.
const EXCLUDED: f64 = 4.0;

/// The checks of all kits in a log, gathered once for all that ask.
pub struct Checks(Vec<(DateTime<FixedOffset>, Check)>);

impl Checks {
    /// Those that count, with the time at which each was logged.
    pub fn of(log: &Loaded) -> Self {
        let checks = log.live().filter_map(|live| match live.entry {
            Entry::Check(check) => Some((live.record.logged_at, check.clone())),
            _ => None,
        });
        Self(checks.collect())
    }

    /// Names of the charts that were checked, one a check.
    pub fn charts(&self) -> impl Iterator<Item = &str> {
        self.0.iter().map(|(_, check)| check.chart.as_str())
    }

    /// Those of a chart, and when they were logged.
    fn of_chart<'a>(&'a self, chart: &'a str) -> impl Iterator<Item = (DateTime<FixedOffset>, &'a Check)> {
        self.0
            .iter()
            .filter(move |(_, check)| check.chart == chart)
            .map(|(logged_at, check)| (*logged_at, check))
    }

    /// Time of a chart's last check until `until`.
    pub fn last_of(&self, chart: &str, until: DateTime<FixedOffset>) -> Option<DateTime<FixedOffset>> {
        self.of_chart(chart).map(|(_, check)| check.at).filter(|at| *at <= until).max()
    }
}

/// From when on a kit's readings of one analyte are doubted.
struct Drift {
    chart: String,
    analyte: Analyte,
    since: DateTime<FixedOffset>,
}

/// The doubts about the kits of some charts.
pub struct Doubts {
    drifts: Vec<Drift>,
    expiries: Vec<(String, NaiveDate)>,
    leaflets: Vec<(String, Leaflet)>,
}

impl Doubts {
    /// Gathers what the checks and the charts' own dates say.
    pub fn new<'a>(charts: impl IntoIterator<Item = &'a Chart>, checks: &Checks) -> Self {
        let mut doubts = Self { drifts: Vec::new(), expiries: Vec::new(), leaflets: Vec::new() };
        for chart in charts {
            doubts.expiries.extend(chart.expires.map(|date| (chart.name.clone(), date)));
            doubts.leaflets.push((chart.name.clone(), chart.leaflet.clone()));
            for scale in &chart.scales {
                if let Some(since) = drifted_since(chart, scale.analyte, checks) {
                    doubts.drifts.push(Drift { chart: chart.name.clone(), analyte: scale.analyte, since });
                }
            }
        }
        doubts
    }

    /// Adds the flags that hold for a reading of that time; one of unknown time counts as late.
    pub fn flag(
        &self,
        sighting: &mut Sighting,
        taken_at: Option<DateTime<FixedOffset>>,
        conditions: &Conditions,
    ) {
        if sighting.status == Status::Refused {
            return;
        }
        let Some(chart) = sighting.chart.clone() else { return };
        let is_late = |since: DateTime<FixedOffset>| taken_at.is_none_or(|at| at >= since);
        let has_drifted = self.drifts.iter().any(|drift| {
            drift.chart == chart && Some(drift.analyte) == sighting.analyte && is_late(drift.since)
        });
        let is_expired = self
            .expiries
            .iter()
            .any(|(name, date)| *name == chart && taken_at.is_none_or(|at| at.date_naive() > *date));
        sighting.flags.extend(has_drifted.then_some(Flag::KitDrifted));
        sighting.flags.extend(is_expired.then_some(Flag::ChartExpired));
        if let Some(leaflet) = self.leaflet(&chart) {
            let waited = taken_at.zip(conditions.mixed_at).map(|(taken, mixed)| taken - mixed);
            let misses_wait = waited.and_then(|waited| leaflet.misses_wait(waited)) == Some(true);
            let is_cold = conditions.water_c.is_some_and(|celsius| leaflet.is_too_cold(celsius));
            sighting.flags.extend(misses_wait.then_some(Flag::WaitingTimeMissed));
            sighting.flags.extend(is_cold.then_some(Flag::ColdWater));
        }
        sighting.flags.sort_unstable();
        sighting.flags.dedup();
    }
}

impl Doubts {
    fn leaflet(&self, chart: &str) -> Option<&Leaflet> {
        self.leaflets.iter().find(|(name, _)| name == chart).map(|(_, leaflet)| leaflet)
    }

    /// What of the conditions could not be held against a reading, or is no flag's, in words.
    pub fn unchecked(
        &self,
        sighting: &Sighting,
        taken_at: Option<DateTime<FixedOffset>>,
        conditions: &Conditions,
    ) -> Vec<String> {
        let Some(chart) = sighting.chart.as_deref().filter(|_| sighting.status != Status::Refused) else {
            return Vec::new();
        };
        let leaflet = self.leaflet(chart).cloned().unwrap_or_default();
        let mut notes = Vec::new();
        if conditions.mixed_at.is_some() && leaflet.wait_minutes.is_none() {
            notes.push(format!(
                "chart {chart} holds no waiting time, so --mixed-at cannot be checked: enter it once with `tintwell calibrate {chart} --wait MINUTES`"
            ));
        } else if conditions.mixed_at.is_some() && taken_at.is_none() {
            notes.push(
                "the photo does not say when it was taken, so it cannot be checked whether the waiting time was kept: give its time with --at".to_owned(),
            );
        }
        if let Some(celsius) = conditions.water_c.filter(|celsius| leaflet.is_too_warm(*celsius)) {
            notes.push(format!(
                "the water ({celsius} °C) was warmer than the kit of chart {chart} allows: let the sample cool first"
            ));
        }
        notes
    }
}

/// Time of the first check beyond the action limits since the chart was made.
pub fn drifted_since(chart: &Chart, analyte: Analyte, checks: &Checks) -> Option<DateTime<FixedOffset>> {
    let checks = checks_of(chart, analyte, checks);
    let scores: Vec<f64> = checks.iter().map(|(_, score)| *score).collect();
    let beyond = signals(&scores, &LIMITS).into_iter().find(|signal| signal.rule == Rule::BeyondAction)?;
    Some(checks[beyond.at].0)
}

/// Times and scores (standard uncertainties) of a chart's checks since it was made, oldest first.
pub fn checks_of(chart: &Chart, analyte: Analyte, checks: &Checks) -> Vec<(DateTime<FixedOffset>, f64)> {
    let made_on = chart.made_on.as_deref().and_then(|date| date.parse::<NaiveDate>().ok());
    let made = chart.history.iter().rfind(|revision| revision.step == Step::Made);
    let mut checks: Vec<(DateTime<FixedOffset>, f64)> = checks
        .of_chart(&chart.name)
        // A check logged before the chart was made anew told of the one before.
        .filter(|(logged_at, check)| {
            check.analyte == analyte && made.is_none_or(|made| *logged_at >= made.at)
        })
        .filter_map(|(_, check)| Some((check.at, score(check)?)))
        .filter(|(at, _)| made.is_some() || made_on.is_none_or(|made_on| at.date_naive() >= made_on))
        .collect();
    checks.sort_by_key(|(at, _)| *at);
    checks
}

/// Error of a check in standard uncertainties; `None` if it tells nothing.
fn score(check: &Check) -> Option<f64> {
    match (check.value, check.low, check.high) {
        (Some(value), Some(low), Some(high)) => {
            // An interval is cut off at the chart's ends: its longer side tells the uncertainty.
            let sigma = (high - value).max(value - low) / HALF_95;
            (sigma > 0.0).then_some((value - check.known) / sigma)
        }
        (None, Some(low), None) => Some(if low > check.known { EXCLUDED } else { 0.0 }),
        _ => None,
    }
}
