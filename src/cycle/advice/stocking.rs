//! Animals: the first, those that are there, and further ones.

use super::{AMMONIA_CAUTION, Advice, CHANGE_CAUTION, grams, litres, rounded, unless_animals};
use crate::cycle::alkalinity::RESERVE_MEQ_L;
use crate::cycle::animals::Animals;
use crate::cycle::assessment::Assessment;
use crate::cycle::capacity::{NITRATE_TARGET, WEEKLY_CHANGE};
use crate::cycle::danger::any_harms;
use crate::cycle::dosing::{repeated_changes, single_change};
use crate::cycle::load::Load;
use crate::cycle::plan::PROOF_MG_L;
use crate::cycle::series::{RECENT_DAYS, Series};
use crate::cycle::standing::standing;
use crate::terms::unit::NO3_PER_N;
use crate::terms::{Analyte, TankFacts};

/// Age up to which one of nitrate does, which changes slowly, days.
const RECENT_NITRATE_DAYS: f64 = 30.0;
/// Share of the final food that new animals get in the first week (common practice).
const FIRST_SHARE: f64 = 0.25;
/// Share of the water changed at once against old nitrate: animals used to it bear a slow fall better than a
/// sudden one (common practice).
const GENTLE_CHANGE: f64 = 0.25;

/// What the animals that are there need, and whether others may come.
///
/// `changes_water`: whether a change of water was advised before.
pub fn stocking(
    assessment: &Assessment,
    series: &Series,
    facts: &TankFacts,
    changes_water: bool,
) -> Vec<Advice> {
    let present = assessment.animals == Animals::Present;
    let too_much = surely_too_much_nitrate(series, facts);
    let nitrate = if present {
        // Against what harms more, water is changed today already.
        too_much.filter(|_| !changes_water).map(|nitrate| thin_nitrate(nitrate, facts))
    } else {
        change_before_animals(series, facts)
    };
    let mut list: Vec<Advice> = nitrate.into_iter().collect();
    let wait = held_up(assessment, too_much, facts).filter(|_| present);
    if assessment.ready {
        list.push(match (wait, assessment.load.filter(|_| present)) {
            (Some(wait), _) => wait,
            // A week of zeros is what would have been asked for.
            (None, Some(load)) if assessment.is_ready_but_doubted() => more_animals(&load),
            _ if assessment.is_ready_but_doubted() => make_sure(assessment, facts),
            (None, _) => stock(assessment, present),
        });
        list.extend(weekly_change(assessment));
    } else {
        list.extend(wait.or_else(|| assessment.load.map(|load| more_animals(&load))));
        list.extend(feed_less(assessment, series));
    }
    list
}

/// The share to change before animals come where nitrate is above what new ones should meet.
fn change_before_animals(series: &Series, facts: &TankFacts) -> Option<Advice> {
    let (_, level) = standing(series, facts, Analyte::Nitrate)?;
    let nitrate = level.value * NO3_PER_N;
    let tap = facts.tap.nitrate_mg_l.unwrap_or(0.0);
    (nitrate > NITRATE_TARGET).then(|| {
        let share = single_change(nitrate, tap, NITRATE_TARGET).unwrap_or(0.5);
        let why = format!("nitrate stands at about {nitrate:.0} mg/L; new animals bear less");
        Advice::new("change water before animals come", litres(share, facts), why).by_change(CHANGE_CAUTION)
    })
}

/// Gentle changes where nitrate surely stands above the target, animals being used to it.
fn thin_nitrate(nitrate: f64, facts: &TankFacts) -> Advice {
    let tap = facts.tap.nitrate_mg_l.unwrap_or(0.0);
    let each = litres(GENTLE_CHANGE, facts);
    let amount = match repeated_changes(nitrate, tap, NITRATE_TARGET, GENTLE_CHANGE) {
        Ok(times) if times.ceil() <= 1.0 => each,
        Ok(times) => format!("{each}, {:.0} times, two days apart", times.ceil()),
        Err(_) => format!("{each}; the tap water holds too much nitrate itself: look for better water"),
    };
    let why = format!(
        "nitrate stands at about {nitrate:.0} mg/L, above {NITRATE_TARGET:.0}; animals used to it bear a slow fall better than a sudden one (common practice)"
    );
    Advice::new("thin the nitrate by changing water in steps", amount, why).by_change(CHANGE_CAUTION)
}

/// Nitrate, mg/L, if it surely stands above the target.
fn surely_too_much_nitrate(series: &Series, facts: &TankFacts) -> Option<f64> {
    let (day, level) = standing(series, facts, Analyte::Nitrate)?;
    let sure = series.now - day <= RECENT_NITRATE_DAYS && level.lower() * NO3_PER_N > NITRATE_TARGET;
    sure.then_some(level.value * NO3_PER_N)
}

