//! A strip's measures.

use serde::{Deserialize, Serialize};

use crate::terms::{Analyte, Unit};

/// What a strip looks like: measures in mm, pads from the dipped end.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StripForm {
    /// Length of the strip, mm.
    pub length_mm: f64,
    /// Width of the strip, mm.
    pub width_mm: f64,
    /// Its pads, from the dipped end.
    pub pads: Vec<Pad>,
}

/// One pad.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Pad {
    /// What it measures.
    pub analyte: Analyte,
    /// Unit in which its standards are counted; the analyte's default unit if none is given. Readings
    /// come in the default unit always.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unit: Option<Unit>,
    /// Distance of its centre from the dipped end, mm.
    pub centre_mm: f64,
    /// Its length along the strip, mm.
    pub size_mm: f64,
}

/// Longest strip that fits into a window, mm.
const LONGEST_MM: f64 = 130.0;
/// Shortest pad that can be measured, mm.
const LEAST_PAD_MM: f64 = 1.5;

impl Pad {
    /// A standard's value in the analyte's default unit.
    pub fn to_default_unit(&self, value: f64) -> f64 {
        let unit = self.unit.unwrap_or_else(|| self.analyte.default_unit());
        unit.convert(value, self.analyte.default_unit(), self.analyte).unwrap_or(value)
    }
}

impl StripForm {
    /// Says what is wrong with a form that was read from a file.
    pub fn check(&self) -> Result<(), String> {
        let in_range = |value: f64, low: f64, high: f64| value.is_finite() && (low..=high).contains(&value);
        if !in_range(self.length_mm, 10.0, LONGEST_MM) || !in_range(self.width_mm, 2.0, 15.0) {
            return Err("the strip's length or width cannot be right".to_owned());
        }
        if self.pads.is_empty() {
            return Err("the strip has no pads".to_owned());
        }
        let sound = |pad: &Pad| {
            in_range(pad.size_mm, LEAST_PAD_MM, 20.0)
                && in_range(pad.centre_mm, pad.size_mm / 2.0, self.length_mm - pad.size_mm / 2.0)
        };
        if !self.pads.iter().all(sound) {
            return Err("a pad lies beyond the strip, or its size cannot be right".to_owned());
        }
        if let Some(pad) =
            self.pads.iter().find(|pad| pad.unit.is_some_and(|unit| !unit.measures(pad.analyte)))
        {
            let units: Vec<&str> =
                Unit::ALL.iter().filter(|unit| unit.measures(pad.analyte)).map(|unit| unit.label()).collect();
            return Err(format!("the unit of {} can be: {}", pad.analyte, units.join(", ")));
        }
        let apart =
            |pair: &[Pad]| pair[1].centre_mm - pair[0].centre_mm >= (pair[0].size_mm + pair[1].size_mm) / 2.0;
        if self.pads.windows(2).all(apart) {
            Ok(())
        } else {
            Err("the strip's pads overlap or are not listed from the dipped end".to_owned())
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn form(centres: &[f64]) -> StripForm {
        let pad = |&centre_mm| Pad { analyte: Analyte::Nitrate, unit: None, centre_mm, size_mm: 5.0 };
        StripForm { length_mm: 76.0, width_mm: 5.4, pads: centres.iter().map(pad).collect() }
    }

    #[test]
    fn pads_that_overlap_or_lie_beyond_the_strip_are_refused() {
        assert_eq!(form(&[5.0, 11.6]).check(), Ok(()));
        assert!(form(&[5.0, 8.0]).check().unwrap_err().contains("overlap"));
        assert!(form(&[11.6, 5.0]).check().unwrap_err().contains("dipped end"));
        assert!(form(&[5.0, 75.0]).check().unwrap_err().contains("beyond"));
        assert!(form(&[]).check().is_err());
        assert!(form(&[f64::NAN]).check().is_err());
    }

    /// 1 mg/L N is 4.4266 mg/L NO3 (62.004 / 14.007, IUPAC weights).
    #[test]
    fn a_pads_unit_counts_its_standards_and_must_measure_its_analyte() {
        let mut form = form(&[5.0]);
        assert!((form.pads[0].to_default_unit(10.0) - 10.0).abs() < 1e-12);
        form.pads[0].unit = Some(Unit::MgPerLitreN);
        assert_eq!(form.check(), Ok(()));
        assert!((form.pads[0].to_default_unit(10.0) - 44.266).abs() < 1e-3);
        form.pads[0].unit = Some(Unit::MgPerLitreNo2);
        assert!(form.check().unwrap_err().contains("mg/L NO3, mg/L N"));
    }
}
