//! Possible tanks before any reading is seen: literature ranges, and what the keeper says.

use rand::{Rng, RngExt};
use rand_distr::{Distribution, StandardNormal};

use super::particle::{Particle, Traits};
use crate::cycle::kinetics::{Kinetics, Range, State, prior};
use crate::terms::TankFacts;
use crate::terms::unit::{NH3_PER_N, NO2_PER_N, NO3_PER_N};

/// Tap water assumed where the keeper does not say: pH and alkalinity in meq/L (middling supply).
const USUAL_PH: f64 = 7.6;
const USUAL_ALKALINITY: f64 = 3.0;

/// Draws from a log-normal range.
pub fn from_range(range: Range, rng: &mut impl Rng) -> f64 {
    range.at(StandardNormal.sample(rng))
}

/// The tap water as the model takes it.
pub fn tap_water(facts: &TankFacts) -> State<f64> {
    let tap = &facts.tap;
    State {
        ammonia: tap.ammonia_mg_l.unwrap_or(0.0) / NH3_PER_N,
        nitrate: tap.nitrate_mg_l.unwrap_or(5.0) / NO3_PER_N,
        alkalinity: tap.alkalinity_meq_l.unwrap_or(USUAL_ALKALINITY).max(0.05),
        ..State::default()
    }
}

/// Draws one possible tank.
pub fn particle(facts: &TankFacts, rng: &mut impl Rng) -> Particle {
    let mut state = tap_water(facts);
    state.ammonia += 0.03 * rng.random::<f64>();
    state.ammonia_oxidisers = from_range(prior::STRAY_A, rng);
    state.nitrite_oxidisers = from_range(prior::STRAY_N, rng);
    let alkalinity = state.alkalinity;
    Particle { state, kinetics: viable(facts, alkalinity, rng), traits: traits(facts, rng) }
}

/// Makes `particle` a tank that has long been running, its water about as first read, in the default
/// units. Of its colonies nothing is known: from stray bacteria to more than any proof asks.
pub fn settle(particle: &mut Particle, levels: [Option<f64>; 3], rng: &mut impl Rng) {
    const COLONY: Range = Range::new(1.0, 2.0);
    let mut water = |level: Option<f64>, unknown: f64, least: f64| match level {
        Some(level) => {
            let error: f64 = StandardNormal.sample(rng);
            (level + (0.1 * level + least) * error).max(0.0)
        }
        None => rng.random_range(0.0..unknown),
    };
    let [ammonia, nitrite, nitrate] = levels;
    let state = &mut particle.state;
    state.ammonia = water(ammonia, 2.0, 0.05) / NH3_PER_N;
    state.nitrite = water(nitrite, 3.0, 0.05) / NO2_PER_N;
    state.nitrate = water(nitrate, 60.0, 3.0) / NO3_PER_N;
    state.alkalinity *= rng.random_range(0.1..1.1);
    state.ammonia_oxidisers = from_range(COLONY, rng);
    state.nitrite_oxidisers = from_range(COLONY, rng);
}

/// Draws constants until they are those of colonies that can live up to their task.
///
/// The sources give each constant alone. Together they must also make a healthy, regularly fed tank
/// pass the proof in the end, since that is what the published start-up times are about (FAO TP 589:
/// 1-6 weeks; Kentucky State 2021: 6-8 weeks); combinations that never do are left out.
fn viable(facts: &TankFacts, alkalinity: f64, rng: &mut impl Rng) -> Kinetics<f64> {
    const TRIES: usize = 50;
    let mut drawn = kinetics(facts, alkalinity, rng);
    for _ in 0..TRIES {
        if drawn.suffices() {
            break;
        }
        drawn = kinetics(facts, alkalinity, rng);
    }
    drawn
}

/// Share of each constant's published spread (of its logarithm) at which the constants are drawn.
///
/// The spreads hold for each constant alone, over suspended cultures, sludge and biofilters. Drawn
/// independently at full width an unseeded tank at 25 degrees would start up in 22 to 67 days (middle
/// 80 %), which is wider than the start-ups that the sources of [`viable`] report.
const TOGETHER: f64 = 0.7;

