//! What the keeper writes down, and what is wrong with it.

use chrono::{DateTime, Duration, FixedOffset};
use rand::{Rng, RngExt};
use tintwell::cycle::Deed;
use tintwell::reading::Measurement;
use tintwell::terms::{Analyte, EventKind};

use super::draw::one_of;
use super::kit::Shown;

/// A log with at most one fault.
pub struct Diary {
    begun: DateTime<FixedOffset>,
    pub measurements: Vec<Measurement>,
    pub deeds: Vec<Deed>,
    /// What is wrong, or will be from some day on.
    pub fault: &'static str,
    pub fault_from: f64,
    fault_done: bool,
}

impl Diary {
    pub fn begin(begun: DateTime<FixedOffset>, rng: &mut impl Rng) -> Self {
        let faults = [
            ("none", 0.68),
            ("missing_dose", 0.09),
            ("missing_water_change", 0.07),
            ("wrong_reading", 0.1),
            ("swapped_analyte", 0.06),
        ];
        let fault = one_of(&faults, rng);
        Self { begun, measurements: Vec::new(), deeds: Vec::new(), fault, fault_from: 0.0, fault_done: false }
    }

    /// The time of `day`.
    pub fn moment(&self, day: f64) -> DateTime<FixedOffset> {
        self.begun + Duration::seconds((day * 86_400.0).round() as i64)
    }

    /// Writes a deed down.
    pub fn note(&mut self, day: f64, kind: EventKind, amount: f64, note: &str) {
        let forgotten = match kind {
            EventKind::AmmoniaDose => self.fault == "missing_dose",
            EventKind::WaterChange => self.fault == "missing_water_change",
            _ => false,
        };
        if forgotten && !self.fault_done && day >= self.fault_from {
            self.fault_done = true;
            return;
        }
        let at = self.moment(day);
        self.deeds.push(Deed { kind, amount: Some(amount), at, note: note.to_owned(), is_supposed: false });
    }

    /// The log's fault, if it is one of a reading and its time has come.
    pub fn blunder(&mut self, day: f64, seen: &mut [Option<Shown>; 5], rng: &mut impl Rng) {
        if self.fault_done || day < self.fault_from {
            return;
        }
        if self.fault == "swapped_analyte" && seen[0].is_some() && seen[1].is_some() {
            seen.swap(0, 1);
            self.fault_done = true;
        }
        if self.fault == "wrong_reading"
            && let Some(shown) = &mut seen[usize::from(rng.random::<bool>())]
            && let Some(high) = shown.high
        {
            let off = rng.random_range(2.0..5.0) * if shown.value > 2.0 { -0.4 } else { 1.0 };
            let wrong = (shown.value + off).clamp(0.0, 4.9);
            shown.high = Some(wrong + high - shown.value);
            shown.low = (wrong + shown.low - shown.value).max(0.0);
            shown.value = wrong;
            self.fault_done = true;
        }
    }

    /// Writes a reading down.
    pub fn write(&mut self, day: f64, analyte: Analyte, shown: Shown) {
        let digits = match analyte {
            Analyte::Ammonia | Analyte::Nitrite => 100.0,
            _ => 10.0,
        };
        let rounded = |value: f64| (value * digits).round() / digits;
        self.measurements.push(Measurement {
            analyte,
            status: shown.status,
            value: shown.high.map(|_| rounded(shown.value)),
            low: Some(rounded(shown.low)),
            high: shown.high.map(rounded),
            taken_at: self.moment(day),
            flags: Vec::new(),
        });
    }
}
