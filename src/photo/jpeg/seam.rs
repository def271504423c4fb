//! The seam that a wrong difference of brightness leaves in a picture.
//!
//! A JPEG holds each block's mean as a difference to the block before. A turned bit in one of them may
//! keep the codes in step and lift or lower everything behind it: from one block on, in the middle of
//! a row, the picture has another brightness or colour than above. Along the row's upper edge to the
//! right of that block and its lower edge to the left, there is then one and the same jump. No scene
//! has its edges there.

use image::RgbImage;
use rayon::prelude::*;

/// Least jump that is told, 8-bit steps.
const LEAST_JUMP: i32 = 4;
/// Rows apart over which a jump is taken: colour is stored coarser than brightness, and spread.
const REACH: u32 = 3;
/// Share of the blocks along the seam that must show the jump.
const SEAM_SHARE: f64 = 0.85;
/// Share of a row that must lie on either side of the first wrong block: a scene's level edge may well
/// follow one row of blocks, but not two by turns. More than what the share above leaves.
const SIDE_SHARE: f64 = 0.2;
/// Fewer units of blocks in a row tell too little.
const LEAST_UNITS: usize = 16;

/// Whether a seam runs between units of blocks of this size, in the picture as stored.
pub(super) fn has_seam(picture: &RgbImage, (width, height): (u32, u32)) -> bool {
    let columns = (picture.width() / width) as usize;
    let rows = picture.height() / height;
    if columns < LEAST_UNITS {
        return false;
    }
    let jumps: Vec<[i32; 3]> = (1..rows)
        .into_par_iter()
        .filter(|row| row * height + 2 * REACH <= picture.height())
        .flat_map_iter(|row| {
            let lines = lines_about(picture, row * height);
            (0..columns).map(move |column| jump(lines, (column * width as usize, width as usize)))
        })
        .collect();
    (0..3).any(|channel| {
        let values: Vec<i32> = jumps.iter().map(|jump| jump[channel]).collect();
        runs_a_row(&values, columns, 1) || runs_a_row(&values, columns, -1)
    })
}

/// Lines of pixels -5, -2, 1 and 4 about an edge above this row, as far as there are any.
fn lines_about(picture: &RgbImage, y: u32) -> [&[u8]; 4] {
    let line = 3 * picture.width() as usize;
    let rows = [y.saturating_sub(2 + REACH), y - 2, y + 1, (y + 1 + REACH).min(picture.height() - 1)];
    rows.map(|row| &picture.as_raw()[row as usize * line..][..line])
}

/// Widest unit: two blocks are put side by side, or four in rare files, of which the first two do.
const WIDEST: usize = 16;

/// Median jump over a unit's upper edge of brightness and the two differences of colour, without what
/// the slopes above and below account for.
fn jump(lines: [&[u8]; 4], (x0, width): (usize, usize)) -> [i32; 3] {
    let width = width.min(WIDEST);
    let [a, b, c, d] = lines.map(|line| &line[3 * x0..3 * (x0 + width)]);
    let mut values = [[0; WIDEST]; 3];
    for (x, at) in (0..width).map(|x| (x, 3 * x)) {
        let bend = |k: usize| {
            let [a, b, c, d] = [a, b, c, d].map(|line| i32::from(line[at + k]));
            3 * (c - b) + a - d
        };
        let (red, green, blue) = (bend(0), bend(1), bend(2));
        values[0][x] = green / 2;
        values[1][x] = (red - green) / 2;
        values[2][x] = (blue - green) / 2;
    }
    values.map(|mut channel| *channel[..width].select_nth_unstable(width / 2).1)
}

/// Whether the jumps of a whole row of units, begun somewhere in its middle, all go one way and are
/// alike.
fn runs_a_row(jumps: &[i32], columns: usize, sign: i32) -> bool {
    let least = (SEAM_SHARE * columns as f64) as usize;
    let side = (SIDE_SHARE * columns as f64) as usize;
    let is_jump = |value: &i32| usize::from(sign * value >= LEAST_JUMP);
    let mut count: usize = jumps.iter().take(columns).map(is_jump).sum();
    for start in 0..jumps.len().saturating_sub(columns) {
        let column = start % columns;
        if count >= least && (side..columns - side).contains(&column) {
            let mut seam: Vec<i32> = jumps[start..start + columns].iter().map(|value| sign * value).collect();
            let middle = *seam.select_nth_unstable(columns / 2).1;
            let alike = seam.iter().filter(|value| (middle / 2..=2 * middle).contains(*value)).count();
            if alike >= least {
                return true;
            }
        }
        count = count + is_jump(&jumps[start + columns]) - is_jump(&jumps[start]);
    }
    false
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A sloping, textured picture of 320 x 240.
    fn scene() -> RgbImage {
        RgbImage::from_fn(320, 240, |x, y| {
            let texture = ((x * 7 + y * 13) % 5) as u8;
            image::Rgb([90 + (y / 4) as u8 + texture, 100 + (x / 8) as u8 + texture, 80 + texture])
        })
    }

    fn lifted(picture: &RgbImage, from: impl Fn(u32, u32) -> bool, by: [u8; 3]) -> RgbImage {
        let mut picture = picture.clone();
        for (x, y, pixel) in picture.enumerate_pixels_mut() {
            if from(x, y) {
                (0..3).for_each(|k| pixel.0[k] += by[k]);
            }
        }
        picture
    }

    #[test]
    fn a_jump_begun_within_a_row_is_a_seam() {
        let wrong = |x: u32, y: u32| y / 16 > 7 || (y / 16 == 7 && x >= 128);
        assert!(!has_seam(&scene(), (16, 16)));
        assert!(has_seam(&lifted(&scene(), wrong, [9, 9, 9]), (16, 16)), "brightness");
        assert!(has_seam(&lifted(&scene(), wrong, [9, 0, 0]), (16, 16)), "colour");
    }

    #[test]
    fn edges_of_the_scene_are_none() {
        let level = lifted(&scene(), |_, y| y >= 112, [30, 30, 30]);
        let slanting = lifted(&scene(), |x, y| 10 * y >= 1000 + x, [30, 30, 30]);
        let corner = lifted(&scene(), |x, y| x >= 128 && y >= 112, [30, 30, 30]);
        for picture in [level, slanting, corner] {
            assert!(!has_seam(&picture, (16, 16)));
        }
    }
}
