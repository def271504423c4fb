//! Whether the forecast agrees with what the readings show.
//!
//! The forecast knows the kinetics, and what they do not explain it may explain away: ammonia that stands as an
//! error of many tests, or nitrate that is made as an error of the kit. Then none of its answers can be trusted.

use super::forecast::{Posterior, Span};
use super::track::{Cloud, Particle};
use crate::terms::Analyte;
use crate::terms::unit::{NH3_PER_N, NO2_PER_N, NO3_PER_N};

/// Shares of the courses between which what stands by the readings most likely lies.
const SHARES: [f64; 2] = [0.2, 0.8];
/// Ammonia or nitrite below which a disagreement is none, mg/L of the ion: the first colour of common charts.
const SHOWN_MG_L: f64 = 0.25;
/// The same for nitrate, whose tests are coarse.
const SHOWN_NITRATE_MG_L: f64 = 5.0;
/// How many times more or less the forecast has of ammonia or nitrite where it contradicts the readings.
const TIMES: f64 = 2.0;
/// The same for nitrate: its kits err by much, all one way.
const TIMES_NITRATE: f64 = 3.0;

/// The first analyte of whose water today the forecast contradicts the courses that the readings leave.
pub fn contradicted(posterior: &Posterior, now: &Cloud) -> Option<Analyte> {
    [Analyte::Ammonia, Analyte::Nitrite, Analyte::Nitrate].into_iter().find(|&analyte| {
        let stands = now.quantiles(|particle| level(particle, analyte), SHARES);
        let foreseen = posterior.course(analyte);
        foreseen.first().is_some_and(|today| contradicts(analyte, *today, stands))
    })
}

/// What stands of ammonia, nitrite or nitrate, mg/L of the ion.
fn level(particle: &Particle, analyte: Analyte) -> f64 {
    match analyte {
        Analyte::Ammonia => particle.ammonia * NH3_PER_N,
        Analyte::Nitrite => particle.nitrite * NO2_PER_N,
        _ => particle.nitrate * NO3_PER_N,
    }
}

/// Whether what is `foreseen` of today contradicts what most likely stands between `low` and `high`, mg/L.
fn contradicts(analyte: Analyte, foreseen: Span, [low, high]: [f64; 2]) -> bool {
    if analyte == Analyte::Nitrate {
        // It is not used up, so that both are sure of it, each within its own bounds.
        let less = low > SHOWN_NITRATE_MG_L && TIMES_NITRATE * foreseen.high < low;
        return less || (foreseen.low > SHOWN_NITRATE_MG_L && foreseen.low > TIMES_NITRATE * high);
    }
    let less = low > SHOWN_MG_L && TIMES * foreseen.middle < low;
    less || (foreseen.low > SHOWN_MG_L && foreseen.low > TIMES * high)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn span(low: f64, middle: f64, high: f64) -> Span {
        Span { low, middle, high }
    }

    #[test]
    fn ammonia_that_surely_stands_contradicts_a_forecast_that_has_it_gone() {
        let contradicted = |foreseen| contradicts(Analyte::Ammonia, foreseen, [2.4, 3.4]);
        assert!(contradicted(span(0.01, 0.03, 2.6)), "more likely gone than not");
        assert!(!contradicted(span(0.1, 2.0, 2.6)) && !contradicted(span(1.5, 3.0, 9.0)));
        assert!(contradicted(span(7.0, 8.0, 9.0)), "far more than is there");
    }

    #[test]
    fn traces_and_what_is_not_known_contradict_nothing() {
        assert!(!contradicts(Analyte::Nitrite, span(0.0, 0.0, 0.01), [0.2, 0.4]));
        assert!(!contradicts(Analyte::Ammonia, span(0.01, 0.03, 0.1), [0.1, 4.0]));
    }

    /// A kit that reads twice too much is common; three times what the forecast has at most is more than that.
    #[test]
    fn nitrate_contradicts_only_by_far() {
        assert!(contradicts(Analyte::Nitrate, span(4.0, 5.0, 5.5), [29.0, 31.0]));
        assert!(!contradicts(Analyte::Nitrate, span(8.0, 10.0, 12.0), [24.0, 31.0]));
        assert!(!contradicts(Analyte::Nitrate, span(0.0, 0.5, 1.0), [4.0, 4.8]));
    }
}
