//! What the readings leave possible, and the answers it gives.

use std::fmt;

use chrono::{DateTime, Duration, FixedOffset};

use super::ahead::{Ahead, Outlook, Water};
use super::climatology::Signs;
use super::particle::{Block, Particle};
use super::quantile::{Span, quantile};
use super::weighted::Weighted;
use crate::cycle::kinetics::water::temperature_factor;
use crate::cycle::kinetics::{Conditions, ProofEnd, WIDTH, limits};
use crate::cycle::oxygen::saturation_mg_l;
use crate::terms::Analyte;
use crate::terms::tank::ChartTop;
use crate::terms::unit::{NH3_PER_N, NO2_PER_N, NO3_PER_N};

/// Equally likely tanks as they may stand now.
#[derive(Debug, Clone)]
pub struct Posterior {
    pub(super) blocks: Vec<Block>,
    pub(super) ahead: Ahead,
    pub(super) now: DateTime<FixedOffset>,
    pub(super) ends: Vec<ProofEnd<f64>>,
    pub(super) outlook: Outlook,
    pub(super) signs: Signs,
    /// What each possible tank counts for where the day of its proof is asked.
    pub(super) weights: Vec<f64>,
    pub(super) evidence: Evidence,
    pub(super) celsius: f64,
    pub(super) chart_top: ChartTop,
}

/// How much the forecast rests on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Evidence {
    /// Readings of ammonia.
    pub ammonia: usize,
    /// Readings of nitrite.
    pub nitrite: usize,
    /// Whether the log names any source of ammonia.
    pub source: bool,
}

/// What each colony could do in a day, mg N/L/d at the tank's temperature and oxygen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Capacity {
    /// Ammonia oxidised at most.
    pub ammonia: Span,
    /// Nitrite oxidised at most.
    pub nitrite: Span,
}

/// Median factors, 1 for unhindered, by which each process runs below its capacity.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hindrance {
    /// Oxygen, ammonia and nitrite oxidation.
    pub oxygen: [f64; 2],
    /// Temperature relative to 25 degrees Celsius.
    pub temperature: [f64; 2],
    /// pH and alkalinity.
    pub acidity: [f64; 2],
    /// Free ammonia and free nitrous acid together.
    pub poison: [f64; 2],
    /// Ammonia or nitrite itself running low (Monod).
    pub substrate: [f64; 2],
}

/// Dates between which something comes about, with 80 % confidence: the shortest such interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DateSpan {
    /// First day of the interval.
    pub earliest: DateTime<FixedOffset>,
    /// Around this day it is likeliest.
    pub likely: DateTime<FixedOffset>,
    /// Last day of the interval.
    pub latest: DateTime<FixedOffset>,
}

impl fmt::Display for DateSpan {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "between {} and {}, most likely {}",
            self.earliest.format("%-d %B"),
            self.latest.format("%-d %B"),
            self.likely.format("%-d %B %Y")
        )
    }
}

/// Why no date can be given.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unforeseen {
    /// It is ready now.
    ReadyNow,
    /// Too few readings.
    TooFewReadings,
    /// Nothing feeds the colonies.
    NoSource,
    /// As things go it is more likely than not that it will not pass within three months.
    NotInSight,
}

impl Unforeseen {
    /// What is missing, in one clause.
    pub const fn what_is_missing(self) -> &'static str {
        match self {
            Self::ReadyNow => "the tank is ready now",
            Self::TooFewReadings => {
                "no date can be foreseen: test ammonia and nitrite two or three times, a day or two apart"
            }
            Self::NoSource => "no date can be foreseen: nothing in the log gives ammonia to the bacteria",
            Self::NotInSight => {
                "no date within three months is likely if things go on as they do: see what holds it back"
            }
        }
    }
}

impl Posterior {
    /// Probability that a proof begun now would pass.
    pub fn proof_passes_now(&self) -> f64 {
        share(self.ends.iter().map(ProofEnd::passes))
    }

    /// Larger of ammonia as NH3 and nitrite as NO2 that a proof begun now would leave, mg/L.
    pub fn proof_residual(&self) -> Option<Span> {
        Span::of(&self.ends.iter().map(|end| end.residual).collect::<Vec<_>>())
    }

    /// Days until a proof first passes, given that it does within 90 days, the filter's pooled with the
    /// climatology's: about where they lie most densely, and the shortest interval that holds 80 %.
    ///
    /// [`never`](Self::never) tells how likely it does not; `None` if it never does.
    pub fn days_to_proof(&self) -> Option<Span> {
        Weighted::new(&self.outlook.days, &self.weights).finite().densest()
    }

    /// The same by the filter alone, without the climatology.
    pub fn days_by_filter(&self) -> Option<Span> {
        Weighted::even(&self.outlook.days).finite().densest()
    }

