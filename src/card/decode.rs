//! Reading the bits of a tag and finding its id.

use super::grey::GreyImage;
use super::homography::Homography;
use super::quads::Quad;
use super::tag36h11;

/// Modules along a side of the black square, its border of one module included.
pub const MODULES: usize = 8;
/// Wrong bits that are still mended: the family's distance is 11, so up to 5 are unambiguous; fewer
/// are accepted so that texture is not read as a tag.
const MOST_WRONG_BITS: u32 = 3;
/// Border modules that may come out white (a fleck, a reflection).
const MOST_WRONG_BORDER: usize = 3;
/// The margin must be brighter than the border by this factor, in linear light.
const LEAST_CONTRAST: f64 = 1.7;

/// A tag with its corners in grey pixels, in the order top left, top right, bottom right, bottom
/// left of the upright tag.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tag {
    /// Number within the family.
    pub id: u16,
    /// Corners of the black square.
    pub corners: Quad,
    /// Wrong bits that were mended.
    pub wrong_bits: u32,
    /// Whether the tag was seen in a mirror.
    pub mirrored: bool,
}

/// Decodes the tag whose black square has these corners; `None` if there is none.
pub fn decode(grey: &GreyImage, quad: &Quad) -> Option<Tag> {
    let square = [(0.0, 0.0), (8.0, 0.0), (8.0, 8.0), (0.0, 8.0)];
    let clockwise = clockwise(quad);
    let modules = Homography::fit(&std::array::from_fn::<_, 4, _>(|k| (square[k], clockwise[k])))?;
    let bits = read_bits(grey, &modules)?;
    let upright = best_match(bits).map(|found| (found, false));
    let ((id, quarter_turns, wrong_bits), mirrored) =
        upright.or_else(|| best_match(mirror(bits)).map(|found| (found, true)))?;
    let corners = if mirrored {
        let flipped = [clockwise[1], clockwise[0], clockwise[3], clockwise[2]];
        std::array::from_fn(|k| flipped[(k + quarter_turns) % 4])
    } else {
        std::array::from_fn(|k| clockwise[(k + quarter_turns) % 4])
    };
    Some(Tag { id: id as u16, corners, wrong_bits, mirrored })
}

/// The corners in clockwise order as seen on the picture (y down), the first one kept.
fn clockwise(quad: &Quad) -> Quad {
    let turn =
        (quad[1].0 - quad[0].0) * (quad[2].1 - quad[1].1) - (quad[1].1 - quad[0].1) * (quad[2].0 - quad[1].0);
    if turn >= 0.0 { *quad } else { [quad[0], quad[3], quad[2], quad[1]] }
}

/// The 36 data bits row by row, first bit highest, 1 = white.
fn read_bits(grey: &GreyImage, modules: &Homography) -> Option<u64> {
    let white = Plane::fit(grey, modules, &ring(-0.6, 8.6))?;
    let black = Plane::fit(grey, modules, &ring(0.5, 7.5))?;
    if white.at(4.0, 4.0) < LEAST_CONTRAST * black.at(4.0, 4.0).max(1e-6) {
        return None;
    }
    let is_white = |u: f64, v: f64| -> Option<bool> {
        Some(module_value(grey, modules, u, v)? > 0.5 * (white.at(u, v) + black.at(u, v)))
    };
    let mut wrong_border = 0;
    for (u, v) in ring(0.5, 7.5) {
        wrong_border += usize::from(is_white(u, v)?);
    }
    if wrong_border > MOST_WRONG_BORDER {
        return None;
    }
    let mut bits = 0_u64;
    for row in 0..6 {
        for column in 0..6 {
            bits = bits << 1 | u64::from(is_white(f64::from(column) + 1.5, f64::from(row) + 1.5)?);
        }
    }
    Some(bits)
}

