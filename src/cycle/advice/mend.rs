//! What to do about a stall or a fault of the log.

use super::acid::buffer_may_free;
use super::{
    ALKALINITY_CAUTION, AMMONIA_CAUTION, Advice, CHANGE_CAUTION, WARMTH_CAUTION, rounded, unless_animals,
};
use crate::cycle::alkalinity::bicarbonate_g;
use crate::cycle::animals::Animals;
use crate::cycle::dosing::{ammonium_chloride_g, repeated_changes};
use crate::cycle::faults::{Fault, FaultKind};
use crate::cycle::series::{Series, VOLUME_FACTOR};
use crate::cycle::stalls::{StallCause, Suspected};
use crate::terms::unit::NH3_PER_N;
use crate::terms::{Analyte, EventKind, TankFacts};

/// Alkalinity to restore, meq/L: 100 to 150 mg/L CaCO3 as kept in recirculating systems.
const GOOD_ALKALINITY: f64 = 2.5;
/// Ammonia to come down to where there is too much, mg/L NH3.
pub const BEARABLE: f64 = 4.0;
/// Share of the water changed at once against ammonia that holds the bacteria back.
const MOST: f64 = 0.8;

/// One line for each fault.
pub fn faults(faults: &[Fault], animals: Animals) -> Vec<Advice> {
    faults
        .iter()
        .map(|fault| {
            let day = fault.at.format("%Y-%m-%d %H:%M");
            let action = match fault.kind {
                FaultKind::MissingDose if animals == Animals::Present => format!(
                    "look for a dead animal and for food that rots; if ammonia came with anything else about {day}, add it to the log"
                ),
                FaultKind::MissingDose => format!("add the dose of about {day} to the log, if there was one"),
                FaultKind::MissingWaterChange => {
                    format!("add the water change of about {day} to the log, if there was one")
                }
                FaultKind::WrongReading(analyte) => {
                    format!("look at the {analyte} reading of {day} again, and withdraw it if it is wrong")
                }
                FaultKind::SwappedAnalyte => {
                    format!("look whether ammonia and nitrite of {day} were written down for each other")
                }
            };
            Advice::new(action, "", fault.why())
        })
        .collect()
}

/// The observation that decides between the two likeliest causes.
pub fn deciding(suspects: &[Suspected], animals: Animals) -> Option<Advice> {
    let [first, second, ..] = suspects else { return None };
    let why = format!("it decides whether {} or rather {}", first.sentence(), second.sentence());
    Some(Advice::new(second.cause.deciding_observation(animals), "today", why))
}

/// What mends the cause that is `suspected`.
pub fn stall(suspected: &Suspected, series: &Series, facts: &TankFacts, animals: Animals) -> Vec<Advice> {
    let why = suspected.sentence();
    match suspected.cause {
        StallCause::NoAmmoniaSource | StallCause::Starvation => vec![feed(facts, animals, why)],
        StallCause::PhCrash => buffer(series, facts, animals, why).into_iter().collect(),
        // What animals need against ammonia comes before, and is gentler.
        StallCause::TooMuchAmmonia if animals == Animals::Present => Vec::new(),
        StallCause::TooMuchAmmonia => vec![dilute(series, facts, animals, why)],
        StallCause::Cold => vec![warm(animals, why)],
        StallCause::LowOxygen if suspected.by_exclusion => vec![Advice::new(
            "see whether the filter runs at full flow, and measure oxygen if you can",
            "today; if it does not: rinse its sponge in tank water, free pump and hoses, stir the surface",
            why,
        )],
        StallCause::LowOxygen => vec![Advice::new(
            "bring the filter to full flow: rinse its sponge in tank water, free pump and hoses, stir the surface",
            "today",
            format!("{why}: they need 4.6 mg of oxygen for each mg of ammonia nitrogen"),
        )],
        StallCause::Chlorine => vec![Advice::new(
            "treat all tap water before it touches the tank, and move in medium from a running tank if you can get it",
            "from now on; mature medium within the hour (common practice)",
            why,
        )
        .beware(CHANGE_CAUTION)],
    }
}

