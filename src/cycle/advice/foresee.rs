//! Harm that the forecast sees coming for the animals in the tank.

use chrono::Duration;

use super::{Advice, CHANGE_CAUTION, rounded};
use crate::cycle::assessment::Assessment;
use crate::cycle::danger::{Conditions, Severity, harmful_from};
use crate::cycle::forecast::{Awaited, Span};
use crate::cycle::series::Series;
use crate::terms::text::shell_word;
use crate::terms::{Analyte, TankFacts};

/// How far ahead a rise is told of, days: what comes later is seen in time by the tests until then.
const DAYS: usize = 7;

/// What is likely to become harmful within a week, as the animals are kept and fed now.
///
/// Without their number the forecast knows nothing of what they give off, and it is asked for.
pub fn foreseen(assessment: &Assessment, series: &Series, facts: &TankFacts) -> Vec<Advice> {
    if assessment.told_on().is_some() {
        return Vec::new();
    }
    if assessment.posterior.awaited() != Awaited::Settling {
        return if assessment.ready { Vec::new() } else { vec![ask_how_many(facts)] };
    }
    let conditions = Conditions::of(series, facts);
    let harms_already = |analyte| {
        assessment
            .dangers
            .iter()
            .any(|danger| danger.analyte == analyte && danger.severity >= Severity::Harmful)
    };
    [Analyte::Ammonia, Analyte::Nitrite]
        .into_iter()
        .filter(|analyte| !harms_already(*analyte))
        .filter_map(|analyte| rise(assessment, analyte, harmful_from(analyte, &conditions)?))
        .collect()
}

/// To say how many fish there are, where the log tells only that there are some.
fn ask_how_many(facts: &TankFacts) -> Advice {
    let how = format!(
        "`tintwell event --tank {} fish_added=NUMBER`, dated when they came",
        shell_word(&facts.tank)
    );
    let why = "the log tells that fish live in the tank, but not how many: what they give off, and when the bacteria will keep up with them, cannot be foreseen";
    Advice::new("log how many fish live in the tank", how, why)
}

/// The rise of `analyte` above `limit`, mg/L, if it is more likely than not.
fn rise(assessment: &Assessment, analyte: Analyte, limit: f64) -> Option<Advice> {
    let course = assessment.course(analyte);
    let week = course.get(..=DAYS)?;
    let passes = week.iter().position(|span| span.middle > limit)?;
    let (at_most, peak) = week.iter().enumerate().max_by(|a, b| a.1.middle.total_cmp(&b.1.middle))?;
    let day = |days: usize| (assessment.at + Duration::days(days as i64)).format("%-d %B");
    let Span { low, middle, high } = *peak;
    let [low, middle, high] = [low, middle, high].map(rounded);
    let when = if passes == 0 { "now or soon".to_owned() } else { format!("about {}", day(passes)) };
    let advice = Advice::new(
        format!("expect {analyte} to rise: test it daily, and change water before it harms"),
        format!("about {middle} mg/L (80 %: {low} to {high}) by {}", day(at_most)),
        format!(
            "by the forecast it passes {} mg/L, from which on it harms, {when}, as the animals are kept and fed now; medium from a running tank's filter would bring the bacteria that are missing",
            rounded(limit)
        ),
    );
    Some(advice.beware(CHANGE_CAUTION))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cycle::fixture::simulated;
    use crate::cycle::{Deed, assess};
    use crate::terms::EventKind;

    /// A tank with fish in it whose bacteria have hardly begun to grow, judged the day after they came.
    fn advice(fish: Option<f64>) -> Vec<Advice> {
        let (mut history, now) = simulated("tank_011");
        history.facts.ammonia_source = Some("fish".to_owned());
        history.deeds.clear();
        history.measurements.retain(|reading| reading.taken_at < now - Duration::days(30));
        history.deeds.extend(fish.map(|count| Deed {
            kind: EventKind::FishAdded,
            amount: Some(count),
            at: now - Duration::days(1),
            note: String::new(),
            is_supposed: false,
        }));
        let assessment = assess(&history, now);
        foreseen(&assessment, &assessment.series, &history.facts)
    }

    #[test]
    fn a_rise_is_told_with_its_day_and_bounds_before_it_harms() {
        let list = advice(Some(30.0));
        assert!(list.iter().any(|advice| advice.action.starts_with("expect ammonia to rise")), "{list:?}");
        assert!(list.iter().all(|advice| advice.amount.contains("(80 %: ")), "{list:?}");
        assert!(list.iter().all(|advice| advice.caution == Some(CHANGE_CAUTION)));
    }

    #[test]
    fn where_their_number_is_not_known_it_is_asked_for() {
        let list = advice(None);
        assert_eq!(list.len(), 1);
        assert_eq!(list[0].action, "log how many fish live in the tank");
    }
}