/// Draws the colonies' constants.
fn kinetics(facts: &TankFacts, alkalinity: f64, rng: &mut impl Rng) -> Kinetics<f64> {
    // The carbon dioxide of a room has nothing to do with the bacteria.
    let carbon_dioxide = from_range(Range::new(1.1, 0.45), rng);
    let mut draw = |Range { median, spread }| from_range(Range::new(median, TOGETHER * spread), rng);
    let full = draw(prior::FULL);
    Kinetics {
        growth_a: draw(prior::GROWTH_A),
        growth_n: draw(prior::GROWTH_N),
        half_a: draw(prior::HALF_A),
        half_n: draw(prior::HALF_N),
        oxygen_a: draw(prior::OXYGEN_A),
        oxygen_n: draw(prior::OXYGEN_N),
        decay_a: draw(prior::DECAY_A),
        decay_n: draw(prior::DECAY_N),
        full_a: full,
        full_n: full * draw(Range::new(1.0, 0.3)),
        warmth_a: draw(prior::WARMTH_A),
        warmth_n: draw(prior::WARMTH_N),
        free_ammonia_a: draw(prior::FREE_AMMONIA_A),
        free_ammonia_n: draw(prior::FREE_AMMONIA_N),
        nitrous_acid_a: draw(prior::NITROUS_ACID_A),
        nitrous_acid_n: draw(prior::NITROUS_ACID_N),
        acid_a: draw(prior::ACID_A),
        acid_n: draw(prior::ACID_N),
        half_alkalinity: draw(prior::HALF_ALKALINITY),
        carbonic: alkalinity * 10f64.powf(-facts.tap.ph.unwrap_or(USUAL_PH)) * carbon_dioxide,
        breakdown: draw(prior::BREAKDOWN),
        oxygen_share: oxygen_share(facts, rng),
    }
}

/// Oxygen at the biofilm as a share of saturation: a weak filter brings little.
fn oxygen_share(facts: &TankFacts, rng: &mut impl Rng) -> f64 {
    let weak = match facts.filter_flow.as_deref() {
        Some("weak") => 0.9,
        Some("normal") => 0.03,
        _ => 0.1,
    };
    let (least, most) = if rng.random::<f64>() < weak { (0.03, 0.6) } else { (0.65, 1.0) };
    rng.random_range(least..most)
}

/// Draws what differs from tank to tank besides.
fn traits(facts: &TankFacts, rng: &mut impl Rng) -> Traits<f64> {
    let plants = match facts.plants.as_deref() {
        Some("many") => 0.35,
        Some("few") => 0.08,
        Some("none") => 1e-4,
        _ => 0.02,
    };
    let bloom_from = rng.random_range(0.0..12.0);
    let bloom = if rng.random::<f64>() < 0.2 { from_range(Range::new(0.9, 0.8), rng) } else { 0.0 };
    Traits {
        // Gravel, stones and an unfilled rim take 5-15 % of the nominal volume.
        volume: from_range(Range::new(0.91, 0.05), rng),
        gain_ammonia: from_range(Range::new(1.0, 0.07), rng),
        gain_nitrite: from_range(Range::new(1.0, 0.07), rng),
        gain_nitrate: from_range(Range::new(1.0, 0.15), rng),
        cross: if rng.random::<f64>() < 0.3 { rng.random_range(0.05..1.0) } else { 0.0 },
        // 35-50 % protein, 16 % of it nitrogen, of which half to nine tenths end as ammonia.
        food: from_range(Range::new(52.0, 0.35), rng),
        // Fish of 1-10 g fed 1-3 % of their weight a day.
        fish: from_range(Range::new(6.0, 1.0), rng),
        plants: plants * from_range(Range::new(1.0, 0.8), rng),
        bloom,
        bloom_from,
        bloom_until: bloom_from + rng.random_range(2.0..20.0),
        remainder: remainder(rng),
        kill: kill(facts, rng),
    }
}

