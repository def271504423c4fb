//! Colours to be matched.

use rand::SeedableRng;
use rand_distr::{Distribution, Normal};
use rand_pcg::Pcg64Mcg;
use tintwell::chart::matching::typical_light;
use tintwell::chart::{Chart, Circumstances};
use tintwell::sample::Veil;

/// What the darkest light in a vial usually allows.
pub const VEIL: Veil = Veil { least: 0.0, most: 0.12, chance: 0.1, misled: 0.1 };

/// A thousand colours all over a chart, a little beside its path, with what their photos tell.
pub fn colours(chart: &Chart) -> Vec<([f64; 3], Circumstances)> {
    let path = &chart.scales[0].ruler(chart.form).unwrap().path;
    let mut random = Pcg64Mcg::seed_from_u64(3);
    let aside = Normal::new(0.0, 0.03).unwrap();
    (0..1000)
        .map(|k| {
            let value = path.first() + (path.last() - path.first()) * f64::from(k) / 1000.0;
            let colour = typical_light(path, value).map(|light| light * f64::exp(aside.sample(&mut random)));
            let residual = 0.02 + 0.02 * f64::from(k % 5);
            let lamp = (aside.sample(&mut random), 0.3);
            (colour, Circumstances { residual, hue_shift: 0.03, lamp, mixed: [0.0; 3], unevenness: 0.0 })
        })
        .collect()
}
