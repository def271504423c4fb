//! From levels to masses and volumes, in one dilution or two, with the uncertainty of what is made.

use super::error::{StandardsError, in_range};
use super::salt::{SALTS, Salt};
use super::ware::{Measure, Ware, rectangular};
use crate::terms::{Analyte, Unit};

/// What is wanted and what there is.
#[derive(Debug, Clone, PartialEq)]
pub struct Request {
    /// What the standards are of.
    pub analyte: Analyte,
    /// The salt to weigh.
    pub salt: &'static Salt,
    /// Molecules of water of crystallisation in it.
    pub water: f64,
    /// Share of the weighed powder that is the salt.
    pub purity: f64,
    /// Limit of the purity's error, share.
    pub purity_tolerance: f64,
    /// Unit of levels and stock.
    pub unit: Unit,
    /// Wanted levels, in that unit.
    pub levels: Vec<f64>,
    /// Volume of each level, mL.
    pub level_ml: f64,
    /// Volume of the stock, mL.
    pub stock_ml: f64,
    /// Concentration of the stock in that unit; `None` leaves it to the recipe.
    pub stock: Option<f64>,
    /// Scale, syringes, flasks.
    pub ware: Ware,
}

/// One solution that levels are made from.
#[derive(Debug, Clone, PartialEq)]
pub struct Solution {
    /// Concentration, in the unit of the recipe.
    pub concentration: f64,
    /// Volume, mL.
    pub volume_ml: f64,
    /// Relative standard uncertainties that make up its own, each with its cause.
    pub budget: Vec<(&'static str, f64)>,
    /// How the stock in it was measured, if it is a diluted one.
    pub portion: Option<Measure>,
}

impl Solution {
    /// Relative standard uncertainty: the parts are independent, so their squares add (JCGM 100:2008, 5.1.6).
    pub fn relative_uncertainty(&self) -> f64 {
        self.budget.iter().map(|(_, u)| u * u).sum::<f64>().sqrt()
    }
}

/// What a level is taken from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Source {
    /// The stock.
    Stock,
    /// The stock diluted once.
    Working,
}

/// A volume of some solution.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Portion {
    /// Which solution.
    pub source: Source,
    /// How much, and how it is measured.
    pub measure: Measure,
}

/// One standard as it is made.
#[derive(Debug, Clone, PartialEq)]
pub struct Level {
    /// What was asked for.
    pub asked: f64,
    /// What mass and marks really make.
    pub made: f64,
    /// Standard uncertainty of `made`; `None` for the blank, whose water is taken on trust.
    pub uncertainty: Option<f64>,
    /// The part of it that levels share through their solution and their syringe.
    pub shared_uncertainty: Option<f64>,
    /// What goes into the flask besides pure water; `None` for the blank.
    pub portion: Option<Portion>,
}

/// How to mix a series.
#[derive(Debug, Clone, PartialEq)]
pub struct Recipe {
    /// Mass of the powder for the stock, on the scale's steps, g.
    pub mass_g: f64,
    /// The stock.
    pub stock: Solution,
    /// The stock diluted once, if it is too strong for some level.
    pub working: Option<Solution>,
    /// The levels in the order asked for.
    pub levels: Vec<Level>,
}

/// Concentration of a stock for which nothing else is asked, mg/L or the like.
const USUAL_STOCK_MG_L: f64 = 1000.0;
/// The same for alkalinity, meq/L.
const USUAL_STOCK_MEQ_L: f64 = 100.0;
/// A stock is made at least this much stronger than the top level.
const LEAST_STOCK_OVER_TOP: f64 = 5.0;
/// Strongest stock, g/L: all the salts dissolve, and volumes still add up.
const MOST_GRAMS_PER_LITRE: f64 = 80.0;
/// Largest share of a flask that may be stock or working solution.
const MOST_OF_FLASK: f64 = 0.5;
/// Share of a made-up solution that can be drawn out of its flask.
const DRAWABLE: f64 = 0.95;
/// Flasks for a working solution, mL, and dilutions that are tried, the mildest first.
const WORKING_ML: [f64; 4] = [100.0, 250.0, 500.0, 1000.0];
const DILUTIONS: [f64; 4] = [10.0, 20.0, 50.0, 100.0];

