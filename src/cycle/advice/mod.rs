//! What to do today, in order, with amounts.

mod acid;
mod buffer;
mod course;
mod foresee;
mod mend;
mod rescue;
mod stocking;
mod strike;

use super::animals::Animals;
use super::assessment::Assessment;
use super::dosing::ammonium_chloride_g;
use super::series::Series;
use super::silence::silent_since;
use crate::terms::TankFacts;
use crate::terms::text::shell_word;

/// Caution with every ammonia source.
pub const AMMONIA_CAUTION: &str = "Ammonia solution burns eyes and skin and its vapour harms: gloves, goggles, open window, never mixed with bleach, out of children's reach. Follow its label. Never with animals in the tank.";
/// Caution with bicarbonate and other buffers.
pub const ALKALINITY_CAUTION: &str = "Dissolve it first and add it over an hour: a rising pH turns harmless ammonium into harmful ammonia. With animals in the tank raise the pH by no more than 0.3 a day and ask a vet or an experienced keeper.";
/// Caution with a warmer heater.
pub const WARMTH_CAUTION: &str = "Warmer water holds less oxygen and turns more ammonium into harmful ammonia. With animals in the tank keep to what their kind needs, change it by a degree a day at most, and not while ammonia or nitrite stand.";
/// Caution with salt against nitrite.
pub const SALT_CAUTION: &str = "Plain sodium chloride without additives, dissolved first, in portions over hours. Some fish, shrimps, snails and plants do not stand salt: look up your species, and ask a vet.";
/// Caution with ammonia that acid water holds harmless.
pub const HELD_CAUTION: &str = "A conditioner that binds ammonia (as its label says), or water of the tank's own pH, allows more. Stop before the pH has risen by 0.3 in a day, treat tap water against chlorine and chloramine, match its temperature, feed as little as you can, add air, and ask a vet or an experienced keeper.";
/// Caution with water changes.
pub const CHANGE_CAUTION: &str = "Treat the tap water against chlorine and chloramine as the conditioner's label says, and match its temperature.";

/// The same where the tank's water is salt.
pub const SALT_CHANGE_CAUTION: &str = "Never pour in fresh water: mix new water to the tank's own salinity beforehand, from tap water treated against chlorine and chloramine or from pure water, let it dissolve and be stirred for as long as the salt's label says, and match its temperature and pH.";

/// What to beware of with changes of this tank's water.
pub fn change_caution(facts: &TankFacts) -> &'static str {
    if matches!(facts.water.as_deref(), Some("sea" | "brackish")) {
        SALT_CHANGE_CAUTION
    } else {
        CHANGE_CAUTION
    }
}

/// One thing to do.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Advice {
    /// What.
    pub action: String,
    /// How much; empty where it makes no sense.
    pub amount: String,
    /// Why.
    pub why: String,
    /// What to beware of.
    pub caution: Option<&'static str>,
    /// Whether water is changed by it.
    changes_water: bool,
}

impl Advice {
    fn new(action: impl Into<String>, amount: impl Into<String>, why: impl Into<String>) -> Self {
        Self {
            action: action.into(),
            amount: amount.into(),
            why: why.into(),
            caution: None,
            changes_water: false,
        }
    }

    fn beware(mut self, caution: &'static str) -> Self {
        self.caution = Some(caution);
        self
    }

    /// By a change of water, with its caution.
    fn by_change(self, caution: &'static str) -> Self {
        Self { changes_water: true, ..self.beware(caution) }
    }

    /// The reason with the caution behind it, for outputs that have no place for cautions.
    pub fn why_with_caution(&self) -> String {
        match self.caution {
            Some(caution) => format!("{}. Caution: {caution}", self.why),
            None => self.why.clone(),
        }
    }
}

/// Everything to do today, the most urgent first.
pub fn advice(assessment: &Assessment, series: &Series, facts: &TankFacts) -> Vec<Advice> {
    let animals = assessment.animals;
    let mut list: Vec<Advice> = silence(series).into_iter().collect();
    match animals {
        Animals::Present => {
            list.extend(rescue::rescue(&assessment.dangers, acid::held(series, facts), facts));
            list.extend(strike::struck(assessment.strike, series));
            list.extend(foresee::foreseen(assessment, series, facts));
        }
        Animals::Unknown if list.is_empty() => list.push(ask(facts)),
        Animals::Unknown | Animals::Absent => {}
    }
    list.extend(mend::faults(&assessment.faults, animals));
    let is_stalled = assessment.stall_cause.is_some() && assessment.told_on().is_none();
    if let Some(suspected) = assessment.stall.first().filter(|_| is_stalled) {
        list.extend(mend::stall(suspected, series, facts, animals));
        list.extend(mend::deciding(&assessment.stall, animals));
    }
    let changes_water = list.iter().any(|advice| advice.changes_water);
    list.extend(course::course(assessment, series, facts, changes_water));
    for advice in list.iter_mut().filter(|advice| advice.caution == Some(CHANGE_CAUTION)) {
        advice.caution = Some(change_caution(facts));
    }
    list
}

/// To say whether animals live in the tank, where nothing tells.
fn ask(facts: &TankFacts) -> Advice {
    let tank = shell_word(&facts.tank);
    let how = format!(
        "`tintwell event --tank {tank} fish_added=6`, or, if nothing does, `tintwell tank {tank} --ammonia-source \"ammonium chloride\"`"
    );
    let why = "the log tells neither of animals nor of a tank without them: ammonia that feeds bacteria kills animals, and what would have to be done for animals is not known to be needed";
    Advice::new("say what lives in the tank", how, why)
}

/// Dose during the start, mg/L NH3 (common practice).
const START_DOSE: f64 = 2.0;

/// What goes before the word to dose ammonia.
const fn unless_animals(animals: Animals) -> &'static str {
    match animals {
        Animals::Unknown => "if no animal lives in the tank, ",
        Animals::Present | Animals::Absent => "",
    }
}

/// To look before anything is done, where the log has been silent for long.
fn silence(series: &Series) -> Option<Advice> {
    let days = series.now - silent_since(series)?;
    let why = format!(
        "nothing has been logged for {days:.0} days: what is in the water by now, and whether animals live in it, is not known"
    );
    let action =
        "before anything else, test ammonia, nitrite, nitrate and pH, and log what lives in the tank";
    Some(Advice::new(action, "", why))
}

/// A share (0 to 1) of the water, to the next 5 %, and in litres where the volume is known.
fn litres(share: f64, facts: &TankFacts) -> String {
    percent_and_litres((20.0 * share).ceil() * 5.0, facts)
}

/// Per cent of the water, and litres where the volume is known.
fn percent_and_litres(percent: f64, facts: &TankFacts) -> String {
    match facts.volume_l {
        Some(volume) => format!("{percent:.0} % ({:.0} litres)", percent / 100.0 * volume),
        None => format!("{percent:.0} %"),
    }
}

/// Ammonium chloride that raises ammonia by so much, mg/L NH3.
fn grams(mg_l: f64, facts: &TankFacts) -> String {
    match facts.volume_l.map(|volume| ammonium_chloride_g(mg_l, volume)) {
        Some(Ok(grams)) => format!("{mg_l:.1} mg/L: {} g of ammonium chloride", rounded(grams)),
        _ => format!("{mg_l:.1} mg/L; tell the tank's volume to get grams"),
    }
}

/// Grams or litres with as many digits as make sense at home.
fn rounded(value: f64) -> String {
    match value {
        v if v < 1.0 => format!("{v:.2}"),
        v if v < 10.0 => format!("{v:.1}"),
        v => format!("{v:.0}"),
    }
}
