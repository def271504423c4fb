//! Two narrow vials, or one and a part of another, that are together as wide as a wide one.
//!
//! Inside one vial no dark line runs down the glass: it is dark at the rims alone, where light runs along
//! the wall. Where two vials touch, two rims stand side by side in the middle, through the liquid and
//! through the empty glass above it. Reflections make lines too, but those are bright, and what looks dark
//! between two of them is as bright as the rest of the glass.

use super::column::Axis;
use super::raster::Raster;
use crate::math::stats;

/// Share of the width about its middle in which two vials may touch: they need not be of one kind, and of
/// the second only the part in the window may have been seen.
const MIDDLE_SHARE: f64 = 0.66;
/// Share of the width about its middle that shows no wall of the whole.
const INSIDE_SHARE: f64 = 0.76;
/// Two rims take less than this share of it.
const DARK_SHARE: f64 = 0.25;
/// Half the width of what two rims make dark at least, mm.
const HALF_RIMS_MM: f64 = 0.4;
/// What is compared with them lies from here to there to either side, mm.
const BESIDE_MM: (f64, f64) = (1.8, 3.2);
/// Empty glass that is looked at: from here to there above the measured liquid, mm.
const GLASS_MM: (f64, f64) = (13.0, 5.5);
/// By how much the rims are darker than both sides and than the rest at least, natural logarithm. Of 797
/// rendered photos of single vials of 16 mm and more the darkest line is darker by 0.21 in the middle two
/// fifths, and of 208 by 0.18 wherever it is looked for; rims that let half of the paper's light pass are by
/// 0.69.
const DARKER: f64 = 0.25;

/// The same of glass alone where the liquids beside the line have different colours: of 237 rendered photos of
/// single vials the darkest line is darker by 0.22 (by 0.32 under a reflection that hides the liquid), of 358
/// abused ones and 482 of another renderer none comes near; nine in ten pairs of vials are by 0.37 to 0.59.
const CLEARLY_DARKER: f64 = 0.35;
/// By how much two liquids differ at least in one channel against another, natural logarithm.
const OTHER_COLOUR: f64 = 0.2;

/// Whether a dark line runs down between the walls: through the glass above the liquid and the liquid too; or,
/// since rims are no darker than a dark liquid, through the glass and between liquids of two colours. A line
/// of the glass alone is not enough: print makes such lines.
pub fn are_two(raster: &Raster, axis: &Axis, width: f64, liquid: (f64, f64)) -> bool {
    let glass = (liquid.0 - GLASS_MM.0, liquid.0 - GLASS_MM.1);
    let half = MIDDLE_SHARE * width / 2.0;
    let both = [liquid, glass].map(|rows| Profile::new(raster, axis, INSIDE_SHARE * width / 2.0, rows));
    let [Some(liquid), Some(glass)] = both else { return false };
    let count = (2.0 * half / raster.step()) as usize;
    (0..=count).map(|k| raster.step() * k as f64 - half).any(|x| {
        let above = glass.darker_at(x);
        let is_through = above > DARKER && liquid.darker_at(x) > DARKER;
        is_through || (above > CLEARLY_DARKER && liquid.change_of_colour_at(x) > OTHER_COLOUR)
    })
}

/// Light across the vial, median over some rows, natural logarithm.
struct Profile {
    colours: Vec<[f64; 3]>,
    /// The channel that passes best.
    best: usize,
    reach: f64,
    step: f64,
    inside: f64,
}

impl Profile {
    fn new(raster: &Raster, axis: &Axis, reach: f64, rows: (f64, f64)) -> Option<Self> {
        let step = raster.step();
        let count = (2.0 * reach / step) as usize;
        let colours: Vec<[f64; 3]> =
            (0..count).map(|k| column(raster, axis, step * k as f64 - reach, rows)).collect::<Option<_>>()?;
        let sum = |channel: usize| colours.iter().map(|log| log[channel]).sum::<f64>();
        let best = (0..3).max_by(|a, b| sum(*a).total_cmp(&sum(*b)))?;
        let light: Vec<f64> = colours.iter().map(|log| log[best]).collect();
        let inside = stats::quantile(&light, DARK_SHARE)?;
        Some(Self { colours, best, reach, step, inside })
    }

    /// By how much it is darker about a place than to both sides and than the rest of the inside.
    fn darker_at(&self, x: f64) -> f64 {
        let [left, right] = self.beside(x, self.best);
        let here = self.between(x - HALF_RIMS_MM, x + HALF_RIMS_MM, self.best);
        left.min(right).min(self.inside) - here
    }

    /// How much more the light changes from one side of a place to the other in one channel than in another.
    fn change_of_colour_at(&self, x: f64) -> f64 {
        let changes = [0, 1, 2].map(|channel| {
            let [left, right] = self.beside(x, channel);
            right - left
        });
        let most = changes.into_iter().fold(f64::NEG_INFINITY, f64::max);
        most - changes.into_iter().fold(f64::INFINITY, f64::min)
    }

    /// To the left and to the right of a place.
    fn beside(&self, x: f64, channel: usize) -> [f64; 2] {
        let (near, far) = BESIDE_MM;
        [self.between(x - far, x - near, channel), self.between(x + near, x + far, channel)]
    }

    fn between(&self, x0: f64, x1: f64, channel: usize) -> f64 {
        let last = self.colours.len() - 1;
        let index = |x: f64| (((x + self.reach) / self.step).round().max(0.0) as usize).min(last);
        let light = self.colours[index(x0)..=index(x1)].iter().map(|colour| colour[channel]);
        stats::median_of(light).unwrap_or(self.inside)
    }
}

/// Median over the rows at a distance from the axis.
fn column(raster: &Raster, axis: &Axis, x: f64, (y0, y1): (f64, f64)) -> Option<[f64; 3]> {
    let logs: Vec<[f64; 3]> = raster
        .row_range(y0, y1)
        .filter_map(|row| {
            let column = raster.column_of(axis.x_at(raster.y(row as f64)) + x).round();
            let is_inside = column >= 0.0 && column < raster.columns() as f64;
            is_inside.then(|| raster.log(column as usize, row)).flatten()
        })
        .collect();
    let channel = |k: usize| stats::median(&logs.iter().map(|log| log[k]).collect::<Vec<_>>());
    Some([channel(0)?, channel(1)?, channel(2)?])
}