/// Works out how to mix a series.
///
/// # Errors
/// The request is impossible with what is at hand; the error says what to change.
pub fn mix(request: &Request) -> Result<Recipe, StandardsError> {
    check(request)?;
    let (mass_g, stock) = stock(request)?;
    if let Some(levels) = levels(request, &stock, None)? {
        return enough(request, Recipe { mass_g, stock, working: None, levels });
    }
    for volume_ml in WORKING_ML {
        for dilution in DILUTIONS {
            let Some(working) = working(request, &stock, volume_ml, dilution) else { continue };
            let Some(levels) = levels(request, &stock, Some(&working))? else { continue };
            if drawn(&levels, Source::Working) <= DRAWABLE * volume_ml {
                return enough(request, Recipe { mass_g, stock, working: Some(working), levels });
            }
        }
    }
    Err(unmeasurable(request, &stock))
}

/// Refuses numbers outside their ranges.
fn check(request: &Request) -> Result<(), StandardsError> {
    in_range("the purity", request.purity, 0.5, 1.0, "above 50 % and at most 100 %")?;
    in_range("the purity's tolerance", request.purity_tolerance, -1e-9, 0.2, "0 to 20 %")?;
    in_range("the water of crystallisation", request.water, -1e-9, 12.0, "0 to 12 molecules")?;
    in_range("the volume of each level", request.level_ml, 0.999, 5000.0, "1 to 5000 mL")?;
    in_range("the volume of the stock", request.stock_ml, 9.999, 5000.0, "10 to 5000 mL")?;
    request.ware.check()?;
    if let Some(stock) = request.stock {
        in_range("the stock", stock, 0.0, 1e6, "above zero")?;
    }
    if request.levels.is_empty() {
        return Err(StandardsError::NoLevels);
    }
    if let Some(&level) = request.levels.iter().find(|level| !level.is_finite() || **level < 0.0) {
        return Err(StandardsError::NegativeLevel(level));
    }
    if request.salt.analyte != request.analyte {
        let words = SALTS.iter().filter(|salt| salt.analyte == request.analyte).map(|salt| salt.word);
        let known = words.collect::<Vec<_>>().join(" or ");
        return Err(StandardsError::WrongSalt { salt: request.salt.word, analyte: request.analyte, known });
    }
    Ok(())
}

/// What one gram of the powder in one litre comes to, in the request's unit.
fn per_gram_in_litre(request: &Request) -> Result<f64, StandardsError> {
    let base = match request.analyte {
        Analyte::Alkalinity => Unit::MeqPerLitre,
        _ => Unit::MgPerLitreN,
    };
    let content = request.salt.base_per_gram(request.water) * request.purity;
    base.convert(content, request.unit, request.analyte)
        .ok_or(StandardsError::Unit { analyte: request.analyte, unit: request.unit })
}

/// The mass on the scale's steps and the stock that it makes.
fn stock(request: &Request) -> Result<(f64, Solution), StandardsError> {
    let per_gram = per_gram_in_litre(request)?;
    let litres = request.stock_ml / 1000.0;
    let wanted = request.stock.unwrap_or_else(|| usual_stock(request));
    let needed = wanted / per_gram * litres;
    let balance = request.ware.balance;
    if needed < balance.least_g() {
        return Err(StandardsError::TooLittleMass { needed, step: balance.step_g, least: balance.least_g() });
    }
    if needed / litres > MOST_GRAMS_PER_LITRE {
        return Err(StandardsError::TooStrong {
            grams_per_litre: needed / litres,
            most: MOST_GRAMS_PER_LITRE,
        });
    }
    let mass = balance.rounded_g(needed);
    let budget = vec![
        ("weighing", balance.uncertainty_g() / mass),
        ("purity of the salt", rectangular(request.purity_tolerance) / request.purity),
        ("flask of the stock", request.ware.flask(request.stock_ml).relative_uncertainty()),
    ];
    let concentration = mass * per_gram / litres;
    Ok((mass, Solution { concentration, volume_ml: request.stock_ml, budget, portion: None }))
}

fn usual_stock(request: &Request) -> f64 {
    let usual = match request.analyte {
        Analyte::Alkalinity => {
            Unit::MeqPerLitre.convert(USUAL_STOCK_MEQ_L, request.unit, Analyte::Alkalinity)
        }
        _ => None,
    };
    let top = request.levels.iter().copied().fold(0.0, f64::max);
    usual.unwrap_or(USUAL_STOCK_MG_L).max(LEAST_STOCK_OVER_TOP * top)
}

