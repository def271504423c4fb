//! What the model keeps track of, and the constants that drive it.

use super::lanes::{Lanes, Real, WIDTH, numbers};
use super::proof::PROOF_DOSE;

numbers! {
    /// The water and both colonies. Concentrations mg/L as N.
    pub struct State {
        /// Total ammonia.
        ammonia,
        /// Nitrite.
        nitrite,
        /// Nitrate.
        nitrate,
        /// Nitrogen in food that has not broken down yet.
        organic,
        /// Nitrogen taken up by plants and by a bloom, which no colony will see.
        assimilated,
        /// Alkalinity, meq/L.
        alkalinity,
        /// Capacity of the ammonia oxidisers, mg N/L/d at 20 degrees Celsius with nothing limiting.
        ammonia_oxidisers,
        /// Capacity of the nitrite oxidisers, likewise.
        nitrite_oxidisers,
    }
}

numbers! {
    /// Constants of one possible tank. Rates at 20 degrees Celsius.
    pub struct Kinetics {
        /// Maximum specific growth rate of the ammonia oxidisers, 1/d.
        growth_a,
        /// Maximum specific growth rate of the nitrite oxidisers, 1/d.
        growth_n,
        /// Half-saturation of the ammonia oxidisers, mg N/L.
        half_a,
        /// Half-saturation of the nitrite oxidisers, mg N/L.
        half_n,
        /// Half-saturation of the ammonia oxidisers for oxygen, mg/L.
        oxygen_a,
        /// Half-saturation of the nitrite oxidisers for oxygen, mg/L.
        oxygen_n,
        /// Decay of the ammonia oxidisers, 1/d.
        decay_a,
        /// Decay of the nitrite oxidisers, 1/d.
        decay_n,
        /// Capacity at which the surface is full, ammonia oxidisers, mg N/L/d.
        full_a,
        /// Capacity at which the surface is full, nitrite oxidisers, mg N/L/d.
        full_n,
        /// Rise of the ammonia oxidisers' rates with temperature, 1/K.
        warmth_a,
        /// Rise of the nitrite oxidisers' rates with temperature, 1/K.
        warmth_n,
        /// Free ammonia that halves ammonia oxidation, mg N/L.
        free_ammonia_a,
        /// Free ammonia that halves nitrite oxidation, mg N/L.
        free_ammonia_n,
        /// Free nitrous acid that halves ammonia oxidation, mg N/L.
        nitrous_acid_a,
        /// Free nitrous acid that halves nitrite oxidation, mg N/L.
        nitrous_acid_n,
        /// Hydrogen ions that halve ammonia oxidation, mol/L.
        acid_a,
        /// Hydrogen ions that halve nitrite oxidation, mol/L.
        acid_n,
        /// Alkalinity that halves both, for want of inorganic carbon, meq/L.
        half_alkalinity,
        /// Hydrogen ions times alkalinity, mol/L meq/L: constant while the carbon dioxide is.
        carbonic,
        /// Breakdown of food, 1/d.
        breakdown,
        /// Dissolved oxygen at the biofilm as a share of saturation.
        oxygen_share,
    }
}

/// Longest that a working colony may take to clear a proof's dose: it has a day, and the water's state and
/// chance take their share of it.
const IN_TIME: f64 = 0.75;

impl<T: Real> Kinetics<T> {
    /// Days in which colonies in balance with a usual supply clear a proof's dose, at 25 degrees with
    /// oxygen and alkalinity in plenty.
    pub fn days_to_clear(&self) -> T {
        /// Usual supply: 2 mg/L of ammonia every other day, mg N/L/d.
        const SUPPLY: f64 = 0.82;
        let of = T::splat;
        let clear = |growth: T, decay: T, full: T, warmth: T, half: T, left: f64| {
            let warm = (of(5.0) * warmth).map(f64::exp);
            let fed = growth * of(SUPPLY);
            // Balance of growth on a crowded surface and decay; theta 1.04 over five kelvin.
            let capacity = fed * warm / (of(1.22) * decay + fed / full);
            // Monod kinetics: time from the dose down to what counts as zero.
            (of(PROOF_DOSE - left) + half * of((PROOF_DOSE / left).ln())) / capacity
        };
        let a = clear(self.growth_a, self.decay_a, self.full_a, self.warmth_a, self.half_a, 0.08);
        let n = clear(self.growth_n, self.decay_n, self.full_n, self.warmth_n, self.half_n, 0.03);
        a + n
    }
}

impl Kinetics<f64> {
    /// Whether such colonies would clear it in time.
    pub fn suffices(&self) -> bool {
        self.days_to_clear() < IN_TIME
    }
}

impl Kinetics<Lanes> {
    /// Whether the colonies in each lane would clear it in time.
    pub fn suffice(&self) -> [bool; WIDTH] {
        let days = self.days_to_clear();
        std::array::from_fn(|lane| days.get(lane) < IN_TIME)
    }
}

impl State<f64> {
    /// All nitrogen in the tank, mg/L.
    pub fn total_nitrogen(&self) -> f64 {
        self.ammonia + self.nitrite + self.nitrate + self.organic + self.assimilated
    }

    /// Mixes the water with tap water that fills the share `fraction` of the tank.
    pub fn change_water(&mut self, fraction: f64, tap: &Self) {
        let mix = |old: f64, fresh: f64| old + fraction * (fresh - old);
        self.ammonia = mix(self.ammonia, tap.ammonia);
        self.nitrite = mix(self.nitrite, tap.nitrite);
        self.nitrate = mix(self.nitrate, tap.nitrate);
        self.alkalinity = mix(self.alkalinity, tap.alkalinity);
    }

    /// Kills all but the share `survival` of both colonies.
    pub fn thin_colonies(&mut self, survival: f64) {
        self.ammonia_oxidisers *= survival;
        self.nitrite_oxidisers *= survival;
    }
}
