//! Filters that change every pixel's light by itself, as editors have them.

use super::abuse::Rgb;

/// Each channel by a factor.
pub fn scale(light: Rgb, by: Rgb) -> Rgb {
    std::array::from_fn(|k| light[k] * by[k])
}

/// Relative luminance (Rec. 709).
pub fn luminance(light: Rgb) -> f64 {
    0.2126 * light[0] + 0.7152 * light[1] + 0.0722 * light[2]
}

/// Saturation of the encoded values by a factor.
pub fn saturated(light: Rgb, by: f64) -> Rgb {
    let encoded = light.map(|v| v.max(0.0).powf(1.0 / 2.2));
    let grey = luminance(encoded);
    encoded.map(|v| (grey + by * (v - grey)).clamp(0.0, 1.0).powf(2.2))
}

/// Saturation up, the more the weaker it is.
pub fn vibrant(light: Rgb) -> Rgb {
    let most = light.into_iter().fold(1e-6, f64::max);
    let least = light.into_iter().fold(most, f64::min).max(0.0);
    saturated(light, 1.0 + 0.6 * least / most)
}

/// Blue in the dark, yellow in the light.
pub fn split_tones(light: Rgb) -> Rgb {
    let y = luminance(light).clamp(0.0, 1.0).powf(1.0 / 2.2);
    let tone = |dark: f64, bright: f64| dark + (bright - dark) * y;
    scale(light, [tone(0.85, 1.06), tone(0.95, 1.02), tone(1.25, 0.88)])
}

/// Half a sepia tone.
pub fn sepia(light: Rgb) -> Rgb {
    let y = luminance(light);
    std::array::from_fn(|k| 0.5 * light[k] + 0.5 * y * [1.15, 0.95, 0.65][k])
}

/// Colours turned about the grey axis.
pub fn turned(l: Rgb, degrees: f64) -> Rgb {
    let (sin, cos) = degrees.to_radians().sin_cos();
    let third = (1.0 - cos) / 3.0;
    let side = sin / 3.0_f64.sqrt();
    std::array::from_fn(|k| {
        let (next, last) = (l[(k + 1) % 3], l[(k + 2) % 3]);
        (cos + third) * l[k] + (third - side) * next + (third + side) * last
    })
}
