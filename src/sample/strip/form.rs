//! A strip's measures.

use serde::{Deserialize, Serialize};

use crate::terms::Analyte;

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
    /// Distance of its centre from the dipped end, mm.
    pub centre_mm: f64,
    /// Its length along the strip, mm.
    pub size_mm: f64,
}

/// Longest strip that fits into a window, mm.
const LONGEST_MM: f64 = 130.0;
/// Shortest pad that can be measured, mm.
const LEAST_PAD_MM: f64 = 1.5;

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
        let pad = |&centre_mm| Pad { analyte: Analyte::Nitrate, centre_mm, size_mm: 5.0 };
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
}
