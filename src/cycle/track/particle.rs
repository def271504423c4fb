//! One possible course of the tank.

use rand::RngExt;
use rand_distr::{Distribution, LogNormal, Normal, Uniform};
use rand_pcg::Pcg64Mcg;

use crate::cycle::chance::near_normal;
use crate::cycle::series::{Level, VOLUME_FACTOR, VOLUME_FACTOR_SD};
use crate::terms::TankFacts;
use crate::terms::unit::{NH3_PER_N, NO3_PER_N};

/// One possible state of the water and the colonies, with the constants that belong to it.
///
/// Pools are mg/L as N, rates mg/L N a day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Particle {
    /// Total ammonia.
    pub ammonia: f64,
    /// Nitrite.
    pub nitrite: f64,
    /// Nitrate.
    pub nitrate: f64,
    /// Nitrogen in food that has not broken down.
    pub organic: f64,
    /// Most ammonia that is oxidised in a day, as the water stands.
    pub ammonia_rate: f64,
    /// Most nitrite that is oxidised in a day, as the water stands.
    pub nitrite_rate: f64,
    /// Ammonia that a bloom takes up in a day without oxidising it; it fades within a week or two.
    pub bloom: f64,
    /// Ammonia, or nitrate where ammonia is wanting, that plants take up in a day.
    pub planted: f64,
    /// Fish in the tank.
    pub fish: f64,
    /// Ammonia that they give off in a day beyond logged food.
    pub excretion: f64,
    /// Largest share of both colonies that survived a cleaning or an untreated water change, 0 to 1.
    pub survival: f64,
    /// What a dose reckoned on the nominal volume is multiplied by.
    pub volume_factor: f64,
    /// What logged food is multiplied by: protein and digestibility differ.
    pub food_factor: f64,
    /// Steady bias of the three kits, as factors.
    pub gain: [f64; 3],
    /// Share of nitrite that the nitrate test sees as nitrate.
    pub cross: f64,
    /// Growth of the ammonia rate with nothing limiting, 1/d.
    pub ammonia_growth: f64,
    /// Growth of the nitrite rate with nothing limiting, 1/d.
    pub nitrite_growth: f64,
    /// Share of growth that nothing holds back, 0 to 1.
    pub vigour: f64,
    /// Ammonia at half its rate.
    pub ammonia_half: f64,
    /// Nitrite at half its rate.
    pub nitrite_half: f64,
    /// Fading of both rates, 1/d (published decay of nitrifiers 0.03 to 0.17).
    pub decay: f64,
    /// Size of a deed that the log lacks and a hypothesis put in, in the deed's unit.
    pub unlogged: f64,
}

/// A log-normal draw by median and log standard deviation.
pub(super) fn log_normal(rng: &mut Pcg64Mcg, median: f64, spread: f64) -> f64 {
    LogNormal::new(median.ln(), spread).map_or(median, |range| range.sample(rng))
}

pub(super) fn normal(rng: &mut Pcg64Mcg, mean: f64, sd: f64) -> f64 {
    Normal::new(mean, sd).map_or(mean, |range| range.sample(rng))
}

pub(super) fn uniform(rng: &mut Pcg64Mcg, low: f64, high: f64) -> f64 {
    Uniform::new(low, high).map_or(low, |range| range.sample(rng))
}

impl Particle {
    /// Draws a newly filled tank.
    ///
    /// Growth of nitrifiers 0.3 to 1.0 a day (ASM1, ASM2d, ASMN, UCT, slower in a fresh filter), rising
    /// 8 % a degree; half-saturations 0.1 to 1.5 mg/L N (Sin 2008, Metcalf & Eddy 2014). How many stray
    /// bacteria a tank begins with no source gives: three orders of magnitude are allowed.
    pub fn draw(facts: &TankFacts, rng: &mut Pcg64Mcg) -> Self {
        let warmth = 1.08f64.powf(facts.temperature_c.unwrap_or(25.0) - 25.0);
        let tap_nitrate = match facts.tap.nitrate_mg_l {
            Some(mg) => (mg + normal(rng, 0.0, 1.5)).max(0.0),
            None => uniform(rng, 0.0, 25.0),
        };
        let planted = match facts.plants.as_deref() {
            Some("many") => log_normal(rng, 0.3, 1.0),
            Some("few") => log_normal(rng, 0.1, 1.0),
            Some("none") => 0.0,
            _ => log_normal(rng, 0.02, 1.5),
        };
        Self {
            ammonia: facts.tap.ammonia_mg_l.unwrap_or(0.0) / NH3_PER_N,
            nitrite: 0.0,
            nitrate: tap_nitrate / NO3_PER_N,
            organic: 0.0,
            ammonia_rate: log_normal(rng, 6e-3, 1.8),
            nitrite_rate: log_normal(rng, 5e-3, 1.9),
            planted,
            bloom: if rng.random_bool(0.4) { log_normal(rng, 0.6, 1.0) } else { 0.0 },
            fish: 0.0,
            excretion: 0.0,
            survival: 1.0,
            volume_factor: normal(rng, VOLUME_FACTOR, VOLUME_FACTOR_SD),
            food_factor: log_normal(rng, 1.0, 0.35),
            gain: [log_normal(rng, 1.0, 0.05), log_normal(rng, 1.0, 0.05), log_normal(rng, 1.0, 0.12)],
            cross: if rng.random_bool(0.4) { uniform(rng, 0.1, 1.0) } else { 0.0 },
            ammonia_growth: warmth * log_normal(rng, 0.6, 0.4),
            nitrite_growth: warmth * log_normal(rng, 0.6, 0.4),
            vigour: 1.0,
            ammonia_half: log_normal(rng, 0.4, 0.5),
            nitrite_half: log_normal(rng, 0.35, 0.6),
            decay: log_normal(rng, 0.08, 0.5),
            unlogged: 0.0,
        }
    }

