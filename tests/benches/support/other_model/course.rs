//! A tank and its keeper, followed to the moment of judging and on to the day of the proof.

use chrono::{DateTime, FixedOffset};
use rand::{RngExt, SeedableRng};
use rand_distr::{Distribution, StandardNormal};
use rand_pcg::Pcg64Mcg;
use tintwell::cycle::TankHistory;
use tintwell::terms::unit::NH3_PER_N;
use tintwell::terms::{Analyte, EventKind, TankFacts};

use super::diary::Diary;
use super::draw::{Start, about, start};
use super::keeper::{Dosing, Keeper};
use super::kit::{Kit, Shown};
use super::proof::{Proof, is_hopeful, stage};

/// Step, days.
const STEP: f64 = 1.0 / 48.0;
/// Steps between two trials of the proof: a quarter of a day.
const TRIAL: usize = 12;
/// How far ahead the proof is looked for, days.
const HORIZON: f64 = 90.0;
/// What is tested, in the order of `Keeper::looks`.
const ANALYTES: [Analyte; 5] =
    [Analyte::Ammonia, Analyte::Nitrite, Analyte::Nitrate, Analyte::Ph, Analyte::Temperature];

/// A history with what is true at its end.
pub struct Judged {
    pub history: TankHistory,
    pub now: DateTime<FixedOffset>,
    pub stage: &'static str,
    pub proof: Proof,
    /// Days from now until a proof first passes, if it does within the horizon.
    pub days: Option<f64>,
    pub fault: &'static str,
    pub fish: bool,
}

/// Draws a history by `seed`.
pub fn follow(name: &str, seed: u64) -> Judged {
    let mut rng = random(seed);
    let mut course = Course::begin(name, &mut rng);
    let now = (course.rng.random_range(3.0..65.0f64) / STEP).round() as usize;
    course.diary.fault_from = course.rng.random_range(1.0..now as f64 * STEP);
    for tick in 0..now {
        course.tick(tick as f64 * STEP);
    }
    let at = now as f64 * STEP;
    let proof = Proof::begun_now(&course.start.tank, at);
    let snapshot = course.start.tank;
    let history = TankHistory {
        facts: course.start.facts.clone(),
        measurements: course.diary.measurements.clone(),
        deeds: course.diary.deeds.clone(),
    };
    let moment = course.diary.moment(at);
    let (fault, fish) = (course.diary.fault, course.start.tank.place.fish > 0.0);
    let days = course.days_from(now, proof.passes());
    Judged {
        history: history.until(moment),
        now: moment,
        stage: stage(&snapshot, proof.passes(), days.is_some()),
        proof,
        days,
        fault,
        fish,
    }
}

/// Days from the start until a proof first passes, of the tank of `seed`, with what is said of it.
pub fn start_up(seed: u64) -> (TankFacts, Option<f64>) {
    let mut rng = random(seed);
    let course = Course::begin("tank", &mut rng);
    (course.start.facts.clone(), course.days_from(0, false))
}

fn random(seed: u64) -> Pcg64Mcg {
    Pcg64Mcg::seed_from_u64(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ 0x0bad_5eed)
}

/// A tank on its way.
struct Course {
    start: Start,
    keeper: Keeper,
    kit: Kit,
    rng: Pcg64Mcg,
    diary: Diary,
    next_test: f64,
    next_meal: f64,
    next_change: f64,
    next_dose: f64,
    is_seeded: bool,
    /// A test of ammonia and nitrite is due: that of a proof.
    proving: bool,
    last_proof: f64,
}

