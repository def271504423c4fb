//! Danger to animals from what stands in the water, against published criteria.

use std::fmt;

use super::ammonia::un_ionised_share;
use super::criteria::{
    CCME_NITRATE_LONG_MG_L, CCME_NITRATE_MARINE_LONG_MG_L, CCME_NITRATE_SHORT_MG_L, CCME_UN_IONISED_MG_L,
    EIFAC_UN_IONISED_MG_L, GILL_DAMAGE_UN_IONISED_MG_L, SENSITIVE_NITRATE_MG_N_L, epa_acute_mg_n_l,
    nitrite_maximum_mg_n_l, nitrite_mean_mg_n_l,
};
use super::series::{Level, RECENT_DAYS, Series};
use super::standing::standing;
use crate::terms::unit::{NH3_PER_N, NO2_PER_N, NO3_PER_N};
use crate::terms::{Analyte, TankFacts};

/// Chloride of salt water for each unit of practical salinity, mg/L (sea water of 35 holds 19 g/L).
pub const CHLORIDE_MG_L_PER_SALINITY: f64 = 500.0;

/// How bad it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    /// Below every criterion, whatever is uncertain.
    Low,
    /// Above a criterion for long exposure, or it may be.
    Watch,
    /// Not known well enough to say.
    Unknown,
    /// Above a criterion for long exposure, surely or most likely by much.
    Harmful,
    /// Surely above a criterion for short exposure.
    Acute,
}

impl fmt::Display for Severity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Self::Low => "low",
            Self::Watch => "watch",
            Self::Unknown => "unknown",
            Self::Harmful => "harmful",
            Self::Acute => "acute danger",
        })
    }
}

/// One substance against its criteria.
#[derive(Debug, Clone, PartialEq)]
pub struct Danger {
    /// Ammonia (its un-ionised part), nitrite or nitrate.
    pub analyte: Analyte,
    /// How bad.
    pub severity: Severity,
    /// Bounds of what harms, mg/L: NH3 for ammonia (the un-ionised part alone), NO2, NO3.
    pub bounds: Option<(f64, f64)>,
    /// Bounds of the share of ammonia that is un-ionised; for ammonia alone.
    pub un_ionised_share: Option<(f64, f64)>,
    /// The criterion that decides, with its authority and value.
    pub criterion: String,
    /// What to measure to know, if something is missing.
    pub missing: Option<&'static str>,
}

/// Whether anything harms animals, if there are any, surely or most likely.
pub fn any_harms(dangers: &[Danger]) -> bool {
    dangers.iter().any(|danger| danger.severity >= Severity::Harmful)
}

/// Bounds of a quantity.
type Bounds = (f64, f64);

/// Conditions that decide how much of the ammonia harms.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Conditions {
    /// pH.
    pub ph: Bounds,
    /// Whether the pH was measured of late.
    pub ph_known: bool,
    /// Temperature, °C.
    pub temperature_c: Bounds,
    /// Whether the temperature was measured of late, or the heater's set point is told.
    pub temperature_known: bool,
    /// Practical salinity.
    pub salinity: Bounds,
}

impl Conditions {
    /// From the latest readings; what was not measured of late gets bounds, not a guess.
    pub fn of(series: &Series, facts: &TankFacts) -> Self {
        let recent = |analyte| {
            let (day, level): (f64, Level) = series.latest(analyte)?;
            (series.now - day <= RECENT_DAYS).then_some((level.value - 1.96 * level.sd, level.upper()))
        };
        let salinity = salinity_of(facts);
        let usual_ph = if salinity.0 >= 30.0 { (7.7, 8.5) } else { (6.0, 8.6) };
        let ph = recent(Analyte::Ph);
        let set_point = facts.temperature_c.map(|set| (set - 1.0, set + 1.0));
        let temperature = recent(Analyte::Temperature).or(set_point);
        Self {
            ph: ph.unwrap_or(usual_ph),
            ph_known: ph.is_some(),
            temperature_c: temperature.unwrap_or((18.0, 30.0)),
            temperature_known: temperature.is_some(),
            salinity,
        }
    }

    /// Chloride, mg/L. Sea water holds 19 g/L of it, which keeps nitrite off the gills; of fresh water the log
    /// says nothing, so that the criterion itself has bounds.
    fn chloride_mg_l(&self) -> Option<f64> {
        (self.salinity.0 > 0.0).then_some(CHLORIDE_MG_L_PER_SALINITY * self.salinity.0)
    }

