//! Faults of the log, located in time: a deed not written down, a reading that cannot be.
//!
//! For each test the courses that the tests before allow are carried over it and the next ones, once as
//! the log stands and once under each fault. The ratio of the probabilities of what was read is the
//! evidence; the same courses and the same random numbers serve both, so that chance cancels. A fault is
//! named only if it is more probable than not against all the others and against none.

use std::collections::BTreeMap;

use chrono::{DateTime, FixedOffset};
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;

use super::history::{Deed, TankHistory};
use super::series::{DatedDeed, Series};
use super::track::{
    Charts, Cloud, Particle, Slip, Source, Track, log_best, log_nonsense, reading_of, track, track_on,
};
use crate::reading::Measurement;
use crate::terms::unit::NH3_PER_N;
use crate::terms::{Analyte, EventKind, TankFacts};

/// What is wrong with the log.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FaultKind {
    /// Ammonia was dosed and not written down.
    MissingDose,
    /// Water was changed and not written down.
    MissingWaterChange,
    /// A reading is grossly wrong.
    WrongReading(Analyte),
    /// Ammonia and nitrite were written down for each other.
    SwappedAnalyte,
}

impl FaultKind {
    /// The word used in files.
    pub const fn word(self) -> &'static str {
        match self {
            Self::MissingDose => "missing_dose",
            Self::MissingWaterChange => "missing_water_change",
            Self::WrongReading(_) => "wrong_reading",
            Self::SwappedAnalyte => "swapped_analyte",
        }
    }
}

/// A fault of the log.
#[derive(Debug, Clone, PartialEq)]
pub struct Fault {
    /// What is wrong.
    pub kind: FaultKind,
    /// When: of the wrong test, or the middle of the time in which the missing deed was done.
    pub at: DateTime<FixedOffset>,
    /// How probable it is, 0 to 1, against other faults and against none.
    pub probability: f64,
    /// Size of the missing deed, in the unit of its kind.
    pub amount: Option<f64>,
}

impl Fault {
    /// Why it is believed, in a sentence.
    pub fn why(&self) -> String {
        let odds = (100.0 * self.probability).round();
        match self.kind {
            FaultKind::MissingDose => format!(
                "more nitrogen stands in the water than was logged: about {:.1} mg/L of ammonia came in unlogged ({odds} % probable)",
                self.amount.unwrap_or_default()
            ),
            FaultKind::MissingWaterChange => format!(
                "all levels fell together, as after changing about {:.0} % of the water ({odds} % probable)",
                self.amount.unwrap_or_default()
            ),
            FaultKind::WrongReading(analyte) => format!(
                "this {analyte} reading fits neither the tests before and after nor what was dosed ({odds} % probable)"
            ),
            FaultKind::SwappedAnalyte => format!(
                "ammonia and nitrite fit the tests before and after only if written down for each other ({odds} % probable)"
            ),
        }
    }
}

/// Courses that are carried, and tests that are weighed, at the first look.
const FIRST_LOOK: (usize, usize) = (250, 4);
/// The same for the few faults that deserve a closer look.
const CLOSE_LOOK: (usize, usize) = (1500, 6);
/// How many deserve one.
const CLOSER_LOOKS: usize = 6;
/// Chance that a log holds a fault of any one kind.
const CHANCE: f64 = 0.12;
/// Only what is more probable than this is named; each further fault of the same log must be shown better.
const NAMED_ABOVE: [f64; 3] = [0.5, 0.85, 0.95];
/// What mending a fault must gain over the whole log beyond what its rarity costs, in log probability.
const GAINS_MORE_THAN: f64 = 0.5;
/// Only tests that lose more than this against a perfect fit, in log probability, are looked into.
const DEFICIT: f64 = 4.0;
/// Faults with lower log odds than this are looked at no further.
const HOPELESS: f64 = -4.0;
/// What the search found.
#[derive(Debug, Clone, PartialEq)]
pub struct Findings {
    /// By time.
    pub faults: Vec<Fault>,
    /// The history with the faults mended: the verdict rests on this one.
    pub mended: TankHistory,
    /// The mended history as numbers.
    pub series: Series,
    /// The courses that the mended history allows.
    pub track: Track,
}

