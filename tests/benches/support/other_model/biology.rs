//! Water, two colonies, and what an hour does to them.

use rand::Rng;
use rand_distr::{Distribution, StandardNormal};
use tintwell::cycle::{ammonia::pka_fresh, oxygen::saturation_mg_l};

/// What is dissolved; nitrogen in mg N/L, alkalinity in meq/L.
#[derive(Debug, Clone, Copy, Default)]
pub struct Water {
    pub ammonia: f64,
    pub nitrite: f64,
    pub nitrate: f64,
    pub alkalinity: f64,
    /// Nitrogen of uneaten food.
    pub organic: f64,
}

/// Bacteria of one kind.
#[derive(Debug, Clone, Copy)]
pub struct Colony {
    /// mg COD/L of water.
    pub biomass: f64,
    /// How far they have adapted, Baranyi and Roberts' q: active is q / (1 + q).
    pub adapted: f64,
    /// Logarithm of how much faster than usual they work at present.
    pub luck: f64,
}

/// Constants of one kind of bacteria.
#[derive(Debug, Clone, Copy)]
pub struct Breed {
    /// 1/d at the optimal temperature.
    pub growth: f64,
    /// Degrees Celsius: least, best, most (cardinal temperatures).
    pub warmth: [f64; 3],
    /// Half-saturation, mg N/L.
    pub half: f64,
    /// Half-saturation of oxygen, mg/L.
    pub half_oxygen: f64,
    /// mg COD/mg N.
    pub yielded: f64,
    /// 1/d.
    pub decay: f64,
    /// mg COD/L that the surfaces bear.
    pub ceiling: f64,
    /// pH at which activity is halved.
    pub acid: f64,
    /// Haldane constant: free ammonia for ammonia oxidisers, free nitrous acid for nitrite oxidisers, mg N/L.
    pub haldane: f64,
    /// Constant of the other poison, mg N/L.
    pub poison: f64,
    /// Scatter of `luck`, and how long it lasts, days.
    pub wander: (f64, f64),
}

/// Everything else that does not change by itself.
#[derive(Debug, Clone, Copy)]
pub struct Place {
    pub celsius: f64,
    /// Oxygen at the filter as a share of saturation.
    pub aeration: f64,
    /// Carbon dioxide, mmol/L.
    pub carbon_dioxide: f64,
    /// Most that plants take up, mg N/L/d.
    pub plants: f64,
    /// A bloom: from when, until when, and most that it takes up, mg N/L/d.
    pub bloom: (f64, f64, f64),
    /// What fish give off, mg N/L/d.
    pub fish: f64,
    /// Breakdown of food, 1/d.
    pub breakdown: f64,
}

/// A tank.
#[derive(Debug, Clone, Copy)]
pub struct Tank {
    pub water: Water,
    pub colonies: [Colony; 2],
    pub breeds: [Breed; 2],
    pub place: Place,
}

/// First dissociation of carbonic acid at 25 degrees (textbook).
const CARBONIC_PK: f64 = 6.35;

impl Place {
    /// pH at `alkalinity`, meq/L.
    pub fn ph(&self, alkalinity: f64) -> f64 {
        (CARBONIC_PK + (alkalinity.max(0.005) / self.carbon_dioxide).log10()).clamp(4.5, 9.0)
    }
}

impl Breed {
    /// Growth at `celsius` relative to the best (cardinal temperature model with inflection).
    fn warm(&self, celsius: f64) -> f64 {
        let [least, best, most] = self.warmth;
        if celsius <= least || celsius >= most {
            return 0.0;
        }
        let above = (celsius - most) * (celsius - least).powi(2);
        let below = (best - least)
            * ((best - least) * (celsius - best) - (best - most) * (best + least - 2.0 * celsius));
        above / below
    }
}

impl Tank {
    /// What each colony could take up at most of plentiful food, unpoisoned, mg N/L/d.
    pub fn capacity(&self) -> [f64; 2] {
        let oxygen = self.place.aeration * saturation_mg_l(self.place.celsius, 0.0);
        let ph = self.place.ph(self.water.alkalinity);
        let carbon = self.water.alkalinity / (self.water.alkalinity + 0.05);
        std::array::from_fn(|kind| {
            let (breed, colony) = (&self.breeds[kind], &self.colonies[kind]);
            let active = colony.adapted / (1.0 + colony.adapted);
            let acid = 1.0 / (1.0 + 10f64.powf(2.0 * (breed.acid - ph)));
            breed.growth / breed.yielded
                * colony.biomass
                * active
                * colony.luck.exp()
                * breed.warm(self.place.celsius)
                * (oxygen / (oxygen + breed.half_oxygen))
                * acid
                * carbon
        })
    }