    /// Draws a tank of which nothing is known but its water, `levels` of ammonia, nitrite and nitrate: its
    /// colonies may be anything from stray bacteria to more than any proof asks.
    pub fn draw_running(facts: &TankFacts, levels: [Option<Level>; 3], rng: &mut Pcg64Mcg) -> Self {
        let mut water = |level: Option<Level>, unknown: f64| match level {
            Some(level) if level.above => level.value * log_normal(rng, 1.5, 0.4),
            Some(level) => (level.value + normal(rng, 0.0, level.sd)).max(0.0),
            None => uniform(rng, 0.0, unknown),
        };
        let [ammonia, nitrite, nitrate] = levels;
        let (ammonia, nitrite, nitrate) = (water(ammonia, 1.5), water(nitrite, 1.0), water(nitrate, 12.0));
        Self {
            ammonia,
            nitrite,
            nitrate,
            ammonia_rate: log_normal(rng, 1.0, 2.0),
            nitrite_rate: log_normal(rng, 1.0, 2.0),
            ..Self::draw(facts, rng)
        }
    }

    /// Shakes the constants a little, so that copies made by resampling differ.
    pub(super) fn roughen(&mut self, rng: &mut Pcg64Mcg) {
        let mut shake = |value: &mut f64, spread: f64| {
            if *value > 0.0 {
                let by = spread * near_normal(rng);
                // exp(by) to second order: it is small.
                *value *= 1.0 + by + 0.5 * by * by;
            }
        };
        shake(&mut self.ammonia_rate, 0.04);
        shake(&mut self.nitrite_rate, 0.04);
        shake(&mut self.ammonia_growth, 0.03);
        shake(&mut self.nitrite_growth, 0.03);
        shake(&mut self.ammonia_half, 0.03);
        shake(&mut self.nitrite_half, 0.03);
        shake(&mut self.food_factor, 0.02);
        shake(&mut self.volume_factor, 0.003);
        shake(&mut self.bloom, 0.1);
        shake(&mut self.planted, 0.1);
        for gain in &mut self.gain {
            shake(gain, 0.005);
        }
        shake(&mut self.nitrate, 0.01);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng;

    fn level(value: f64, sd: f64, above: bool) -> Option<Level> {
        Some(Level { value, sd, above, reaches_zero: false })
    }

    /// Four thousand courses of a tank that had run long before `levels` were read, mg/L as N.
    fn running(levels: [Option<Level>; 3]) -> Vec<Particle> {
        let mut rng = Pcg64Mcg::seed_from_u64(4);
        (0..4000).map(|_| Particle::draw_running(&TankFacts::default(), levels, &mut rng)).collect()
    }

    fn share(courses: &[Particle], holds: impl Fn(&Particle) -> bool) -> f64 {
        courses.iter().filter(|course| holds(course)).count() as f64 / courses.len() as f64
    }

    #[test]
    fn a_running_tanks_water_is_as_read_within_the_readings_error() {
        let courses = running([level(1.0, 0.2, false), level(0.0, 0.1, false), level(9.0, 1.0, false)]);
        let within = |value: f64, middle: f64, sd: f64| (value - middle).abs() < sd;
        // One standard deviation holds 68.3 %.
        assert!((share(&courses, |p| within(p.ammonia, 1.0, 0.2)) - 0.683).abs() < 0.03);
        assert!((share(&courses, |p| within(p.nitrate, 9.0, 1.0)) - 0.683).abs() < 0.03);
        assert!((share(&courses, |p| p.nitrite == 0.0) - 0.5).abs() < 0.03, "nothing is negative");
        assert!(courses.iter().all(|p| p.nitrite >= 0.0));
    }

    #[test]
    fn past_the_charts_end_most_courses_hold_more_than_its_last_colour() {
        let courses = running([level(6.0, 1.0, true), None, None]);
        // ln 1.5 lies 1.01 standard deviations above the bound: 84.5 %.
        assert!((share(&courses, |p| p.ammonia > 6.0) - 0.845).abs() < 0.03);
        assert!(share(&courses, |p| p.ammonia > 12.0) > 0.15);
        assert!((share(&courses, |p| p.nitrite < 0.5) - 0.5).abs() < 0.03, "even from 0 to 1 if not read");
    }

    #[test]
    fn a_running_tanks_colonies_are_unknown_over_orders_of_magnitude() {
        let courses = running([None, None, None]);
        for rate in [|p: &Particle| p.ammonia_rate, |p: &Particle| p.nitrite_rate] {
            assert!((share(&courses, |p| rate(p) > 1.0) - 0.5).abs() < 0.03);
            // Log-normal with a spread of 2: one deviation either way.
            assert!((share(&courses, |p| rate(p) > 2f64.exp()) - 0.159).abs() < 0.03);
            assert!((share(&courses, |p| rate(p) < (-2f64).exp()) - 0.159).abs() < 0.03);
        }
    }
}
