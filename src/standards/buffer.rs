//! Standards of pH: phosphate buffers mixed from two stocks of equal strength.
//!
//! pH = pKa2 + log10([HPO4 2-] / [H2PO4 -]) with activity coefficients of Davies (1962), which hold to
//! about 0.03 pH at these strengths. Published constants: pKa2 7.198 at 25 degrees Celsius and its slope
//! of -0.0028 a kelvin (Good et al. 1966; from memory, not verified).

use super::error::{StandardsError, in_range};
use super::ware::{Measure, Ware, rectangular};
use crate::terms::unit::atomic_weight::{H, K, NA, O, P};

/// Second dissociation constant of phosphoric acid at 25 degrees Celsius, infinite dilution.
const PKA2_AT_25: f64 = 7.198;
/// Its change with temperature, 1/K.
const PKA2_PER_K: f64 = -0.0028;
/// Debye-Hueckel slope of water at 25 degrees Celsius.
const DEBYE_HUECKEL: f64 = 0.509;
/// What the model may be off by, pH (half-width).
const MODEL_HALF_WIDTH: f64 = 0.05;
/// Concentration of either stock, mol/L: a fifteenth, as in the classic phosphate series.
pub const STOCK_MOL_L: f64 = 1.0 / 15.0;
/// Lowest and highest pH: beyond, one of the two salts is less than a tenth.
pub const RANGE: (f64, f64) = (5.8, 7.8);

/// Molar mass of potassium dihydrogen phosphate, KH2PO4, g/mol.
pub const KH2PO4_G_PER_MOL: f64 = K + 2.0 * H + P + 4.0 * O;
/// Molar mass of disodium hydrogen phosphate without water, Na2HPO4, g/mol.
pub const NA2HPO4_G_PER_MOL: f64 = 2.0 * NA + H + P + 4.0 * O;
/// Molar mass of water, g/mol.
const WATER_G_PER_MOL: f64 = 2.0 * H + O;

/// What is wanted and what there is.
#[derive(Debug, Clone, PartialEq)]
pub struct BufferRequest {
    /// Wanted pH values.
    pub levels: Vec<f64>,
    /// Volume of each, mL.
    pub level_ml: f64,
    /// Volume of either stock, mL.
    pub stock_ml: f64,
    /// Temperature of use, degrees Celsius.
    pub temperature_c: f64,
    /// Molecules of water in the disodium salt (0, 2, 7 or 12).
    pub water: f64,
    /// Limit of the error of either salt's purity, share.
    pub purity_tolerance: f64,
    /// Scale, syringes, flasks.
    pub ware: Ware,
}

/// One buffer.
#[derive(Debug, Clone, PartialEq)]
pub struct Buffer {
    /// What was asked for.
    pub asked: f64,
    /// What the marks really make.
    pub made: f64,
    /// Standard uncertainty, pH.
    pub uncertainty: f64,
    /// Volume of the acid stock (KH2PO4).
    pub acid: Measure,
    /// Volume of the basic stock (Na2HPO4); the two make up the level, nothing is added.
    pub base: Measure,
}

/// How to mix a series of buffers.
#[derive(Debug, Clone, PartialEq)]
pub struct BufferRecipe {
    /// KH2PO4 for its stock, g.
    pub acid_g: f64,
    /// Na2HPO4 with its water for its stock, g.
    pub base_g: f64,
    /// The buffers, in the order asked for.
    pub buffers: Vec<Buffer>,
}

/// pH of a mixture of `acid` and `base` (mol/L of either phosphate) at a temperature.
pub fn ph_of(acid: f64, base: f64, temperature_c: f64) -> f64 {
    // KH2PO4 gives two ions of one charge; Na2HPO4 two sodium ions and one ion of two charges.
    let ionic_strength = acid + 3.0 * base;
    let root = ionic_strength.sqrt();
    let davies = DEBYE_HUECKEL * (root / (1.0 + root) - 0.3 * ionic_strength);
    let pka = PKA2_AT_25 + PKA2_PER_K * (temperature_c - 25.0);
    pka + (base / acid).log10() - 3.0 * davies
}