    /// Bounds of the share of total ammonia that is un-ionised.
    pub fn un_ionised_share(&self) -> Bounds {
        (
            un_ionised_share(self.ph.0, self.temperature_c.0, self.salinity.1),
            un_ionised_share(self.ph.1, self.temperature_c.1, self.salinity.0),
        )
    }
}

/// Bounds of the practical salinity of this kind of water.
pub fn salinity_of(facts: &TankFacts) -> (f64, f64) {
    match facts.water.as_deref() {
        Some("sea") => (30.0, 37.0),
        Some("brackish") => (1.0, 20.0),
        _ => (0.0, 0.0),
    }
}

/// Ammonia, nitrite and nitrate against their criteria, as the latest readings and what was logged since have
/// them stand.
pub fn dangers(series: &Series, facts: &TankFacts) -> Vec<Danger> {
    let conditions = Conditions::of(series, facts);
    let recent = |analyte| {
        let (day, level): (f64, Level) = standing(series, facts, analyte)?;
        (series.now - day <= RECENT_DAYS).then_some((level.lower(), level.upper()))
    };
    vec![
        ammonia(recent(Analyte::Ammonia), &conditions),
        nitrite(recent(Analyte::Nitrite), &conditions),
        nitrate(recent(Analyte::Nitrate), &conditions),
    ]
}

/// What stands from which on it harms, as the conditions most likely are: mg/L NH3 (total) or NO2; for
/// ammonia and nitrite alone.
pub fn harmful_from(analyte: Analyte, conditions: &Conditions) -> Option<f64> {
    let share = conditions.un_ionised_share();
    match analyte {
        Analyte::Ammonia => Some(EIFAC_UN_IONISED_MG_L / (share.0 * share.1).sqrt()),
        Analyte::Nitrite => Some(nitrite_maximum_mg_n_l(conditions.chloride_mg_l()) * NO2_PER_N),
        _ => None,
    }
}

fn ammonia(total_n: Option<Bounds>, conditions: &Conditions) -> Danger {
    let share = conditions.un_ionised_share();
    let Some(total_n) = total_n else {
        return unknown(Analyte::Ammonia, "test ammonia and pH");
    };
    let bounds = (total_n.0 * NH3_PER_N * share.0, total_n.1 * NH3_PER_N * share.1);
    let middle = (bounds.0 * bounds.1.min(20.0 * bounds.0)).sqrt();
    let acute_n = epa_acute_mg_n_l(conditions.ph.0, conditions.temperature_c.0);
    let (severity, criterion) = if conditions.salinity.1 == 0.0 && total_n.0 > acute_n {
        (Severity::Acute, format!("US EPA 2013, acute: {acute_n:.1} mg/L total ammonia as N"))
    } else if bounds.0 > GILL_DAMAGE_UN_IONISED_MG_L {
        (Severity::Acute, format!("gill damage from {GILL_DAMAGE_UN_IONISED_MG_L} mg/L NH3 (UF/IFAS FA16)"))
    } else if bounds.0 > EIFAC_UN_IONISED_MG_L
        || (conditions.ph_known && middle > GILL_DAMAGE_UN_IONISED_MG_L)
    {
        (Severity::Harmful, format!("EIFAC: {EIFAC_UN_IONISED_MG_L} mg/L NH3"))
    } else if bounds.1 < CCME_UN_IONISED_MG_L {
        (Severity::Low, format!("CCME, long term: {CCME_UN_IONISED_MG_L} mg/L NH3"))
    } else if !conditions.ph_known && bounds.1 > GILL_DAMAGE_UN_IONISED_MG_L {
        (Severity::Unknown, format!("EIFAC: {EIFAC_UN_IONISED_MG_L} mg/L NH3"))
    } else {
        (Severity::Watch, format!("CCME, long term: {CCME_UN_IONISED_MG_L} mg/L NH3"))
    };
    let missing = match (conditions.ph_known, conditions.temperature_known) {
        _ if severity == Severity::Low => None,
        (true, true) => None,
        (false, true) => Some("test the pH"),
        (true, false) => Some("test the temperature"),
        (false, false) => Some("test the pH, temperature"),
    };
    Danger {
        analyte: Analyte::Ammonia,
        severity,
        bounds: Some(bounds),
        un_ionised_share: Some(share),
        criterion,
        missing,
    }
}