/// A diluted stock; `None` if its portion cannot be measured.
fn working(request: &Request, stock: &Solution, volume_ml: f64, dilution: f64) -> Option<Solution> {
    let measure = request.ware.measure(volume_ml / dilution)?;
    let mut budget = stock.budget.clone();
    budget.push(("setting the syringe, first dilution", measure.setting_ml / measure.volume_ml));
    budget.push(("marks of the syringe, first dilution", measure.calibration));
    budget.push(("flask, first dilution", request.ware.flask(volume_ml).relative_uncertainty()));
    let concentration = stock.concentration * measure.volume_ml / volume_ml;
    Some(Solution { concentration, volume_ml, budget, portion: Some(measure) })
}

/// All levels, or `None` if some cannot be measured from these solutions.
fn levels(
    request: &Request,
    stock: &Solution,
    working: Option<&Solution>,
) -> Result<Option<Vec<Level>>, StandardsError> {
    let mut made = Vec::new();
    for &asked in &request.levels {
        if asked == 0.0 {
            made.push(Level { asked, made: 0.0, uncertainty: None, shared_uncertainty: None, portion: None });
            continue;
        }
        let needed = asked / stock.concentration * request.level_ml;
        if needed > MOST_OF_FLASK * request.level_ml {
            let (flask, stock) = (request.level_ml, stock.concentration);
            return Err(StandardsError::FlaskTooSmall { level: asked, needed, flask, stock });
        }
        let of_stock = level(request, asked, stock, Source::Stock);
        let of_working = working.and_then(|solution| level(request, asked, solution, Source::Working));
        let best = of_stock
            .into_iter()
            .chain(of_working)
            .min_by(|a, b| a.uncertainty.partial_cmp(&b.uncertainty).unwrap_or(std::cmp::Ordering::Equal));
        match best {
            Some(level) => made.push(level),
            None => return Ok(None),
        }
    }
    Ok(Some(made))
}

/// One level from one solution; `None` if the volume cannot be measured.
fn level(request: &Request, asked: f64, solution: &Solution, source: Source) -> Option<Level> {
    let needed = asked / solution.concentration * request.level_ml;
    let measure = request.ware.measure(needed).filter(|_| needed <= MOST_OF_FLASK * request.level_ml)?;
    let made = solution.concentration * measure.volume_ml / request.level_ml;
    let shared = shared_with_others(solution, &measure);
    let flask = request.ware.flask(request.level_ml).relative_uncertainty();
    let own = (measure.setting_ml / measure.volume_ml).hypot(flask);
    Some(Level {
        asked,
        made,
        uncertainty: Some(made * shared.hypot(own)),
        shared_uncertainty: Some(made * shared),
        portion: Some(Portion { source, measure }),
    })
}

/// Relative standard uncertainty that a level shares with others: that of its solution and of its
/// syringe's marks. Where the same syringe measured the first dilution, both are wrong by the same share,
/// so that they add as they are and not in squares (JCGM 100:2008, 5.2.2, correlation 1).
fn shared_with_others(solution: &Solution, measure: &Measure) -> f64 {
    let same = solution.portion.filter(|first| first.syringe_ml == measure.syringe_ml);
    let covariance = same.map_or(0.0, |first| first.calibration * measure.calibration);
    (solution.relative_uncertainty().powi(2) + measure.calibration.powi(2) + 2.0 * covariance).sqrt()
}

/// Volume drawn from a solution over all levels, mL.
fn drawn(levels: &[Level], source: Source) -> f64 {
    let portions = levels.iter().filter_map(|level| level.portion);
    portions.filter(|portion| portion.source == source).map(|portion| portion.measure.volume_ml).sum()
}

/// The recipe, if its stock suffices.
fn enough(request: &Request, recipe: Recipe) -> Result<Recipe, StandardsError> {
    let for_working = recipe.working.as_ref().and_then(|w| w.portion).map_or(0.0, |m| m.volume_ml);
    let needed = drawn(&recipe.levels, Source::Stock) + for_working;
    if needed > DRAWABLE * request.stock_ml {
        return Err(StandardsError::NotEnoughStock { needed, volume: request.stock_ml });
    }
    Ok(recipe)
}

/// The error for the level that no syringe measures: the lowest, whose volume is the smallest.
fn unmeasurable(request: &Request, stock: &Solution) -> StandardsError {
    let above_zero = request.levels.iter().copied().filter(|level| *level > 0.0);
    let level = above_zero.fold(f64::INFINITY, f64::min);
    let needed = level / stock.concentration * request.level_ml;
    StandardsError::Unmeasurable { level, needed, least: request.ware.least_ml() }
}

#[cfg(test)]
mod tests;