/// Looks for faults in `history` as known at `now`, and mends them.
pub fn find_faults(history: &TankHistory, now: DateTime<FixedOffset>) -> Findings {
    let mut mended = history.clone().until(now);
    let mut series = Series::new(&mended, now);
    let mut run = track(&series, &mended.facts);
    let mut faults: Vec<Fault> = Vec::new();
    let doses = usual_doses(&series);
    let mut looks = FirstLooks::default();
    for named_above in NAMED_ABOVE {
        let facts = &mended.facts;
        let found = Bench::new(&series, facts, &run, &faults, &doses).likeliest(&mut looks);
        let Some((fault, log_prior)) = found.filter(|(fault, _)| fault.probability > named_above) else {
            break;
        };
        let mut without = mended.clone();
        mend(&mut without, &fault);
        let series_without = Series::new(&without, now);
        let same = unaffected(&series, &fault);
        let run_without = track_on(&series_without, &without.facts, &run, same);
        if gain(&run, &run_without, fault.kind) + log_prior < GAINS_MORE_THAN {
            break;
        }
        (mended, series, run) = (without, series_without, run_without);
        looks.keep(same);
        faults.push(fault);
    }
    faults.sort_by_key(|fault| fault.at);
    Findings { faults, mended, series, track: run }
}

/// Number of tests at the beginning of `series` that mending `fault` leaves as they are.
fn unaffected(series: &Series, fault: &Fault) -> usize {
    series.samples.partition_point(|sample| (fault.at - sample.at).num_seconds() > 3600)
}

/// How much better the whole log fits once a fault is mended, in log probability.
fn gain(before: &Track, after: &Track, kind: FaultKind) -> f64 {
    let fit = |run: &Track| run.surprise.iter().sum::<f64>();
    // A reading left out explains nothing: it is charged what a meaningless one costs.
    let charged = match kind {
        FaultKind::WrongReading(analyte) => log_nonsense(analyte),
        _ => 0.0,
    };
    fit(after) + charged - fit(before)
}

/// Undoes `fault`: the missing deed is put in, the wrong reading left out, swapped readings swapped back.
fn mend(history: &mut TankHistory, fault: &Fault) {
    let near = |measurement: &Measurement| (measurement.taken_at - fault.at).num_seconds().abs() < 3600;
    match fault.kind {
        FaultKind::WrongReading(analyte) => {
            history.measurements.retain(|reading| !(near(reading) && reading.analyte == analyte));
        }
        FaultKind::SwappedAnalyte => {
            for reading in history.measurements.iter_mut().filter(|reading| near(reading)) {
                reading.analyte = match reading.analyte {
                    Analyte::Ammonia => Analyte::Nitrite,
                    Analyte::Nitrite => Analyte::Ammonia,
                    other => other,
                };
            }
        }
        FaultKind::MissingDose => put_in(history, fault, EventKind::AmmoniaDose),
        FaultKind::MissingWaterChange => put_in(history, fault, EventKind::WaterChange),
    }
}

fn put_in(history: &mut TankHistory, fault: &Fault, kind: EventKind) {
    let note = "not in the log".to_owned();
    history.deeds.push(Deed { kind, amount: fault.amount, at: fault.at, note, is_supposed: true });
    history.deeds.sort_by_key(|deed| deed.at);
}

/// One hypothesis about one test.
#[derive(Debug, Clone, Copy)]
struct Suspect {
    kind: FaultKind,
    sample: usize,
    log_odds: f64,
    amount: Option<f64>,
}

/// What a first look at each test found; it stays true of tests that lie well before whatever is mended.
#[derive(Debug, Default)]
struct FirstLooks(BTreeMap<usize, Vec<Suspect>>);

impl FirstLooks {
    /// Forgets what rests on other tests than the first `same`.
    fn keep(&mut self, same: usize) {
        self.0.retain(|sample, _| sample + FIRST_LOOK.1 <= same);
    }
}

/// Whether this test or one soon after was unlikely enough, by the tests before it, to be worth the trouble.
fn surprising(series: &Series, run: &Track, index: usize) -> bool {
    (index..series.samples.len())
        .take(FIRST_LOOK.1)
        .any(|at| log_best(&reading_of(&series.samples[at])) - run.surprise[at] > DEFICIT)
}

fn moment_of(series: &Series, suspect: &Suspect) -> DateTime<FixedOffset> {
    let sample = &series.samples[suspect.sample];
    match suspect.kind {
        FaultKind::WrongReading(_) | FaultKind::SwappedAnalyte => sample.at,
        FaultKind::MissingDose | FaultKind::MissingWaterChange => {
            series.moment(0.5 * (series.samples[suspect.sample - 1].day + sample.day))
        }
    }
}

/// Doses as this keeper makes them, mg/L NH3.
fn usual_doses(series: &Series) -> Vec<f64> {
    series.of_kind(EventKind::AmmoniaDose).map(DatedDeed::amount).filter(|amount| *amount > 0.2).collect()
}