/// Draws by what factor a proof's remainder strays from the model's: it is the far tail of a decay, and
/// what the model leaves out can double or halve it.
pub fn remainder(rng: &mut impl Rng) -> f64 {
    from_range(Range::new(1.0, 0.5), rng)
}

/// Log kill of tap water as it is used: chlorine left in it kills most of a colony.
fn kill(facts: &TankFacts, rng: &mut impl Rng) -> f64 {
    let harmless = facts.tap.disinfectant.as_deref() == Some("none");
    let untreated = match facts.water_conditioner.as_deref() {
        Some("always") => 0.01,
        Some("never") => 0.85,
        _ => 0.3,
    };
    let share = if harmless { 0.1 * untreated } else { untreated };
    if rng.random::<f64>() < share { from_range(Range::new(3.0, 0.7), rng) } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng;
    use rand_pcg::Pcg64Mcg;

    /// Four thousand settled tanks whose water was first read as `levels`, mg/L.
    fn settled(levels: [Option<f64>; 3]) -> Vec<State<f64>> {
        let facts = TankFacts::default();
        let mut rng = Pcg64Mcg::seed_from_u64(3);
        let mut one = || {
            let mut particle = particle(&facts, &mut rng);
            settle(&mut particle, levels, &mut rng);
            particle.state
        };
        (0..4000).map(|_| one()).collect()
    }

    fn mean_and_spread(values: impl Iterator<Item = f64> + Clone) -> (f64, f64) {
        let count = values.clone().count() as f64;
        let mean = values.clone().sum::<f64>() / count;
        (mean, (values.map(|value| (value - mean).powi(2)).sum::<f64>() / count).sqrt())
    }

    #[test]
    fn a_settled_tanks_water_is_about_as_first_read() {
        let tanks = settled([Some(1.0), Some(2.0), Some(40.0)]);
        let ammonia = mean_and_spread(tanks.iter().map(|state| state.ammonia * NH3_PER_N));
        let nitrite = mean_and_spread(tanks.iter().map(|state| state.nitrite * NO2_PER_N));
        let nitrate = mean_and_spread(tanks.iter().map(|state| state.nitrate * NO3_PER_N));
        // A tenth of the value and what a kit cannot tell from zero.
        for ((mean, spread), (value, error)) in
            [ammonia, nitrite, nitrate].into_iter().zip([(1.0, 0.15), (2.0, 0.25), (40.0, 7.0)])
        {
            assert!((mean - value).abs() < 0.1 * error, "{mean} for {value}");
            assert!((spread - error).abs() < 0.1 * error, "{spread} for {error}");
        }
    }

    #[test]
    fn a_settled_tanks_water_that_was_not_read_may_be_anything_and_never_less_than_nothing() {
        let tanks = settled([Some(0.0), None, None]);
        assert!(tanks.iter().all(|state| state.ammonia >= 0.0 && state.nitrite >= 0.0));
        let clear = tanks.iter().filter(|state| state.ammonia == 0.0).count() as f64 / 4000.0;
        assert!((0.45..0.55).contains(&clear), "read as zero, half of the errors go below it: {clear}");
        let (mean, spread) = mean_and_spread(tanks.iter().map(|state| state.nitrite * NO2_PER_N));
        // Even over 0 to 3 mg/L: mean 1.5, spread 3 over the root of 12.
        assert!((mean - 1.5).abs() < 0.05 && (spread - 0.866).abs() < 0.03, "{mean} {spread}");
    }

    #[test]
    fn a_settled_tanks_colonies_may_be_too_weak_for_a_proof_or_far_stronger() {
        let tanks = settled([Some(0.0), Some(0.0), None]);
        for colony in [|s: &State<f64>| s.ammonia_oxidisers, |s: &State<f64>| s.nitrite_oxidisers] {
            let (mean, spread) = mean_and_spread(tanks.iter().map(|state| colony(state).ln()));
            assert!(mean.abs() < 0.1 && (spread - 2.0).abs() < 0.1, "{mean} {spread}");
        }
    }
}
