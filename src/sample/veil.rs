//! How much light of the room may lie over a sample: steam, or a window mirrored all over it.
//!
//! A veil adds the same light everywhere, and in every channel if it is white. A liquid's surface, where
//! the meniscus bends the light away, is darker than the liquid by a factor, and no less saturated: the
//! light that comes from there has gone through the liquid too, some of it a longer way. So the veil can be
//! no brighter than the surface's darkest channel; and were the factor the same in all channels, the veil
//! would be the light at which surface and liquid come out alike when both are drawn on to darker channels.
//! A longer way darkens dark channels more, which only draws that light down: it is a lower bound.
//!
//! Of a veil on a pad the bare strip beside it tells, as far as it lies there too: a mirrored window makes
//! it brighter than the rest of the strip, or the whole strip brighter than white paper; steam, darker than
//! white plastic, makes it darker, which no shadow does that falls on the paper beside it as well.

use crate::terms::space::Relative;

/// By how much of itself either colour of the surface may be off against the liquid's: it mirrors the
/// room, and is looked at over other pixels. Of 152 rendered photos without a veil the lower bound then
/// comes out at 0.003 in the ninth of ten and at 0.072 at most.
const SURFACE_ERROR: f64 = 0.1;
/// Channels nearer to each other than this tell nothing, share of paper white.
const LEAST_CONTRAST: f64 = 0.02;
/// A surface that follows the liquid's colours this closely is no dark line, only another shade.
const MOST_SLOPE: f64 = 0.95;
/// How often a veil lies all over a vial's liquid, as far as nothing else tells: a guess, no source.
const ON_LIQUID: f64 = 0.05;

/// How often a surface claims a veil where there is none: a grey line that was not seen through the liquid, say.
/// A guess, no source.
const MISLED_BY_SURFACE: f64 = 0.1;

/// The bare strip beside a pad differs from that elsewhere by no more without a veil. Of 48 pads in
/// rendered photos the factor is 0.984 to 1.015.
const EVEN_STRIP: f64 = 0.03;
/// No plastic is brighter against white paper.
const BRIGHTEST_STRIP: f64 = 1.12;
/// Light of steam against what it takes of the light behind, at most this many times.
const MOST_OF_STEAM: f64 = 6.0;
/// How often a veil lies on a pad where the bare strip beside it looks as elsewhere, and where it does not:
/// guesses, no source. No dark place bounds it there.
const ON_PAD: f64 = 0.1;
const ON_UNEVEN_STRIP: f64 = 0.5;

/// What around a sample tells of a veil on it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Around {
    /// Colour of a liquid's surface where it is darkest, relative to paper.
    Surface(Relative),
    /// The bare strip at a pad.
    Strip(BareStrip),
}

/// Light of a strip without pads.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BareStrip {
    /// Beside a pad, against the whole strip's.
    pub beside: f64,
    /// Of the whole strip, against the paper's.
    pub whole: f64,
}

/// Bounds of a white veil, share of paper white.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Veil {
    /// At least so much.
    pub least: f64,
    /// At most so much.
    pub most: f64,
    /// Probability that there is one, before the sample's colour is compared with a chart.
    pub chance: f64,
    /// How often the lower bound is claimed where there is none.
    pub misled: f64,
}

impl Veil {
    /// From the colour of a liquid and that of its dark surface.
    pub fn over_liquid(liquid: Relative, surface: Relative) -> Self {
        let most = darkest(surface).min(darkest(liquid));
        let is_darker = (0..3).all(|c| surface[c] < liquid[c]);
        let pairs = [(0, 1), (0, 2), (1, 2)];
        let bounds = pairs.into_iter().filter(|_| is_darker).filter_map(|(a, b)| {
            let (dark, light) = if liquid[a] < liquid[b] { (a, b) } else { (b, a) };
            least_of([liquid[dark], liquid[light]], [surface[dark], surface[light]])
        });
        Self {
            least: bounds.fold(0.0, f64::max).min(most),
            most,
            chance: ON_LIQUID,
            misled: MISLED_BY_SURFACE,
        }
    }