/// Everything that the hypotheses share.
struct Bench<'a> {
    series: &'a Series,
    run: &'a Track,
    known: &'a [Fault],
    doses: &'a [f64],
    source: Source,
    charts: Charts,
}

impl<'a> Bench<'a> {
    fn new(
        series: &'a Series,
        facts: &TankFacts,
        run: &'a Track,
        known: &'a [Fault],
        doses: &'a [f64],
    ) -> Self {
        Self { series, run, known, doses, source: Source::new(facts), charts: Charts::new(facts) }
    }

    /// The likeliest fault, and the logarithm of its chance before any reading.
    fn likeliest(&self, looks: &mut FirstLooks) -> Option<(Fault, f64)> {
        let mut suspects: Vec<Suspect> = Vec::new();
        for index in 1..self.series.samples.len() {
            if !self.is_mended(index) && surprising(self.series, self.run, index) {
                suspects.extend(looks.0.entry(index).or_insert_with(|| self.suspects(index)).iter());
            }
        }
        suspects.sort_by(|a, b| b.log_odds.total_cmp(&a.log_odds));
        suspects.truncate(CLOSER_LOOKS);
        self.look_closer(&mut suspects);
        let best = suspects.iter().max_by(|a, b| a.log_odds.total_cmp(&b.log_odds))?;
        // The same fault may show in two neighbouring tests: its kind is what counts.
        let same = |other: &&Suspect| other.kind == best.kind && other.sample.abs_diff(best.sample) <= 1;
        let weight = |suspect: &Suspect| suspect.log_odds.exp();
        let total = 1.0 + suspects.iter().map(weight).sum::<f64>();
        let probability = suspects.iter().filter(same).map(weight).sum::<f64>() / total;
        let at = moment_of(self.series, best);
        let fault = Fault { kind: best.kind, at, probability, amount: best.amount };
        Some((fault, self.log_prior(best.kind)))
    }

    /// Whether a slip in this test is already mended.
    fn is_mended(&self, sample: usize) -> bool {
        let at = self.series.samples[sample].at;
        let slip = |fault: &&Fault| fault.amount.is_none();
        self.known.iter().filter(slip).any(|fault| (fault.at - at).num_seconds().abs() < 3600)
    }

    /// Every fault that this test could show, with its odds at a first look.
    fn suspects(&self, sample: usize) -> Vec<Suspect> {
        let reading = reading_of(&self.series.samples[sample]);
        let analytes = [Analyte::Ammonia, Analyte::Nitrite, Analyte::Nitrate];
        let mut kinds = vec![FaultKind::MissingDose, FaultKind::MissingWaterChange];
        kinds.extend((0..3).filter(|i| reading[*i].is_some()).map(|i| FaultKind::WrongReading(analytes[i])));
        if reading[0].is_some() && reading[1].is_some() {
            kinds.push(FaultKind::SwappedAnalyte);
        }
        let scene = Scene::open(self, sample, FIRST_LOOK);
        kinds.into_iter().map(|kind| scene.suspect(kind)).collect()
    }

    /// Weighs suspects again with more courses and more tests, unless there is little hope.
    fn look_closer(&self, suspects: &mut [Suspect]) {
        let mut scenes: BTreeMap<usize, Scene<'_>> = BTreeMap::new();
        for suspect in suspects.iter_mut().filter(|suspect| suspect.log_odds > HOPELESS) {
            let open = || Scene::open(self, suspect.sample, CLOSE_LOOK);
            *suspect = scenes.entry(suspect.sample).or_insert_with(open).suspect(suspect.kind);
        }
    }

    /// Logarithm of the chance of this fault at any one test.
    fn log_prior(&self, kind: FaultKind) -> f64 {
        let chance = match kind {
            // Who feeds fish or food does not forget to dose ammonia.
            FaultKind::MissingDose if self.doses.is_empty() => 0.02 * CHANCE,
            // Nitrate tests are too coarse for a gross error to show.
            FaultKind::WrongReading(Analyte::Nitrate) => 0.1 * CHANCE,
            _ => CHANCE,
        };
        (chance / self.series.samples.len().max(10) as f64).ln()
    }

    /// Does the missing deed in a size that this keeper might choose.
    fn put_in(&self, kind: FaultKind, particle: &mut Particle, rng: &mut Pcg64Mcg) {
        if kind == FaultKind::MissingDose {
            let usual =
                if self.doses.is_empty() { 2.0 } else { self.doses[rng.random_range(0..self.doses.len())] };
            particle.unlogged = usual * rng.random_range(0.7..1.4);
            particle.ammonia += particle.unlogged / NH3_PER_N * particle.volume_factor;
        } else {
            let share = rng.random_range(0.15..0.75);
            self.source.change_water(particle, share);
            particle.unlogged = 100.0 * share;
        }
    }
}