fn feed(facts: &TankFacts, animals: Animals, why: &str) -> Advice {
    if animals == Animals::Present {
        return Advice::new("feed the animals as usual, and test twice a week", "", why);
    }
    let amount = match facts.volume_l.map(|volume| ammonium_chloride_g(2.0, volume)) {
        Some(Ok(grams)) => format!("2 mg/L: {} g of ammonium chloride", rounded(grams)),
        _ => "2 mg/L".to_owned(),
    };
    let action = format!("{}dose ammonia, and again whenever it has gone", unless_animals(animals));
    Advice::new(action, amount, why).beware(AMMONIA_CAUTION)
}

fn warm(animals: Animals, why: &str) -> Advice {
    let why = format!("{why}: each degree brings them on by about a tenth");
    let advice = match animals {
        Animals::Present => Advice::new(
            "warm the water, if your animals are of a kind that needs it warmer",
            "by a degree a day at most, to what their kind needs; animals of cold water stay as they are, and eat the less",
            why,
        ),
        Animals::Absent | Animals::Unknown => {
            Advice::new("set the heater", "25 to 28 °C (less if animals in the tank need it)", why)
        }
    };
    if animals == Animals::Absent { advice } else { advice.beware(WARMTH_CAUTION) }
}

/// To raise the buffer; with animals in ammonia that it would set free, nothing: that has to go first.
fn buffer(series: &Series, facts: &TankFacts, animals: Animals, why: &str) -> Option<Advice> {
    let present = animals == Animals::Present;
    if present && buffer_may_free(series, facts) {
        return None;
    }
    let left = series.latest(Analyte::Alkalinity).map_or(0.3, |(_, level)| level.value);
    let rise = (GOOD_ALKALINITY - left).max(0.5);
    let amount = match facts.volume_l {
        Some(volume) => format!(
            "{} g of sodium bicarbonate (+{rise:.1} meq/L, {:.0} dKH)",
            rounded(bicarbonate_g(rise, volume)),
            rise / crate::terms::unit::MEQ_PER_DKH
        ),
        None => format!("8.4 g of sodium bicarbonate for 100 litres and meq/L: +{rise:.1} meq/L"),
    };
    let advice = if present {
        let amount = amount + ", in portions over several days";
        Advice::new(
            "restore the buffer, or change a tenth of the water a day if the tap water is well buffered",
            amount,
            why,
        )
    } else {
        let unless = unless_animals(animals);
        let action =
            format!("{unless}restore the buffer, or change half the water if the tap water is well buffered");
        Advice::new(action, amount, why)
    };
    Some(advice.beware(ALKALINITY_CAUTION))
}

/// Changes of this share of the water that bring so much ammonia, mg/L NH3, down to what is bearable; `None`
/// if it is so already, or no number of them can.
pub fn changes_until_bearable(standing: f64, share: f64, facts: &TankFacts) -> Option<f64> {
    let tap = facts.tap.ammonia_mg_l.unwrap_or(0.0);
    repeated_changes(standing, tap, BEARABLE, share).ok().filter(|times| *times > 0.0).map(f64::ceil)
}

fn dilute(series: &Series, facts: &TankFacts, animals: Animals, why: &str) -> Advice {
    let given: f64 = series.of_kind(EventKind::AmmoniaDose).map(|dose| dose.amount() * VOLUME_FACTOR).sum();
    let read = series.latest(Analyte::Ammonia).map_or(0.0, |(_, level)| level.value * NH3_PER_N);
    let past_chart = series.latest(Analyte::Ammonia).is_some_and(|(_, level)| level.above);
    let standing = if past_chart { read.max(given) } else { read };
    let amount = match changes_until_bearable(standing, MOST, facts) {
        Some(times) => {
            format!("80 %, {times:.0} times: from about {standing:.0} to {BEARABLE:.0} mg/L")
        }
        None => "80 %".to_owned(),
    };
    let unless = unless_animals(animals);
    let action = format!("{unless}change water, and dose no more until ammonia has fallen below 1 mg/L");
    Advice::new(action, amount, why).by_change(CHANGE_CAUTION)
}