    /// By what factor each substrate goes, 1/d: capacity by Haldane's law with the other poison.
    fn turnover(&self) -> [f64; 2] {
        let ph = self.place.ph(self.water.alkalinity);
        let free_ammonia = self.water.ammonia / (1.0 + 10f64.powf(pka_fresh(self.place.celsius) - ph));
        // Anthonisen et al. 1976.
        let nitrous = self.water.nitrite * 10f64.powf(-ph) / (-2300.0 / (273.0 + self.place.celsius)).exp();
        let [of_a, of_n] = self.capacity();
        let [a, n] = &self.breeds;
        let law = |breed: &Breed, level: f64, own: f64, other: f64| {
            breed.poison / (breed.poison + other) / (breed.half + level + level * own / breed.haldane)
        };
        [
            of_a * law(a, self.water.ammonia, free_ammonia, nitrous),
            of_n * law(n, self.water.nitrite, nitrous, free_ammonia),
        ]
    }

    /// What is oxidised just now, ammonia and nitrite, mg N/L/d.
    pub fn oxidised(&self) -> [f64; 2] {
        let [a, n] = self.turnover();
        [a * self.water.ammonia, n * self.water.nitrite]
    }

    /// Lets `days` go by at `day`; sinks are taken at the end of the step, so that nothing becomes negative.
    pub fn advance(&mut self, day: f64, days: f64) {
        let [a, n] = self.turnover();
        let (from, until, strength) = self.place.bloom;
        let bloom = if (from..until).contains(&day) { strength } else { 0.0 };
        let others = (self.place.plants + bloom) / (0.1 + self.water.ammonia);
        let rotted = self.water.organic * (1.0 - (-self.place.breakdown * days).exp());
        let water = &mut self.water;
        water.organic -= rotted;
        water.ammonia = (water.ammonia + rotted + self.place.fish * days) / (1.0 + days * (a + others));
        let from_ammonia = days * a * water.ammonia;
        water.nitrite = (water.nitrite + from_ammonia) / (1.0 + days * n);
        let from_nitrite = days * n * water.nitrite;
        water.nitrate += from_nitrite;
        // Two equivalents of acid for each ammonium oxidised; what rots gives one back.
        water.alkalinity =
            (water.alkalinity + (rotted + self.place.fish * days - 2.0 * from_ammonia) / 14.0).max(0.0);
        self.grow([from_ammonia, from_nitrite], days);
    }

    /// Colonies grow by what they oxidised, and adapt where they find food.
    fn grow(&mut self, oxidised: [f64; 2], days: f64) {
        let fed = [self.water.ammonia, self.water.nitrite];
        for kind in 0..2 {
            let (breed, colony) = (&self.breeds[kind], &mut self.colonies[kind]);
            let room = (1.0 - colony.biomass / breed.ceiling).max(0.0);
            let share = fed[kind] / (breed.half + fed[kind]);
            // Starved colonies live on slowly: decay falls to a third.
            let decay = breed.decay * (1.0 + 2.0 * share) / 3.0;
            colony.biomass += breed.yielded * oxidised[kind] * room - decay * colony.biomass * days;
            let pace = breed.growth * breed.warm(self.place.celsius) * share;
            colony.adapted = (colony.adapted * (pace * days).exp()).min(1e6);
        }
    }

    /// Lets the rates wander for `days` (Ornstein-Uhlenbeck).
    pub fn wander(&mut self, days: f64, rng: &mut impl Rng) {
        for (colony, breed) in self.colonies.iter_mut().zip(&self.breeds) {
            let (scatter, lasts) = breed.wander;
            let kept = (-days / lasts).exp();
            let deviate: f64 = StandardNormal.sample(rng);
            colony.luck = colony.luck * kept + scatter * (1.0 - kept * kept).sqrt() * deviate;
        }
    }

    /// Leaves the share `alive` of both colonies.
    pub fn thin(&mut self, alive: f64) {
        for colony in &mut self.colonies {
            colony.biomass *= alive;
        }
    }

    /// Changes the share `fraction` of the water for `tap`.
    pub fn change_water(&mut self, fraction: f64, tap: &Water) {
        let mix = |old: &mut f64, new: f64| *old += fraction * (new - *old);
        mix(&mut self.water.ammonia, tap.ammonia);
        mix(&mut self.water.nitrite, tap.nitrite);
        mix(&mut self.water.nitrate, tap.nitrate);
        mix(&mut self.water.alkalinity, tap.alkalinity);
        mix(&mut self.water.organic, 0.0);
    }
}
