//! One possible tank: its water, its constants, and how its keeper's kits and additions stray.

use crate::cycle::kinetics::{
    Conditions, Kinetics, Lanes, State, WIDTH, numbers,
    water::{ammonium_constant, nitrous_constant, temperature_factor},
    wear,
};
use crate::cycle::oxygen::saturation_mg_l;

numbers! {
    /// What differs from tank to tank besides the colonies' constants.
    pub struct Traits {
        /// True water volume as a share of the nominal one.
        volume,
        /// What the ammonia kit reads as a multiple of the truth.
        gain_ammonia,
        /// What the nitrite kit reads as a multiple of the truth.
        gain_nitrite,
        /// What the nitrate kit reads as a multiple of the truth.
        gain_nitrate,
        /// Share of nitrite that the nitrate kit sees as nitrate.
        cross,
        /// Ammonia that a gram of food ends as, mg N.
        food,
        /// What one fish gives off, mg N/d.
        fish,
        /// Most that plants take up, mg N/L/d.
        plants,
        /// Most that a bloom takes up, mg N/L/d.
        bloom,
        /// Day on which the bloom begins.
        bloom_from,
        /// Day on which the bloom ends.
        bloom_until,
        /// Factor by which a proof's true remainder may differ from the model's.
        remainder,
        /// Log kill of a complete water change with tap water as it is used; 0 if harmless.
        kill,
    }
}

impl Traits<f64> {
    /// Whether the field at `index` varies smoothly, so that a jitter may explore around it.
    pub fn is_smooth(index: usize) -> bool {
        const ROUGH: [&str; 6] = ["remainder", "cross", "bloom_from", "bloom_until", "bloom", "kill"];
        !ROUGH.contains(&Self::NAMES[index])
    }
}

/// One possible tank.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Particle {
    /// Water and colonies.
    pub state: State<f64>,
    /// Constants.
    pub kinetics: Kinetics<f64>,
    /// The rest.
    pub traits: Traits<f64>,
}

/// [`WIDTH`] possible tanks side by side.
#[derive(Debug, Clone, Copy)]
pub struct Block {
    /// Water and colonies.
    pub state: State<Lanes>,
    /// Constants.
    pub kinetics: Kinetics<Lanes>,
    /// The rest.
    pub traits: Traits<Lanes>,
    /// What holds until the next deed or change of temperature.
    pub conditions: Conditions<Lanes>,
}

impl Block {
    /// An empty block.
    pub fn empty() -> Self {
        let zero = Lanes::default();
        Self {
            state: State::default(),
            kinetics: Kinetics::default(),
            traits: Traits::default(),
            conditions: Conditions {
                activity_a: zero,
                activity_n: zero,
                wear: zero,
                ammonium: zero,
                nitrous: zero,
                excretion: zero,
                uptake: zero,
            },
        }
    }

    /// Takes one possible tank out.
    pub fn particle(&self, lane: usize) -> Particle {
        Particle {
            state: self.state.lane(lane),
            kinetics: self.kinetics.lane(lane),
            traits: self.traits.lane(lane),
        }
    }

    /// Puts one possible tank in.
    pub fn set_particle(&mut self, lane: usize, particle: &Particle) {
        self.state.set_lane(lane, &particle.state);
        self.kinetics.set_lane(lane, &particle.kinetics);
        self.traits.set_lane(lane, &particle.traits);
    }

    /// Works out the factors that temperature and oxygen set.
    pub fn warm_to(&mut self, celsius: f64) {
        let saturation = saturation_mg_l(celsius, 0.0);
        let k = &self.kinetics;
        let oxygen = k.oxygen_share.map(|share| share * saturation);
        let factor = |warmth: Lanes| warmth.map(|w| temperature_factor(w, celsius));
        let c = &mut self.conditions;
        c.activity_a = factor(k.warmth_a) * oxygen / (oxygen + k.oxygen_a);
        c.activity_n = factor(k.warmth_n) * oxygen / (oxygen + k.oxygen_n);
        c.wear = Lanes([wear(celsius); WIDTH]);
        c.ammonium = Lanes([ammonium_constant(celsius); WIDTH]);
        c.nitrous = Lanes([1.0 / nitrous_constant(celsius); WIDTH]);
    }

    /// Works out what fish, plants and bloom do at `day` with `fish` in `volume_l` nominal litres.
    pub fn live_in(&mut self, day: f64, fish: f64, volume_l: f64) {
        let traits = &self.traits;
        let c = &mut self.conditions;
        for lane in 0..WIDTH {
            let blooming = traits.bloom_from.0[lane] <= day && day < traits.bloom_until.0[lane];
            let bloom = if blooming { traits.bloom.0[lane] } else { 0.0 };
            c.uptake.0[lane] = traits.plants.0[lane] + bloom;
            c.excretion.0[lane] = fish * traits.fish.0[lane] / (volume_l * traits.volume.0[lane]);
        }
    }
}