fn nitrite(level_n: Option<Bounds>, conditions: &Conditions) -> Danger {
    let Some((low, high)) = level_n else { return unknown(Analyte::Nitrite, "test nitrite") };
    let chloride = conditions.chloride_mg_l();
    let strict = nitrite_mean_mg_n_l(chloride);
    let lenient = nitrite_maximum_mg_n_l(Some(chloride.unwrap_or(50.0)));
    let as_no2 = |n: f64| n * NO2_PER_N;
    let (severity, limit) = if low > lenient {
        (Severity::Acute, lenient)
    } else if high < strict {
        (Severity::Low, strict)
    } else if low > nitrite_maximum_mg_n_l(chloride) {
        (Severity::Harmful, nitrite_maximum_mg_n_l(chloride))
    } else {
        (Severity::Watch, strict)
    };
    let with = if chloride.is_some() { "" } else { ", chloride unknown" };
    Danger {
        analyte: Analyte::Nitrite,
        severity,
        bounds: Some((as_no2(low), as_no2(high))),
        un_ionised_share: None,
        criterion: format!("British Columbia{with}: {:.2} mg/L NO2", as_no2(limit)),
        missing: (chloride.is_none() && severity > Severity::Low)
            .then_some("ask the water supplier for the chloride: it decides how nitrite harms"),
    }
}

fn nitrate(level_n: Option<Bounds>, conditions: &Conditions) -> Danger {
    let Some((low_n, high_n)) = level_n else { return unknown(Analyte::Nitrate, "test nitrate") };
    let (low, high) = (low_n * NO3_PER_N, high_n * NO3_PER_N);
    let marine = conditions.salinity.0 >= 30.0;
    let (long, authority) = if marine {
        (CCME_NITRATE_MARINE_LONG_MG_L, "CCME 2012, sea water, long term")
    } else {
        (CCME_NITRATE_LONG_MG_L, "CCME 2012, fresh water, long term")
    };
    let sensitive = SENSITIVE_NITRATE_MG_N_L * NO3_PER_N;
    let (severity, criterion) = if low > CCME_NITRATE_SHORT_MG_L {
        (Severity::Acute, format!("CCME 2012, short term: {CCME_NITRATE_SHORT_MG_L} mg/L NO3"))
    } else if high < long {
        (Severity::Low, format!("{authority}: {long} mg/L NO3"))
    } else if !marine && low > sensitive {
        (Severity::Watch, format!("Camargo et al. 2005, sensitive animals: {sensitive:.0} mg/L NO3"))
    } else {
        (Severity::Watch, format!("{authority}: {long} mg/L NO3"))
    };
    Danger {
        analyte: Analyte::Nitrate,
        severity,
        bounds: Some((low, high)),
        un_ionised_share: None,
        criterion,
        missing: None,
    }
}

