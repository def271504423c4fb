//! What to do along the normal course of the cycle.

use super::{ALKALINITY_CAUTION, AMMONIA_CAUTION, Advice, CHANGE_CAUTION, rounded, unless_animals};
use crate::cycle::alkalinity::{MEQ_PER_MG_N, RESERVE_MEQ_L, bicarbonate_g, doses_left};
use crate::cycle::animals::Animals;
use crate::cycle::assessment::Assessment;
use crate::cycle::capacity::{NITRATE_TARGET, WEEKLY_CHANGE};
use crate::cycle::danger::{Severity, any_harms};
use crate::cycle::dosing::{ammonium_chloride_g, single_change};
use crate::cycle::load::Load;
use crate::cycle::plan::PROOF_MG_L;
use crate::cycle::series::Series;
use crate::cycle::stage::Stage;
use crate::terms::unit::{NH3_PER_N, NO3_PER_N};
use crate::terms::{Analyte, TankFacts};

/// Ammonia below which to dose again during the start, mg/L NH3 (common practice).
const DOSE_BELOW: f64 = 0.5;
/// Dose during the start, mg/L NH3 (common practice).
const START_DOSE: f64 = 2.0;
/// Fall of the pH since the first reading that tells of a buffer being used up (judgement, no source).
const PH_FALL: f64 = 0.5;
/// Age up to which a reading of pH speaks for today, days.
const RECENT_DAYS: f64 = 7.0;
/// Share of the final food that new animals get in the first week (common practice).
const FIRST_SHARE: f64 = 0.25;