    /// How the tank stands, as the climatology takes it.
    pub const fn signs(&self) -> &Signs {
        &self.signs
    }

    /// Any quantile of the days until a proof first passes, by the filter alone: verdicts rest on it.
    pub fn days_quantile(&self, share: f64) -> Option<f64> {
        quantile(&self.outlook.days, share)
    }

    /// Probability that no proof passes within 90 days, the keeper going on as before.
    pub fn never(&self) -> f64 {
        share(self.outlook.days.iter().map(|day| day.is_infinite()))
    }

    /// The interval of dates, or why there is none.
    pub fn ready_on(&self) -> Result<DateSpan, Unforeseen> {
        if self.evidence.ammonia + self.evidence.nitrite < 2 {
            return Err(Unforeseen::TooFewReadings);
        }
        if self.proof_passes_now() > 0.9 {
            return Err(Unforeseen::ReadyNow);
        }
        let unlikely = if self.evidence.source { Unforeseen::NotInSight } else { Unforeseen::NoSource };
        let span = self.days_to_proof().ok_or(unlikely)?;
        if self.never() > 0.5 {
            return Err(unlikely);
        }
        Ok(self.dates(span))
    }

    /// The dates so many days from now.
    pub(super) fn dates(&self, span: Span) -> DateSpan {
        let date = |days: f64| self.now + Duration::seconds((days * 86_400.0) as i64);
        DateSpan { earliest: date(span.low), likely: date(span.middle), latest: date(span.high) }
    }

    /// One sentence for the terminal.
    pub fn sentence(&self) -> String {
        match self.ready_on() {
            Err(why) => why.what_is_missing().to_owned(),
            Ok(on) => format!("ready {on} (four in five such intervals hold)"),
        }
    }

    /// What each colony could oxidise in a day at the tank's temperature and oxygen.
    pub fn capacity(&self) -> Option<Capacity> {
        let activity = |p: &Particle| Conditions::at(self.celsius, &p.kinetics);
        Some(Capacity {
            ammonia: Span::of(&self.each(&|p| p.state.ammonia_oxidisers * activity(p).activity_a))?,
            nitrite: Span::of(&self.each(&|p| p.state.nitrite_oxidisers * activity(p).activity_n))?,
        })
    }

    /// What holds the colonies back.
    pub fn hindrance(&self) -> Option<Hindrance> {
        let saturation = saturation_mg_l(self.celsius, 0.0);
        let oxygen = |share: f64, half: f64| share * saturation / (share * saturation + half);
        let warmth = |rise: f64| temperature_factor(rise, self.celsius) / temperature_factor(rise, 25.0);
        let middle = |of_a: &dyn Fn(&Particle) -> f64, of_n: &dyn Fn(&Particle) -> f64| {
            Some([quantile(&self.each(of_a), 0.5)?, quantile(&self.each(of_n), 0.5)?])
        };
        let limits = |p: &Particle| limits(&p.state, &p.kinetics, &Conditions::at(self.celsius, &p.kinetics));
        Some(Hindrance {
            oxygen: middle(&|p| oxygen(p.kinetics.oxygen_share, p.kinetics.oxygen_a), &|p| {
                oxygen(p.kinetics.oxygen_share, p.kinetics.oxygen_n)
            })?,
            temperature: middle(&|p| warmth(p.kinetics.warmth_a), &|p| warmth(p.kinetics.warmth_n))?,
            acidity: middle(&|p| limits(p).acid_a, &|p| limits(p).acid_n)?,
            poison: middle(&|p| limits(p).poison_a, &|p| limits(p).poison_n)?,
            substrate: middle(&|p| p.state.ammonia / (p.state.ammonia + p.kinetics.half_a), &|p| {
                p.state.nitrite / (p.state.nitrite + p.kinetics.half_n)
            })?,
        })
    }

    /// Expected course of `analyte` in its default unit, one span for each coming day.
    pub fn course(&self, analyte: Analyte) -> Vec<Span> {
        let value = |water: &Water| match analyte {
            Analyte::Ammonia => water.ammonia * NH3_PER_N,
            Analyte::Nitrite => water.nitrite * NO2_PER_N,
            _ => water.nitrate * NO3_PER_N,
        };
        let day = |tanks: &Vec<Water>| Span::of(&tanks.iter().map(value).collect::<Vec<_>>());
        self.outlook.course.iter().filter_map(day).collect()
    }

    /// Collects a number of every possible tank.
    pub(super) fn each(&self, pick: &dyn Fn(&Particle) -> f64) -> Vec<f64> {
        self.blocks.iter().flat_map(|block| (0..WIDTH).map(|lane| pick(&block.particle(lane)))).collect()
    }
}

/// Share of `true`.
fn share(flags: impl ExactSizeIterator<Item = bool>) -> f64 {
    let count = flags.len().max(1) as f64;
    flags.filter(|flag| *flag).count() as f64 / count
}
