//! An assessment's sentences that the terminal and the page share.

use crate::cycle::Assessment;
use crate::cycle::animals::Animals;
use crate::cycle::danger::{Danger, Severity};
use crate::cycle::forecast::Settling;
use crate::cycle::proof::Outcome;
use crate::cycle::stage::Stage;
use crate::math::digits::percent;
use crate::terms::Analyte;
use crate::terms::unit::MEQ_PER_DKH;

/// The verdict in a few words.
pub fn headline(assessment: &Assessment) -> String {
    let verdict = verdict(assessment);
    match assessment.told_on() {
        Some(then) => format!("{verdict}, by the last entries, of {}", then.format("%-d %B %Y")),
        None => verdict,
    }
}

/// Where the cycle stands, and that it is not known if the log has been silent for long.
pub fn stage(assessment: &Assessment) -> String {
    if assessment.is_hardly_known() {
        return "neither tests nor the tank's age tell yet what its bacteria do".to_owned();
    }
    let stage = assessment.stage.sentence();
    match assessment.told_on() {
        Some(then) => {
            format!("as of {}: {stage}; how it stands today is not known", then.format("%-d %B %Y"))
        }
        None => stage.to_owned(),
    }
}

fn verdict(assessment: &Assessment) -> String {
    match (assessment.ready, assessment.stage) {
        (true, _) if assessment.is_ready_but_doubted() => {
            "READY for animals by its proof, which other readings put in doubt".to_owned()
        }
        (true, _) => "READY for animals, added in stages".to_owned(),
        (false, Stage::Stalled) => "NOT READY: stalled".to_owned(),
        (false, Stage::Cycled) if assessment.strike.is_some() && assessment.load.is_none() => {
            "NOT PROVED: something was done that may have killed bacteria".to_owned()
        }
        (false, _) if assessment.load.is_some() => {
            "KEEPS UP with its animals so far; not proved for more".to_owned()
        }
        (false, Stage::Cycled) => "NOT PROVED YET: a proof begun now would probably pass".to_owned(),
        (false, _) if assessment.is_hardly_known() => {
            "NOT SHOWN YET: too little is known to judge by".to_owned()
        }
        (false, Stage::None) => "NOT READY: the cycle does not show yet".to_owned(),
        (false, stage) => format!("NOT READY: {}", stage.word().replace('_', " ")),
    }
}

/// When it will be ready, or why that is not known; nothing when it is.
pub fn date(assessment: &Assessment) -> Option<String> {
    if assessment.ready {
        return None;
    }
    Some(match &assessment.ready_on {
        Some(on) if assessment.stage == Stage::Stalled && on.latest > assessment.at => format!(
            "Ready {on} (four in five such intervals should hold), as things go on; sooner, most likely, once what holds it back is mended."
        ),
        Some(on) if on.latest > assessment.at => {
            format!("Ready {on} (four in five such intervals should hold).")
        }
        Some(_) if assessment.animals == Animals::Present => {
            "It may be ready already; with animals in the tank no dose can prove it.".to_owned()
        }
        Some(_) => "It may be ready already: prove it.".to_owned(),
        None => format!("No date: {}.", assessment.unforeseen.unwrap_or("it cannot be foreseen")),
    })
}

/// Why there is no proof to tell of.
pub fn no_proof(assessment: &Assessment) -> &'static str {
    if assessment.animals == Animals::Present {
        return "proof: not shown: none is made with animals in the tank";
    }
    "proof: the log holds no dose of about 2 mg/L ammonia with a test 20 to 30 h later"
}

/// How likely a proof begun now would pass.
pub fn chance(assessment: &Assessment) -> String {
    if assessment.is_hardly_known() {
        return "how a proof begun now would end is not known".to_owned();
    }
    let chance = percent(assessment.passes_now);
    if assessment.is_ready_but_doubted() {
        return format!(
            "the proof in the log passed; by all readings together one begun now would do so with {chance} probability only"
        );
    }
    let by = if assessment.forecast_holds {
        ""
    } else {
        ", by the readings alone: the forecast does not agree with them"
    };
    format!("a proof begun now would pass with {chance} probability{by}")
}