impl Course {
    fn begin(name: &str, rng: &mut Pcg64Mcg) -> Self {
        let start = start(name, rng);
        let keeper = Keeper::draw(&start.facts, rng);
        let mut course = Self {
            kit: Kit::draw(rng),
            rng: Pcg64Mcg::seed_from_u64(rng.random()),
            next_test: rng.random_range(0.2..3.0),
            next_meal: keeper.begins,
            next_change: keeper
                .changes
                .map_or(f64::INFINITY, |(every, _)| every * rng.random_range(0.5..1.5)),
            next_dose: keeper.begins,
            is_seeded: false,
            proving: false,
            last_proof: f64::NEG_INFINITY,
            diary: Diary::begin(start.facts.started_at.expect("a drawn tank has a start"), rng),
            keeper,
            start,
        };
        if course.start.tank.place.fish > 0.0 {
            course.diary.note(course.keeper.begins, EventKind::FishAdded, 4.0, "");
        }
        course
    }

    /// One step of everything.
    fn tick(&mut self, day: f64) {
        if let Some((due, kind, amount)) = self.keeper.seeds
            && !self.is_seeded
            && day >= due
        {
            self.is_seeded = true;
            self.seed(day, kind, amount);
        }
        self.feed(day);
        if day >= self.next_change {
            let (every, fraction) = self.keeper.changes.unwrap_or((f64::INFINITY, 0.0));
            self.next_change = day + every * about(1.0, 0.1, &mut self.rng);
            self.change(day, fraction);
        }
        if day >= self.next_test {
            self.test(day);
        }
        let tank = &mut self.start.tank;
        tank.wander(STEP, &mut self.rng);
        tank.advance(day, STEP);
    }

    /// Bacteria are put in; a bottle may be dead.
    fn seed(&mut self, day: f64, kind: EventKind, amount: f64) {
        self.diary.note(day, kind, amount, "");
        let rng = &mut self.rng;
        // A running filter carries what feeds on 1 to 6 mg N/L a day; a bottle far less, often nothing.
        let capacity = match kind {
            EventKind::MatureMedium => amount / 100.0 * about(2.5, 0.6, rng),
            _ if rng.random::<f64>() < 0.35 => return,
            _ => amount / self.start.facts.volume_l.unwrap_or(100.0) * about(0.15, 1.2, rng),
        };
        let tank = &mut self.start.tank;
        for (colony, breed) in tank.colonies.iter_mut().zip(&tank.breeds) {
            // At the temperature of the tank bacteria work at some 0.7 of their best.
            colony.biomass += capacity * about(1.0, 0.3, rng) * breed.yielded / (0.7 * breed.growth);
            colony.adapted = colony.adapted.max(about(3.0, 0.8, rng));
        }
    }

    /// Meals, and doses by the calendar or the first one.
    fn feed(&mut self, day: f64) {
        if let Some((every, grams)) = self.keeper.meals
            && day >= self.next_meal
        {
            self.next_meal += every;
            let litres = self.start.facts.volume_l.unwrap_or(100.0) * self.start.filled;
            // 35 to 50 % protein, 16 % of it nitrogen, half to nine tenths of which end as ammonia.
            self.start.tank.water.organic += grams * 52.0 * about(1.0, 0.1, &mut self.rng) / litres;
            self.diary.note(day, EventKind::Food, (grams * 100.0).round() / 100.0, "");
        }
        if day < self.next_dose || self.proving {
            return;
        }
        match self.keeper.dosing {
            Dosing::None => self.next_dose = f64::INFINITY,
            Dosing::Once { amount } | Dosing::WhenLow { to: amount, .. } => {
                self.next_dose = f64::INFINITY;
                self.dose(day, amount, "");
            }
            Dosing::ByCalendar { every, amount } => {
                self.next_dose = day + every * about(1.0, 0.08, &mut self.rng);
                self.dose(day, amount, "");
            }
        }
    }

    /// Doses by the nominal volume, so that the water gets somewhat more.
    fn dose(&mut self, day: f64, amount: f64, note: &str) {
        let amount = (amount * 10.0).round() / 10.0;
        let raise = amount / NH3_PER_N / self.start.filled * about(1.0, 0.05, &mut self.rng);
        let water = &mut self.start.tank.water;
        water.ammonia += raise;
        if self.start.facts.ammonia_source.as_deref() == Some("ammonia solution") {
            water.alkalinity += raise / 14.0;
        }
        self.diary.note(day, EventKind::AmmoniaDose, amount, note);
    }

