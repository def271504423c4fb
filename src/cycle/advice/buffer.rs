//! The water's buffer, which the bacteria use up: when to raise it, and by how much.

use super::acid::buffer_may_free;
use super::{ALKALINITY_CAUTION, Advice, START_DOSE, rounded};
use crate::cycle::alkalinity::{MEQ_PER_MG_N, RESERVE_MEQ_L, bicarbonate_g, doses_left};
use crate::cycle::animals::Animals;
use crate::cycle::assessment::Assessment;
use crate::cycle::series::{RECENT_DAYS, Series};
use crate::terms::unit::NH3_PER_N;
use crate::terms::{Analyte, TankFacts};

/// Doses that the buffer must carry to be left alone.
const DOSES: f64 = 3.0;
/// Doses that it carries once it is raised.
const DOSES_AFTERWARDS: f64 = 6.0;
/// Fall of the pH since the first reading that tells of a buffer being used up (judgement, no source).
const PH_FALL: f64 = 0.5;
/// pH below which it is told of also where it was no higher at the first test (judgement, no source).
const LOW_PH: f64 = 6.8;
/// Age up to which a test of the alkalinity need not be made again before it is raised, days (judgement, no
/// source).
const RECENT_TEST_DAYS: f64 = 14.0;

/// To raise the alkalinity, or to test it.
pub fn buffer(assessment: &Assessment, series: &Series, facts: &TankFacts) -> Option<Advice> {
    let tested = is_tested(series);
    if assessment.stall_cause.is_some() {
        return if tested { None } else { untested(series, facts) };
    }
    let Some(alkalinity) = assessment.balance.alkalinity_meq_l else { return untested(series, facts) };
    let dose = START_DOSE / NH3_PER_N;
    let left = doses_left(alkalinity, dose);
    if left >= DOSES {
        // The log alone may be wrong about it: what the pH tells counts more.
        return if tested { None } else { untested(series, facts) };
    }
    let animals = assessment.animals == Animals::Present;
    // Animals that came into soft water live by it; what has to be seen is whether it is being used up.
    let is_soft = facts.tap.alkalinity_meq_l.is_some_and(|tap| tap <= RESERVE_MEQ_L);
    if animals && (is_soft || buffer_may_free(series, facts)) {
        return if tested { None } else { untested(series, facts) };
    }
    let lasts = match left.floor() {
        _ if animals && alkalinity < RESERVE_MEQ_L => {
            "less than the bacteria and a steady pH need".to_owned()
        }
        _ if animals => "little before the pH falls".to_owned(),
        0.0 => "not enough for another dose before the pH falls".to_owned(),
        1.0 => "one more dose before the pH falls".to_owned(),
        doses => format!("{doses:.0} more doses before the pH falls"),
    };
    let rise = (RESERVE_MEQ_L + DOSES_AFTERWARDS * MEQ_PER_MG_N * dose - alkalinity).max(0.5);
    let action = if tested {
        "raise the alkalinity"
    } else {
        "raise the alkalinity, once a test confirms that it is low"
    };
    let why = format!("by what was read and logged about {alkalinity:.1} meq/L are left: {lasts}");
    Some(Advice::new(action, amount(rise, animals, facts), why).beware(ALKALINITY_CAUTION))
}

/// Whether the alkalinity was tested of late.
fn is_tested(series: &Series) -> bool {
    series.latest(Analyte::Alkalinity).is_some_and(|(day, _)| series.now - day <= RECENT_TEST_DAYS)
}

/// Bicarbonate for a rise, meq/L.
fn amount(rise: f64, animals: bool, facts: &TankFacts) -> String {
    let how = if animals { ", in portions over several days" } else { "" };
    match facts.volume_l {
        Some(volume) => {
            format!(
                "{} g of sodium bicarbonate (+{rise:.1} meq/L){how}",
                rounded(bicarbonate_g(rise, volume))
            )
        }
        None => format!("+{rise:.1} meq/L{how}"),
    }
}

/// Whether to test the buffer, of which no recent test tells: the pH tells that it is being used up.
fn untested(series: &Series, facts: &TankFacts) -> Option<Advice> {
    let (day, now) = series.latest(Analyte::Ph)?;
    let first = series.samples.iter().find_map(|sample| sample.ph)?;
    let fell = first.lower() > now.upper() && first.value - now.value >= PH_FALL;
    let below_tap = |tap: &f64| now.upper() < LOW_PH && tap - now.upper() >= PH_FALL;
    let why = match facts.tap.ph.filter(below_tap) {
        _ if fell => format!("has fallen from {:.1} to {:.1}", first.value, now.value),
        Some(tap) => format!("is {:.1}, far below the tap water's {tap:.1}", now.value),
        None => return None,
    };
    let why =
        format!("the pH {why}: the bacteria use up alkalinity, and no test of late tells how much is left");
    (series.now - day <= RECENT_DAYS)
        .then(|| Advice::new("test the alkalinity (carbonate hardness)", "today", why))
}