/// Mean over the middle of a module.
fn module_value(grey: &GreyImage, modules: &Homography, u: f64, v: f64) -> Option<f64> {
    let mut sum = 0.0;
    for dv in [-0.2, 0.0, 0.2] {
        for du in [-0.2, 0.0, 0.2] {
            let (x, y) = modules.apply((u + du, v + dv));
            sum += grey.sample(x, y)?;
        }
    }
    Some(sum / 9.0)
}

/// Module centres on a square ring from `low` to `high`.
fn ring(low: f64, high: f64) -> Vec<(f64, f64)> {
    let steps = MODULES - 1;
    let along = |k: usize| low + (high - low) * k as f64 / steps as f64;
    (0..steps)
        .flat_map(|k| [(along(k), low), (high, along(k)), (along(steps - k), high), (low, along(steps - k))])
        .collect()
}

/// A brightness that varies linearly over the tag: a lamp's fall-off or a shadow's edge.
struct Plane {
    level: f64,
    slope: (f64, f64),
}

impl Plane {
    /// Least squares over a ring, whose symmetry makes the three unknowns independent.
    fn fit(grey: &GreyImage, modules: &Homography, ring: &[(f64, f64)]) -> Option<Self> {
        let (mut level, mut slope, mut square) = (0.0, (0.0, 0.0), 0.0);
        for &(u, v) in ring {
            let value = module_value(grey, modules, u, v)?;
            level += value;
            slope.0 += value * (u - 4.0);
            slope.1 += value * (v - 4.0);
            square += (u - 4.0) * (u - 4.0);
        }
        let count = ring.len() as f64;
        Some(Self { level: level / count, slope: (slope.0 / square, slope.1 / square) })
    }

    fn at(&self, u: f64, v: f64) -> f64 {
        self.level + self.slope.0 * (u - 4.0) + self.slope.1 * (v - 4.0)
    }
}

/// Id, quarter turns (the number of corners by which the upright tag's first corner is behind the
/// first one read) and wrong bits of the nearest code.
fn best_match(bits: u64) -> Option<(usize, usize, u32)> {
    let mut turned = bits;
    for quarter_turns in 0..4 {
        let hit = tag36h11::CODES
            .iter()
            .enumerate()
            .map(|(id, &code)| (id, (code ^ turned).count_ones()))
            .find(|&(_, wrong)| wrong <= MOST_WRONG_BITS);
        if let Some((id, wrong)) = hit {
            return Some((id, quarter_turns, wrong));
        }
        turned = turn_left(turned);
    }
    None
}

/// Bit at a row and a column of the 6 by 6 raster.
fn bit(bits: u64, row: usize, column: usize) -> u64 {
    bits >> (35 - (row * 6 + column)) & 1
}

fn rearranged(source: impl Fn(usize, usize) -> u64) -> u64 {
    (0..36).fold(0, |bits, k| bits << 1 | source(k / 6, k % 6))
}

/// The raster turned by a quarter against the clock: its top right corner becomes its top left.
fn turn_left(bits: u64) -> u64 {
    rearranged(|row, column| bit(bits, column, 5 - row))
}

/// The raster seen in a mirror.
fn mirror(bits: u64) -> u64 {
    rearranged(|row, column| bit(bits, row, 5 - column))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn four_quarter_turns_are_none() {
        let bits = tag36h11::CODES[3];
        assert_eq!((0..4).fold(bits, |b, _| turn_left(b)), bits);
        assert_ne!(turn_left(bits), bits);
    }

    #[test]
    fn a_turned_code_is_found_with_its_turn() {
        let bits = tag36h11::CODES[2];
        let turned = turn_left(turn_left(turn_left(bits)));
        assert_eq!(best_match(turned), Some((2, 1, 0)));
    }

    #[test]
    fn up_to_three_wrong_bits_are_mended_and_four_are_not() {
        let bits = tag36h11::CODES[1];
        assert_eq!(best_match(bits ^ 0b1_0001_0000_0001), Some((1, 0, 3)));
        assert_eq!(best_match(bits ^ 0b1_1001_0000_0001), None);
    }
}