    /// Changes water; untreated, it kills.
    fn change(&mut self, day: f64, fraction: f64) {
        let exact = (fraction * about(1.0, 0.06, &mut self.rng)).min(0.95);
        let tap = self.start.tap;
        self.start.tank.change_water(exact, &tap);
        if self.rng.random::<f64>() < self.start.untreated {
            self.start.tank.thin((-about(3.0, 0.5, &mut self.rng) * fraction).exp());
        }
        self.diary.note(day, EventKind::WaterChange, (fraction * 20.0).round() * 5.0, "");
    }

    /// Tests, and answers what is seen.
    fn test(&mut self, day: f64) {
        let mut seen = [None; 5];
        for index in 0..ANALYTES.len() {
            let due = self.proving && index < 2;
            if due || self.rng.random::<f64>() < self.keeper.looks[index] {
                seen[index] = Some(self.look(ANALYTES[index]));
            }
        }
        self.diary.blunder(day, &mut seen, &mut self.rng);
        for (analyte, shown) in ANALYTES.into_iter().zip(seen) {
            if let Some(shown) = shown {
                self.diary.write(day, analyte, shown);
            }
        }
        let (every, scatter) = self.keeper.rhythm;
        let deviate: f64 = StandardNormal.sample(&mut self.rng);
        self.next_test = day + (every * (scatter * deviate).exp()).max(0.4);
        self.proving = false;
        self.answer(day + 0.01, seen.map(|shown| shown.map(|shown| shown.value)));
    }

    fn look(&mut self, analyte: Analyte) -> Shown {
        let top = &self.start.facts.chart_top;
        let top = match analyte {
            Analyte::Ammonia => top.ammonia,
            Analyte::Nitrite => top.nitrite,
            Analyte::Nitrate => top.nitrate,
            _ => None,
        };
        self.kit.read(analyte, &self.start.tank, top.unwrap_or(f64::INFINITY), &mut self.rng)
    }

    /// What the keeper does about it.
    fn answer(&mut self, day: f64, [ammonia, nitrite, _, ph, _]: [Option<f64>; 5]) {
        let heeds_acid =
            ph.is_some_and(|ph| ph < self.keeper.acid.0) && self.rng.random::<f64>() < self.keeper.acid.1;
        if heeds_acid || nitrite.is_some_and(|nitrite| nitrite >= self.keeper.nitrite_limit) {
            self.change(day, self.keeper.rescue);
        }
        let is_clear = ammonia.is_some_and(|a| a < 0.25) && nitrite.is_some_and(|n| n < 0.25);
        let doses = !matches!(self.keeper.dosing, Dosing::None | Dosing::Once { .. });
        if doses && is_clear && self.keeper.proves && day - self.last_proof > 3.0 && day > 8.0 {
            self.last_proof = day;
            self.proving = true;
            self.next_test = day + self.rng.random_range(0.9..1.15);
            self.dose(day + 0.005, 2.0, "24 h test");
        } else if let Dosing::WhenLow { below, to } = self.keeper.dosing
            && let Some(level) = ammonia
            && level < below
            && day > self.keeper.begins
            && !(self.keeper.rests && is_clear)
        {
            self.dose(day + 0.005, to - level, "");
        }
    }

    /// Days from tick `now` until a proof first passes.
    fn days_from(mut self, now: usize, passes: bool) -> Option<f64> {
        if passes {
            return Some(0.0);
        }
        for ahead in 0..=(HORIZON / STEP) as usize {
            let day = (now + ahead) as f64 * STEP;
            if ahead % TRIAL == 0
                && is_hopeful(&self.start.tank)
                && Proof::begun_now(&self.start.tank, day).passes()
            {
                return Some(ahead as f64 * STEP);
            }
            self.tick(day);
        }
        None
    }
}
