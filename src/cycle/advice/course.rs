//! What to do along the normal course of the cycle.

use super::buffer::buffer;
use super::mend::{BEARABLE, changes_until_bearable};
use super::stocking::stocking;
use super::strike::struck;
use super::{AMMONIA_CAUTION, Advice, CHANGE_CAUTION, START_DOSE, grams, litres, unless_animals};
use crate::cycle::animals::Animals;
use crate::cycle::assessment::Assessment;
use crate::cycle::danger::Severity;
use crate::cycle::plan::PROOF_MG_L;
use crate::cycle::series::{RECENT_DAYS, Series};
use crate::cycle::stage::Stage;
use crate::terms::unit::NH3_PER_N;
use crate::terms::{Analyte, EventKind, TankFacts};

/// Ammonia below which to dose again during the start, mg/L NH3 (common practice).
const DOSE_BELOW: f64 = 0.5;
/// Ammonia above which a change of water is told of, mg/L NH3: clearly more than is come down to.
const TOO_MUCH: f64 = 1.5 * BEARABLE;
/// Share of the water changed at once where no animals live in it.
const HALF: f64 = 0.5;

/// Feeding the bacteria, the buffer, the next test, the animals.
///
/// `changes_water`: whether a change of water was advised before.
pub fn course(
    assessment: &Assessment,
    series: &Series,
    facts: &TankFacts,
    changes_water: bool,
) -> Vec<Advice> {
    let mut list = Vec::new();
    let present = assessment.animals == Animals::Present;
    if assessment.ready || present {
        list.extend(stocking(assessment, series, facts, changes_water));
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
    let Some((day, level)) = series.latest(Analyte::Ammonia) else {
        return Some(Advice::new(
            "test ammonia and nitrite",
            "today",
            "without a reading nothing can be said of the bacteria",
        ));
    };
    if let Some(why) = is_outdated(day, series) {
        return Some(Advice::new("do not dose before a test of ammonia and nitrite", "", why));
    }
    let standing = level.value * NH3_PER_N;
    if standing > TOO_MUCH {
        return Some(thin(standing, assessment, facts));
    }
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

/// Why a test of ammonia on `day` does not tell whether to dose today.
fn is_outdated(day: f64, series: &Series) -> Option<String> {
    if series.of_kind(EventKind::AmmoniaDose).any(|dose| dose.day > day) {
        let why = "ammonia was dosed since the last test: how much of it still stands is not known";
        return Some(why.to_owned());
    }
    let age = series.now - day;
    (age > RECENT_DAYS).then(|| format!("the last test of ammonia is {age:.0} days old"))
}

/// What to do with more ammonia than is good for a start-up.
fn thin(standing: f64, assessment: &Assessment, facts: &TankFacts) -> Advice {
    let half = litres(HALF, facts);
    let amount = match changes_until_bearable(standing, HALF, facts) {
        Some(times) if times > 1.0 => format!("{half}, {times:.0} times"),
        _ => half,
    };
    let why = format!(
        "{standing:.1} mg/L ammonia stand, and more than {BEARABLE:.0} can hold back the bacteria that take nitrite (common practice); let it fall below {DOSE_BELOW} mg/L before you dose again"
    );
    let action =
        format!("{}do not dose now; change water to get on faster", unless_animals(assessment.animals));
    Advice::new(action, amount, why).by_change(CHANGE_CAUTION)
}

/// The test to make next; nothing where animals in danger have theirs already.
fn next_test(assessment: &Assessment, series: &Series) -> Option<Advice> {
    let present = assessment.animals == Animals::Present;
    let said = assessment.dangers.iter().any(|danger| danger.severity >= Severity::Unknown);
    if present && said && !assessment.ready {
        return None;
    }
    // After what may have killed bacteria they are asked for daily.
    if present && struck(assessment.strike, series).is_some() {
        return None;
    }
    // Of a proof in doubt daily tests are asked for already.
    if present && assessment.is_ready_but_doubted() && assessment.load.is_none() {
        return None;
    }
    if present && assessment.load.is_some() {
        return Some(Advice::new(
            "test ammonia, nitrite and nitrate once a week",
            "",
            "a relapse shows first as ammonia or nitrite above zero (common practice)",
        ));
    }
    if present && !assessment.ready {
        return Some(daily_test(assessment.stage));
    }
    Some(on_the_way(assessment, series))
}

/// The tests of a tank with animals that no row of zeros speaks for yet.
fn daily_test(stage: Stage) -> Advice {
    let (what, why) = if stage == Stage::Stalled {
        (
            "test ammonia, nitrite and pH",
            "something holds the bacteria back that are to keep up with the animals in the tank",
        )
    } else {
        (
            "test ammonia and nitrite",
            "animals are in the tank, and it is not shown yet that the bacteria keep up with them",
        )
    };
    Advice::new(what, "daily, until both have read as zero for a week", why)
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