    /// From the colour of a pad and the bare strip at it.
    pub fn over_pad(pad: Relative, strip: BareStrip) -> Self {
        let darkest = darkest(pad);
        let brighter = ((strip.beside - 1.0 - EVEN_STRIP) * strip.whole).max(strip.whole - BRIGHTEST_STRIP);
        let darker = 1.0 - strip.beside;
        let (least, most, chance) = if brighter > 0.0 {
            (brighter.min(darkest), darkest, ON_UNEVEN_STRIP)
        } else if darker > EVEN_STRIP {
            (0.0, darkest.min(MOST_OF_STEAM * darker), ON_UNEVEN_STRIP)
        } else {
            (0.0, darkest, ON_PAD)
        };
        // The strip's own light beside the pad is no guess at what lies before it.
        Self { least, most, chance, misled: 0.0 }
    }
}

fn darkest(colour: Relative) -> f64 {
    colour.into_iter().fold(f64::INFINITY, f64::min)
}

/// The lower bound that a darker and a lighter channel give: where the line through both, surface against
/// liquid, meets that of equal light, if both are off to the side that makes it least.
fn least_of(liquid: [f64; 2], surface: [f64; 2]) -> Option<f64> {
    let surface = [surface[0] * (1.0 - SURFACE_ERROR), surface[1] * (1.0 + SURFACE_ERROR)];
    let contrast = liquid[1] - liquid[0];
    let slope = (surface[1] - surface[0]) / contrast;
    let is_told = contrast > LEAST_CONTRAST && (0.0..MOST_SLOPE).contains(&slope);
    is_told.then(|| (surface[0] - slope * liquid[0]) / (1.0 - slope))
}

#[cfg(test)]
mod tests {
    use super::*;

    const LIQUID: Relative = [0.7, 0.1, 0.5];

    fn veiled(colour: Relative, by: f64) -> Relative {
        colour.map(|light| light + by)
    }

    #[test]
    fn the_veil_lies_between_the_bounds_however_long_the_way_along_the_surface() {
        for by in [0.05, 0.15, 0.3] {
            for length in [1.0, 1.3, 1.8] {
                let surface = LIQUID.map(|light: f64| 0.4 * light.powf(length));
                let Veil { least, most, .. } = Veil::over_liquid(veiled(LIQUID, by), veiled(surface, by));
                assert!(least <= by && by <= most, "{by} {length}: {least}..{most}");
            }
            let surface = LIQUID.map(|light| 0.4 * light);
            let Veil { least, .. } = Veil::over_liquid(veiled(LIQUID, by), veiled(surface, by));
            assert!(least > 0.5 * by - 0.01, "{by}: {least}");
        }
    }

    #[test]
    fn without_a_veil_none_is_claimed() {
        for length in [1.0, 1.3, 1.8] {
            let surface = LIQUID.map(|light: f64| 0.4 * light.powf(length));
            assert!(Veil::over_liquid(LIQUID, surface).least < 1e-9);
        }
    }

    /// A grey line that is lighter than the liquid's dark channel was not seen through the liquid.
    #[test]
    fn a_surface_that_is_not_darker_all_over_shows_no_veil_and_the_liquid_bounds_it() {
        let veil = Veil::over_liquid(LIQUID, [0.5, 0.5, 0.5]);
        assert_eq!((veil.least, veil.most), (0.0, 0.1));
    }

    #[test]
    fn a_liquid_without_colour_tells_an_upper_bound_alone() {
        let veil = Veil::over_liquid([0.75, 0.76, 0.74], [0.36, 0.37, 0.34]);
        assert_eq!((veil.least, veil.most), (0.0, 0.34));
    }

    #[test]
    fn the_bare_strip_beside_a_pad_tells_a_veil_that_reaches_over_it() {
        let seen = |beside: f64, whole: f64| Veil::over_pad([0.9, 0.4, 0.5], BareStrip { beside, whole });
        let even = seen(1.0, 1.04);
        assert_eq!((even.least, even.most), (0.0, 0.4));
        // A window of a quarter of paper's light, over this pad and over the whole strip.
        let (here, everywhere) = (seen(1.24, 1.04), seen(1.0, 1.29));
        assert!((0.15..=0.25).contains(&here.least) && (0.15..=0.25).contains(&everywhere.least));
        // Steam that hides three tenths and is as bright as eight tenths of paper.
        let steam = seen(0.7 + 0.24 / 1.04, 1.04);
        assert!(steam.least == 0.0 && steam.most >= 0.24, "{steam:?}");
        assert!(here.chance > even.chance && steam.chance > even.chance);
    }
}
