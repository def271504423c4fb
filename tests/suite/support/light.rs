//! Linear light of a photo, and its code in a picture.

use tintwell::pipeline::View;

/// sRGB code of linear light, 0 to 255, not rounded (IEC 61966-2-1).
pub fn code(linear: f64) -> f64 {
    let light = linear.clamp(0.0, 1.0);
    255.0 * if light <= 0.003_130_8 { 12.92 * light } else { 1.055 * light.powf(1.0 / 2.4) - 0.055 }
}

/// The same as an 8-bit value.
pub fn code_8_bit(linear: f64) -> u8 {
    code(linear).round() as u8
}

/// Linear light between four pixels.
pub fn light_at(view: &View, (x, y): (f64, f64)) -> [f64; 3] {
    let (width, height) = view.photo.pixels.dimensions();
    let (x, y) = (x.clamp(0.0, f64::from(width) - 1.001), y.clamp(0.0, f64::from(height) - 1.001));
    let (x0, y0) = (x.floor(), y.floor());
    let (fx, fy) = (x - x0, y - y0);
    let at = |dx: u32, dy: u32| view.photo.linear(x0 as u32 + dx, y0 as u32 + dy);
    let (a, b, c, d) = (at(0, 0), at(1, 0), at(0, 1), at(1, 1));
    std::array::from_fn(|k| {
        (a[k] * (1.0 - fx) + b[k] * fx) * (1.0 - fy) + (c[k] * (1.0 - fx) + d[k] * fx) * fy
    })
}