/// What has to be mended before further animals come.
fn held_up(assessment: &Assessment, too_much_nitrate: Option<f64>, facts: &TankFacts) -> Option<Advice> {
    let nitrate = too_much_nitrate
        .map(|nitrate| format!("nitrate stands at about {nitrate:.0} mg/L, and each of them makes more"));
    // Soft tap water has little buffer to begin with; what counts is whether it was used up.
    let had_more = facts.tap.alkalinity_meq_l.is_none_or(|tap| tap > RESERVE_MEQ_L);
    let buffer = assessment.balance.alkalinity_meq_l.filter(|left| *left < RESERVE_MEQ_L && had_more).map(|left| {
        format!("about {left:.1} meq/L of the buffer are left: once it is used up, the pH falls and the bacteria stop")
    });
    let strike = assessment
        .strike
        .map(|strike| format!("{}, and the tests of this week are to show how many are left", strike.what));
    let why: Vec<String> = strike.into_iter().chain(nitrate).chain(buffer).collect();
    (!why.is_empty()).then(|| Advice::new("put in no further animals for now", "", why.join("; and ")))
}

/// What comes before more animals where readings put the passed proof in doubt.
fn make_sure(assessment: &Assessment, facts: &TankFacts) -> Advice {
    let why = "the proof passed, but the other readings make it unlikely that another would: one of them may be wrong, or the bacteria have faded";
    if assessment.animals == Animals::Present {
        let action = "put in no further animals until ammonia and nitrite have read as zero for a week";
        return Advice::new(action, "test daily", why);
    }
    let action = format!("{}prove it once more before animals come", unless_animals(assessment.animals));
    Advice::new(action, grams(PROOF_MG_L, facts), why).beware(AMMONIA_CAUTION)
}

/// Putting animals in, or more of them.
fn stock(assessment: &Assessment, animals: bool) -> Advice {
    let capacity = &assessment.capacity;
    let (action, amount) = match (capacity.bearable_food_g_day(), capacity.food_g_day) {
        (Some(food), Some(shown)) if animals => (
            "add further animals in stages",
            format!(
                "food for all of them: up to {} g a day; the bacteria have been shown to manage {} g",
                rounded(food),
                rounded(shown)
            ),
        ),
        (Some(food), Some(shown)) => (
            "put in the first animals, in stages",
            format!(
                "food for the first week: {} g a day; the bacteria have been shown to manage {} g",
                rounded(FIRST_SHARE * food),
                rounded(shown)
            ),
        ),
        _ if animals => ("add further animals in stages", "few at a time".to_owned()),
        _ => ("put in the first animals, in stages", "a quarter of the planned animals".to_owned()),
    };
    let why = "the proof passed, and nothing since speaks against it; the colony grows with what it is fed";
    Advice::new(action, amount, why)
}

/// The weekly change that holds the nitrate of so much food.
fn weekly_change(assessment: &Assessment) -> Option<Advice> {
    let food = rounded(assessment.capacity.bearable_food_g_day()?);
    let amount = format!("{:.0} %", 100.0 * WEEKLY_CHANGE);
    let why = format!(
        "with up to {food} g of food a day nitrate then stays below {NITRATE_TARGET:.0} mg/L in the long run"
    );
    Some(Advice::new("change water each week", amount, why).by_change(CHANGE_CAUTION))
}

/// How to go on where the bacteria keep up with the animals that are there.
fn more_animals(load: &Load) -> Advice {
    Advice::new(
        "feed as you do; if more animals are to come, put in few at a time",
        "a quarter of those that live in it, then test daily for a week (common practice)",
        load.sentence(),
    )
}

/// To relieve bacteria that do not keep up, before the water harms.
fn feed_less(assessment: &Assessment, series: &Series) -> Option<Advice> {
    let stands = |analyte| {
        let (day, level) = series.latest(analyte)?;
        (series.now - day <= RECENT_DAYS && level.lower() > 0.0 && !level.reaches_zero).then_some(analyte)
    };
    let found: Vec<String> = [Analyte::Ammonia, Analyte::Nitrite]
        .into_iter()
        .filter_map(stands)
        .map(|analyte| analyte.to_string())
        .collect();
    let urgent = any_harms(&assessment.dangers);
    (!found.is_empty() && !urgent).then(|| {
        let why = format!(
            "{} in the water: what the animals give off is more than the bacteria take",
            found.join(" and ")
        );
        Advice::new(
            "feed half as much until ammonia and nitrite read as zero",
            "",
            why + " (common practice)",
        )
    })
}