fn unknown(analyte: Analyte, missing: &'static str) -> Danger {
    Danger {
        analyte,
        severity: Severity::Unknown,
        bounds: None,
        un_ionised_share: None,
        criterion: "not tested within a week".to_owned(),
        missing: Some(missing),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cycle::TankHistory;
    use crate::reading::{Measurement, Status};
    use chrono::{DateTime, TimeDelta};

    const WARM: Conditions = Conditions {
        ph: (7.9, 8.1),
        ph_known: true,
        temperature_c: (24.0, 26.0),
        temperature_known: true,
        salinity: (0.0, 0.0),
    };

    fn as_n(mg_l: f64) -> Option<Bounds> {
        Some((0.9 * mg_l / NH3_PER_N, 1.1 * mg_l / NH3_PER_N))
    }

    /// At pH 8 and 25 °C 5.4 % of the ammonia is un-ionised (Emerson 1975): 2 mg/L hold 0.1 mg/L NH3.
    #[test]
    fn two_ppm_in_warm_hard_water_is_acute() {
        assert_eq!(ammonia(as_n(2.0), &WARM).severity, Severity::Acute);
    }

    #[test]
    fn two_ppm_in_acid_water_is_not() {
        let acid = Conditions { ph: (6.3, 6.5), ..WARM };
        assert_eq!(ammonia(as_n(2.0), &acid).severity, Severity::Low);
    }

    #[test]
    fn an_unknown_ph_is_an_answer() {
        let dark = Conditions { ph: (6.0, 8.6), ph_known: false, ..WARM };
        let danger = ammonia(as_n(2.0), &dark);
        assert_eq!(danger.severity, Severity::Unknown);
        assert_eq!(danger.missing, Some("test the pH"));
    }

    #[test]
    fn nothing_measured_is_never_called_low() {
        assert_eq!(ammonia(None, &WARM).severity, Severity::Unknown);
        assert_eq!(nitrite(None, &WARM).severity, Severity::Unknown);
        assert_eq!(nitrate(None, &WARM).severity, Severity::Unknown);
    }

    #[test]
    fn chloride_of_sea_water_protects_from_nitrite() {
        let level = Some((0.1, 0.15));
        let sea = Conditions { salinity: (30.0, 37.0), ..WARM };
        assert!(nitrite(level, &WARM).severity > nitrite(level, &sea).severity);
        assert_eq!(nitrite(Some((0.9, 1.2)), &WARM).severity, Severity::Acute);
    }

    #[test]
    fn what_may_reach_a_criterion_is_never_called_low() {
        let wide = Some((0.001, 30.0));
        for danger in [ammonia(wide, &WARM), nitrite(wide, &WARM), nitrate(wide, &WARM)] {
            assert!(danger.severity > Severity::Low, "{danger:?}");
        }
    }

    /// At pH 7.9 to 8.1 and 24 to 26 °C 4.0 to 7.0 % is un-ionised (Emerson 1975): 0.45 to 3 mg/L hold
    /// 0.018 to 0.21 mg/L NH3, from below EIFAC's limit to four times where gills suffer.
    #[test]
    fn ammonia_that_most_likely_harms_is_called_harmful() {
        let likely = Some((0.45 / NH3_PER_N, 3.0 / NH3_PER_N));
        let danger = ammonia(likely, &WARM);
        assert!(danger.bounds.unwrap().0 < EIFAC_UN_IONISED_MG_L);
        assert_eq!(danger.severity, Severity::Harmful);
    }

    /// Emerson et al. 1975, pKa = 0.09018 + 2729.92 / T, worked by hand: 9.2772 at 24 °C and 9.2158 at 26 °C.
    #[test]
    fn the_share_is_bounded_by_the_coldest_acid_and_the_warmest_alkaline_water() {
        let (low, high) = WARM.un_ionised_share();
        assert!((low - 0.0403).abs() < 2e-4 && (high - 0.0712).abs() < 2e-4, "{low} {high}");
    }

    /// 13 mg/L NO3 is CCME's criterion for long exposure.
    #[test]
    fn nitrate_that_may_reach_its_criterion_is_watched() {
        let between =
            |low: f64, high: f64| nitrate(Some((low / NO3_PER_N, high / NO3_PER_N)), &WARM).severity;
        assert_eq!(between(9.0, 15.0), Severity::Watch);
        assert_eq!(between(5.0, 12.0), Severity::Low);
    }

    #[test]
    fn an_old_reading_says_nothing_of_today_and_an_unknown_temperature_may_be_any() {
        let read = DateTime::parse_from_rfc3339("2031-03-04T10:00:00+01:00").unwrap();
        let reading = Measurement {
            analyte: Analyte::Nitrite,
            status: Status::Read,
            value: Some(0.0),
            low: Some(0.0),
            high: Some(0.05),
            taken_at: read,
            flags: Vec::new(),
        };
        let facts = TankFacts::default();
        let history = TankHistory { facts: facts.clone(), measurements: vec![reading], deeds: Vec::new() };
        let nitrite_after = |days: i64| {
            let series = Series::new(&history, read + TimeDelta::days(days));
            dangers(&series, &facts).into_iter().find(|danger| danger.analyte == Analyte::Nitrite).unwrap()
        };
        assert_eq!(nitrite_after(6).severity, Severity::Low);
        assert_eq!(nitrite_after(8).severity, Severity::Unknown);
        let conditions = Conditions::of(&Series::new(&history, read), &facts);
        assert!(!conditions.temperature_known && !conditions.ph_known);
        assert!(conditions.temperature_c.0 <= 18.0 && conditions.temperature_c.1 >= 30.0);
    }
}