/// One test and those after it: what the courses up to there make of them, with a fault and without.
///
/// What every fault but a missing deed shares, the courses up to the test, is followed once.
struct Scene<'a> {
    bench: &'a Bench<'a>,
    sample: usize,
    /// The tests that are weighed, from `sample` on.
    tests: Vec<usize>,
    /// The courses after the test before, and chance as it stood then.
    begin: (Cloud, Pcg64Mcg),
    /// The same at the test.
    arrived: (Cloud, Pcg64Mcg),
    /// Logarithm of the probability of the tests without any fault.
    none: f64,
    /// The most that the tests after each of `tests` can add to such a logarithm.
    hope: Vec<f64>,
}

impl<'a> Scene<'a> {
    /// Looks at `sample` with so many courses and tests.
    fn open(bench: &'a Bench<'a>, sample: usize, (courses, ahead): (usize, usize)) -> Self {
        let tests: Vec<usize> =
            (sample..bench.series.samples.len()).filter(|i| !bench.is_mended(*i)).take(ahead).collect();
        let base = bench.run.after[sample - 1].drawn(courses, &mut Pcg64Mcg::seed_from_u64(sample as u64));
        let begin = (base, Pcg64Mcg::seed_from_u64(11));
        let mut arrived = begin.clone();
        arrived.0.carry(bench.series, &bench.source, bench.series.samples[sample].day, &mut arrived.1);
        let best = |index: &usize| log_best(&reading_of(&bench.series.samples[*index]));
        let hope = (1..=tests.len()).map(|next| tests[next..].iter().map(best).sum()).collect();
        let mut scene = Self { bench, sample, tests, begin, arrived, none: 0.0, hope };
        scene.none = scene.weigh(None, f64::NEG_INFINITY).0;
        scene
    }

    fn suspect(&self, kind: FaultKind) -> Suspect {
        let log_prior = self.bench.log_prior(kind);
        let (evidence, amount) = self.weigh(Some(kind), HOPELESS - log_prior + self.none);
        let sized = matches!(kind, FaultKind::MissingDose | FaultKind::MissingWaterChange);
        let log_odds = evidence - self.none + log_prior;
        Suspect { kind, sample: self.sample, log_odds, amount: sized.then_some(amount) }
    }

    /// Filters the courses over the tests, the first of them under the fault.
    ///
    /// Returns the logarithm of the probability of the tests and the likely size of the deed put in; or, as
    /// soon as the logarithm is bound to stay below `least`, the most that it could still come to.
    fn weigh(&self, fault: Option<FaultKind>, least: f64) -> (f64, f64) {
        let (mut cloud, mut rng, slip) = self.at_first(fault);
        let (series, source) = (self.bench.series, &self.bench.source);
        let mut evidence = 0.0;
        for (index, hope) in self.tests.iter().zip(&self.hope) {
            let sample = &series.samples[*index];
            let mut slip_here = slip;
            if *index > self.sample {
                cloud.carry(series, source, sample.day, &mut rng);
                slip_here = Slip::None;
            }
            evidence += cloud.weigh(&reading_of(sample), slip_here, &self.bench.charts);
            if evidence + hope < least {
                return (evidence + hope, 0.0);
            }
            cloud.refresh(&mut rng);
        }
        (evidence, cloud.mean(|particle| particle.unlogged))
    }

    /// The courses as they come to the test under `fault`, chance, and the slip in the test itself.
    fn at_first(&self, fault: Option<FaultKind>) -> (Cloud, Pcg64Mcg, Slip) {
        let as_logged = |slip| (self.arrived.0.clone(), self.arrived.1.clone(), slip);
        let kind = match fault {
            None => return as_logged(Slip::None),
            Some(FaultKind::SwappedAnalyte) => return as_logged(Slip::Swapped),
            Some(FaultKind::WrongReading(analyte)) => return as_logged(Slip::Wrong(analyte)),
            Some(kind) => kind,
        };
        let (mut cloud, mut rng) = self.begin.clone();
        let (series, source) = (self.bench.series, &self.bench.source);
        let day = series.samples[self.sample].day;
        cloud.carry(series, source, 0.5 * (cloud.day + day), &mut rng);
        for particle in &mut cloud.particles {
            self.bench.put_in(kind, particle, &mut rng);
        }
        cloud.carry(series, source, day, &mut rng);
        (cloud, rng, Slip::None)
    }
}