/// Works out how to mix a series of buffers.
///
/// # Errors
/// A pH out of reach, a volume that no syringe measures, or too little to weigh.
pub fn mix(request: &BufferRequest) -> Result<BufferRecipe, StandardsError> {
    check(request)?;
    let grams = |molar_mass: f64| {
        let balance = request.ware.balance;
        let needed = STOCK_MOL_L * request.stock_ml / 1000.0 * molar_mass;
        let too_little =
            StandardsError::TooLittleMass { needed, step: balance.step_g, least: balance.least_g() };
        if needed < balance.least_g() { Err(too_little) } else { Ok(balance.rounded_g(needed)) }
    };
    let (acid_molar, base_molar) = molar_masses(request.water);
    let (acid_g, base_g) = (grams(acid_molar)?, grams(base_molar)?);
    let buffers =
        request.levels.iter().map(|&ph| buffer(request, (acid_g, base_g), ph)).collect::<Result<_, _>>()?;
    let recipe = BufferRecipe { acid_g, base_g, buffers };
    let total = |part: fn(&Buffer) -> f64| recipe.buffers.iter().map(part).sum::<f64>();
    let needed = total(|b| b.acid.volume_ml).max(total(|b| b.base.volume_ml));
    if needed > 0.95 * request.stock_ml {
        return Err(StandardsError::NotEnoughStock { needed, volume: request.stock_ml });
    }
    Ok(recipe)
}

/// Refuses numbers outside their ranges.
fn check(request: &BufferRequest) -> Result<(), StandardsError> {
    in_range("the volume of each level", request.level_ml, 0.999, 5000.0, "1 to 5000 mL")?;
    in_range("the volume of the stock", request.stock_ml, 9.999, 5000.0, "10 to 5000 mL")?;
    in_range("the temperature", request.temperature_c, 4.999, 40.0, "5 to 40 degrees Celsius")?;
    in_range("the water of crystallisation", request.water, -1e-9, 12.0, "0 to 12 molecules")?;
    in_range("the purity's tolerance", request.purity_tolerance, -1e-9, 0.2, "0 to 20 %")?;
    request.ware.check()?;
    if request.levels.is_empty() { Err(StandardsError::NoLevels) } else { Ok(()) }
}

fn molar_masses(water: f64) -> (f64, f64) {
    (KH2PO4_G_PER_MOL, NA2HPO4_G_PER_MOL + water * WATER_G_PER_MOL)
}

fn buffer(request: &BufferRequest, (acid_g, base_g): (f64, f64), ph: f64) -> Result<Buffer, StandardsError> {
    let (low, high) = RANGE;
    if !(low..=high).contains(&ph) {
        return Err(StandardsError::BufferRange { ph, low, high });
    }
    let (acid_molar, base_molar) = molar_masses(request.water);
    let strength = |grams: f64, molar: f64| grams / molar / (request.stock_ml / 1000.0);
    let (acid_mol, base_mol) = (strength(acid_g, acid_molar), strength(base_g, base_molar));
    let mixed = |base: f64, acid: f64| {
        let total = base + acid;
        ph_of(acid_mol * acid / total, base_mol * base / total, request.temperature_c)
    };
    let share = base_share(|share| mixed(share, 1.0 - share), ph);
    let measured = |volume: f64| {
        let least = request.ware.least_ml();
        request.ware.measure(volume).ok_or(StandardsError::Unmeasurable { level: ph, needed: volume, least })
    };
    let base = measured(share * request.level_ml)?;
    let acid = measured((1.0 - share) * request.level_ml)?;
    let made = mixed(base.volume_ml, acid.volume_ml);
    Ok(Buffer {
        asked: ph,
        made,
        uncertainty: uncertainty(request, (acid_g, base_g), &acid, &base),
        acid,
        base,
    })
}

/// Share of the basic stock at which the mixture reaches a pH, by bisection: pH rises with the share.
fn base_share(ph_at: impl Fn(f64) -> f64, ph: f64) -> f64 {
    let (mut low, mut high) = (1e-6, 1.0 - 1e-6);
    for _ in 0..60 {
        let middle = (low + high) / 2.0;
        if ph_at(middle) < ph { low = middle } else { high = middle }
    }
    (low + high) / 2.0
}