/// Feeding the bacteria, the buffer, the next test, the animals.
pub fn course(assessment: &Assessment, series: &Series, facts: &TankFacts) -> Vec<Advice> {
    let mut list = Vec::new();
    let present = assessment.animals == Animals::Present;
    if assessment.ready {
        list.extend(after_the_cycle(assessment, series, facts));
    } else if present {
        list.extend(assessment.load.map(|load| more_animals(&load)));
        list.extend(feed_less(assessment, series));
    } else if assessment.stage == Stage::Cycled {
        list.push(prove(assessment, facts));
    } else if assessment.stage != Stage::Stalled {
        list.extend(keep_fed(assessment, series, facts));
    }
    list.extend(buffer(assessment, series, facts));
    list.extend(next_test(assessment, series));
    if let Some(why) = assessment.unforeseen.filter(|_| !assessment.ready) {
        list.push(Advice::new(if present { "expect no date" } else { "expect no date yet" }, "", why));
    }
    list
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

fn grams(mg_l: f64, facts: &TankFacts) -> String {
    match facts.volume_l.map(|volume| ammonium_chloride_g(mg_l, volume)) {
        Some(Ok(grams)) => format!("{mg_l:.1} mg/L: {} g of ammonium chloride", rounded(grams)),
        _ => format!("{mg_l:.1} mg/L; tell the tank's volume to get grams"),
    }
}

fn prove(assessment: &Assessment, facts: &TankFacts) -> Advice {
    let why = match assessment.obstacles.first() {
        Some(obstacle) => obstacle.sentence(),
        None => "a proof would show that it is ready".to_owned(),
    };
    let dose = assessment.plan.dose_mg_l;
    let unless = unless_animals(assessment.animals);
    Advice::new(
        format!("{unless}prove it: dose ammonia, and test ammonia, nitrite and nitrate 24 hours later"),
        if dose > 0.0 { grams(dose, facts) } else { format!("none: {PROOF_MG_L} mg/L stand already") },
        why,
    )
    .beware(AMMONIA_CAUTION)
}

fn keep_fed(assessment: &Assessment, series: &Series, facts: &TankFacts) -> Option<Advice> {
    let Some((_, level)) = series.latest(Analyte::Ammonia) else {
        return Some(Advice::new(
            "test ammonia and nitrite",
            "today",
            "without a reading nothing can be said of the bacteria",
        ));
    };
    let standing = level.value * NH3_PER_N;
    if standing >= DOSE_BELOW || level.above {
        return Some(Advice::new(
            "do not dose now",
            "",
            format!(
                "{standing:.1} mg/L ammonia stand: enough for the bacteria until below {DOSE_BELOW} mg/L"
            ),
        ));
    }
    Some(
        Advice::new(
            format!("{}feed the bacteria: dose ammonia", unless_animals(assessment.animals)),
            grams(START_DOSE, facts),
            "ammonia is nearly gone, and a colony grows only while it is fed",
        )
        .beware(AMMONIA_CAUTION),
    )
}

fn buffer(assessment: &Assessment, series: &Series, facts: &TankFacts) -> Option<Advice> {
    if assessment.stall_cause.is_some() {
        return None;
    }
    let Some(alkalinity) = assessment.balance.alkalinity_meq_l else { return untested_buffer(series) };
    let dose = START_DOSE / NH3_PER_N;
    let left = doses_left(alkalinity, dose);
    if left >= 3.0 {
        return None;
    }
    let rise = (RESERVE_MEQ_L + 6.0 * MEQ_PER_MG_N * dose - alkalinity).max(0.5);
    let amount = match facts.volume_l {
        Some(volume) => {
            format!("{} g of sodium bicarbonate (+{rise:.1} meq/L)", rounded(bicarbonate_g(rise, volume)))
        }
        None => format!("+{rise:.1} meq/L"),
    };
    Some(
        Advice::new(
            "raise the alkalinity, once a test confirms that it is low",
            amount,
            format!(
                "by the doses and changes logged about {alkalinity:.1} meq/L are left: {left:.0} more doses before the pH falls"
            ),
        )
        .beware(ALKALINITY_CAUTION),
    )
}

/// Whether to test the buffer of which nothing is known: the pH tells that it is being used up.
fn untested_buffer(series: &Series) -> Option<Advice> {
    let (day, now) = series.latest(Analyte::Ph)?;
    let first = series.samples.iter().find_map(|sample| sample.ph)?;
    let fell = first.lower() > now.upper() && first.value - now.value >= PH_FALL;
    (fell && series.now - day <= RECENT_DAYS).then(|| {
        let why = format!(
            "the pH has fallen from {:.1} to {:.1}: the bacteria use up alkalinity, and nothing in the log tells how much is left",
            first.value, now.value
        );
        Advice::new("test the alkalinity (carbonate hardness)", "today", why)
    })
}

/// The test to make next; nothing where animals in danger have theirs already.
fn next_test(assessment: &Assessment, series: &Series) -> Option<Advice> {
    let present = assessment.animals == Animals::Present;
    let said = assessment.dangers.iter().any(|danger| danger.severity >= Severity::Unknown);
    if present && said && !assessment.ready {
        return None;
    }
    if present && assessment.load.is_some() {
        return Some(Advice::new(
            "test ammonia, nitrite and nitrate once a week",
            "",
            "a relapse shows first as ammonia or nitrite above zero (common practice)",
        ));
    }
    if present && !assessment.ready && assessment.stage != Stage::Stalled {
        return Some(Advice::new(
            "test ammonia and nitrite",
            "daily, until both have read as zero for a week",
            "animals are in the tank, and it is not shown yet that the bacteria keep up with them",
        ));
    }
    Some(on_the_way(assessment, series))
}

fn on_the_way(assessment: &Assessment, series: &Series) -> Advice {
    match assessment.stage {
        _ if assessment.ready => Advice::new(
            "test ammonia and nitrite twice a week for three weeks after each new animal",
            "",
            "a relapse shows first as ammonia or nitrite above zero",
        ),
        Stage::Cycled => Advice::new(
            "test ammonia and nitrite",
            "24 hours after the dose",
            "both at zero decide that the tank is ready",
        ),
        Stage::NitriteFalling | Stage::NitritePeak => Advice::new(
            "test nitrite",
            "in two days",
            "its fall to zero a day after a dose is what remains to be seen",
        ),
        Stage::Stalled => Advice::new(
            "test ammonia, nitrite and pH",
            "two days after mending the cause",
            "a falling sum of ammonia and nitrite shows that it was the cause",
        ),
        Stage::None | Stage::AmmoniaFalling => {
            let nitrate = series.latest(Analyte::Nitrate).is_none();
            Advice::new(
                if nitrate { "test ammonia, nitrite and nitrate" } else { "test ammonia and nitrite" },
                "in two to three days",
                "nitrite that appears or rises shows that bacteria, and not a bloom, take the ammonia",
            )
        }
    }
}

fn after_the_cycle(assessment: &Assessment, series: &Series, facts: &TankFacts) -> Vec<Advice> {
    let animals = assessment.animals == Animals::Present;
    let mut list = Vec::new();
    let nitrate = series.latest(Analyte::Nitrate).map(|(_, level)| level.value * NO3_PER_N);
    let tap = facts.tap.nitrate_mg_l.unwrap_or(0.0);
    if let Some(nitrate) = nitrate.filter(|nitrate| *nitrate > NITRATE_TARGET && !animals) {
        let amount = match single_change(nitrate, tap, NITRATE_TARGET) {
            Ok(share) => format!("{:.0} %", (20.0 * share).ceil() * 5.0),
            Err(_) => "half".to_owned(),
        };
        let why = format!("nitrate stands at about {nitrate:.0} mg/L; new animals bear less");
        list.push(Advice::new("change water before animals come", amount, why).beware(CHANGE_CAUTION));
    }
    list.push(if assessment.is_ready_but_doubted() {
        make_sure(assessment, facts)
    } else {
        stock(assessment, animals)
    });
    let capacity = &assessment.capacity;
    if let Some(food) = capacity.bearable_food_g_day() {
        list.push(
            Advice::new(
                "change water each week",
                format!("{:.0} %", 100.0 * WEEKLY_CHANGE),
                format!(
                    "with up to {} g of food a day nitrate then stays below {NITRATE_TARGET:.0} mg/L in the long run",
                    rounded(food)
                ),
            )
            .beware(CHANGE_CAUTION),
        );
    }
    list
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