/// From when on the bacteria should keep up with the animals; nothing without any, and where it is shown already.
pub fn settling(assessment: &Assessment) -> Option<String> {
    if assessment.ready || assessment.load.is_some() || assessment.animals != Animals::Present {
        return None;
    }
    let settling = assessment.posterior.settling().filter(|_| assessment.forecast_holds)?;
    // While something holds the bacteria back, or may have killed them, nobody is promised that they will do.
    let is_held = assessment.stage == Stage::Stalled || assessment.strike.is_some();
    if is_held && settling != Settling::NotInSight {
        return None;
    }
    let held = if matches!(settling, Settling::Between(_)) {
        " (four in five such intervals should hold)"
    } else {
        ""
    };
    Some(format!("{settling}{held}."))
}

/// From when on faults of the log were looked for, if not over all of it.
pub fn searched(assessment: &Assessment) -> Option<String> {
    let from = assessment.searched_from?;
    Some(format!(
        "the log before {} was not searched for faults: it is too old to matter today",
        from.format("%Y-%m-%d")
    ))
}

/// How a proof came out.
pub const fn outcome(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::Passed => "passed",
        Outcome::Failed => "failed",
        Outcome::NotShown => "not shown: the readings cannot tell",
    }
}

/// What the nitrogen balance says.
pub fn nitrogen(assessment: &Assessment) -> Vec<String> {
    let mut lines = Vec::new();
    if let Some(share) = assessment.balance.found_as_nitrate {
        lines.push(format!(
            "nitrogen balance: of what left ammonia and nitrite {:.0} ± {:.0} % is found as nitrate",
            100.0 * share.value,
            196.0 * share.sd
        ));
    }
    if let Some(residual) = assessment.balance.points.iter().rev().find_map(|point| point.residual) {
        let (verdict, reason) = match residual.value / residual.sd {
            off if off >= 2.0 => {
                ("does not agree", ": some came in that is not logged (food, animals, tap water, a dose)")
            }
            off if off <= -2.0 => (
                "does not agree",
                ": some left that is not logged (a water change, plants), or nitrate reads low",
            ),
            _ => ("agrees", ""),
        };
        lines.push(format!(
            "the last full test {verdict} with what went in and out: {:+.1} ± {:.1} mg/L N{reason}",
            residual.value,
            1.96 * residual.sd
        ));
    }
    lines
}

/// What is left of the water's buffer, if it is known.
pub fn buffer(assessment: &Assessment) -> Option<String> {
    assessment.balance.alkalinity_meq_l.map(|alkalinity| {
        format!(
            "by the doses and changes logged about {alkalinity:.1} meq/L ({:.0} dKH) of the buffer are left",
            alkalinity / MEQ_PER_DKH
        )
    })
}

/// One substance against its criterion, unless there is nothing to say.
pub fn danger(danger: &Danger) -> Option<String> {
    if danger.severity == Severity::Low {
        return None;
    }
    let (what, unit, digits) = match danger.analyte {
        Analyte::Ammonia => ("un-ionised ammonia", "mg/L NH3", 3),
        Analyte::Nitrite => ("nitrite", "mg/L NO2", 2),
        _ => ("nitrate", "mg/L NO3", 0),
    };
    let level = match danger.bounds {
        Some((low, high)) if high.is_finite() => format!("{low:.digits$} to {high:.digits$} {unit}"),
        Some((low, _)) => format!("more than {low:.digits$} {unit}"),
        None => "not known".to_owned(),
    };
    let missing = danger.missing.map(|missing| format!("; {missing}")).unwrap_or_default();
    Some(format!("for animals: {what} {level}: {} ({}){missing}", danger.severity, danger.criterion))
}