/// The pH follows the logarithm of the two phosphates' ratio, whose relative uncertainties add in squares.
fn uncertainty(request: &BufferRequest, (acid_g, base_g): (f64, f64), acid: &Measure, base: &Measure) -> f64 {
    let purity = rectangular(request.purity_tolerance);
    let weighing = request.ware.balance.uncertainty_g();
    let flask = request.ware.flask(request.stock_ml).relative_uncertainty();
    let stock = |grams: f64| [purity, weighing / grams, flask];
    // Marks of one syringe that are wrong are wrong for both volumes and leave their ratio alone.
    let is_same = acid.syringe_ml == base.syringe_ml;
    let volume = |m: &Measure| if is_same { m.setting_ml / m.volume_ml } else { m.relative_uncertainty() };
    let volumes = [volume(acid), volume(base)];
    let parts = stock(acid_g).into_iter().chain(stock(base_g)).chain(volumes);
    let ratio = parts.map(|u| u * u).sum::<f64>().sqrt();
    (ratio / std::f64::consts::LN_10).hypot(rectangular(MODEL_HALF_WIDTH))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::standards::ware::{Balance, Syringe};
    use approx::assert_abs_diff_eq;

    fn request(levels: &[f64]) -> BufferRequest {
        let syringe = |capacity_ml, graduation_ml| Syringe { capacity_ml, graduation_ml, tolerance: 0.05 };
        BufferRequest {
            levels: levels.to_vec(),
            level_ml: 50.0,
            stock_ml: 500.0,
            temperature_c: 25.0,
            water: 0.0,
            purity_tolerance: 0.01,
            ware: Ware {
                balance: Balance { step_g: 0.01 },
                syringes: vec![syringe(1.0, 0.01), syringe(20.0, 0.5)],
                flask_tolerance: 0.01,
            },
        }
    }

    /// NIST primary standard of pH, equimolal phosphate 0.025 mol/kg of each: 6.865 at 25 degrees Celsius,
    /// 6.881 at 20 (from memory, not verified); the tolerance is the model's own 0.03.
    #[test]
    fn the_primary_phosphate_standard_is_met_within_the_models_error() {
        assert_abs_diff_eq!(ph_of(0.025, 0.025, 25.0), 6.865, epsilon = 0.03);
        assert_abs_diff_eq!(ph_of(0.025, 0.025, 20.0), 6.881, epsilon = 0.03);
    }

    #[test]
    fn buffers_come_out_close_to_what_was_asked_for_in_rising_order() {
        let recipe = mix(&request(&[6.0, 6.4, 6.6, 6.8, 7.0, 7.2, 7.6])).unwrap();
        for buffer in &recipe.buffers {
            assert_abs_diff_eq!(buffer.made, buffer.asked, epsilon = 0.02);
            assert_abs_diff_eq!(buffer.acid.volume_ml + buffer.base.volume_ml, 50.0, epsilon = 0.6);
            assert!(buffer.uncertainty > 0.025 && buffer.uncertainty < 0.06, "{}", buffer.uncertainty);
        }
        let base: Vec<f64> = recipe.buffers.iter().map(|b| b.base.volume_ml).collect();
        assert!(base.windows(2).all(|pair| pair[0] < pair[1]));
    }

    #[test]
    fn what_phosphate_cannot_hold_is_refused() {
        assert!(matches!(mix(&request(&[8.4])), Err(StandardsError::BufferRange { .. })));
        assert_eq!(mix(&request(&[])), Err(StandardsError::NoLevels));
        let hot = BufferRequest { temperature_c: 90.0, ..request(&[7.0]) };
        assert_eq!(
            mix(&hot).unwrap_err().to_string(),
            "the temperature is 90, but must be 5 to 40 degrees Celsius"
        );
        assert!(matches!(mix(&request(&[f64::NAN])), Err(StandardsError::BufferRange { .. })));
    }
}
