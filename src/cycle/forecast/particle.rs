//! One possible tank: its water, its constants, and how its keeper's kits and additions stray.

use crate::cycle::kinetics::{Conditions, Kinetics, Lanes, Real, State, WIDTH, numbers};

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
#[derive(Debug, Clone, Copy, Default)]
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
    /// Takes one possible tank out.
    pub fn particle(&self, lane: usize) -> Particle {
        Particle {
            state: self.state.lane(lane),
            kinetics: self.kinetics.lane(lane),
            traits: self.traits.lane(lane),
        }
    }

    /// Takes one possible tank from each of the `sources`; conditions are to be worked out anew.
    pub fn gather(sources: [(&Self, usize); WIDTH]) -> Self {
        Self {
            state: State::gather(sources.map(|(block, lane)| (&block.state, lane))),
            kinetics: Kinetics::gather(sources.map(|(block, lane)| (&block.kinetics, lane))),
            traits: Traits::gather(sources.map(|(block, lane)| (&block.traits, lane))),
            conditions: sources[0].0.conditions,
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
        let Conditions { excretion, uptake, .. } = self.conditions;
        self.conditions = Conditions::at(celsius, &self.kinetics).with_life(excretion, uptake);
    }

    /// Works out what fish, plants and bloom do at `day` with `fish` in `volume_l` nominal litres.
    pub fn live_in(&mut self, day: f64, fish: f64, volume_l: f64) {
        let traits = &self.traits;
        let c = &mut self.conditions;
        let blooming = |lane| traits.bloom_from.get(lane) <= day && day < traits.bloom_until.get(lane);
        let bloom = Lanes::each(|lane| if blooming(lane) { traits.bloom.get(lane) } else { 0.0 });
        c.uptake = traits.plants + bloom;
        c.excretion = Lanes::splat(fish / volume_l) * traits.fish / traits.volume;
    }
}
