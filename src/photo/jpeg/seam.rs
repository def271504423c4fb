//! The seam that a wrong difference of brightness leaves in a picture.
//!
//! A JPEG holds each block's mean as a difference to the block before. A turned bit in one of them may
//! keep the codes in step and lift or lower everything behind it: from one block on, in the middle of
//! a row, the picture has another brightness or colour than above. Along the row's upper edge to the
//! right of that block and its lower edge to the left, there is then one and the same jump. No scene
//! has its edges there. The means alone show it, and spare the noise.

use super::frame::{Component, Frame};

/// Least jumps that are told of brightness and of colour, sixteenths of an 8-bit step: one of Cb or Cr
/// moves blue or red against green twice as far (ITU-T T.871).
const LEAST_JUMPS: [i32; 2] = [4 * 16, 2 * 16];
/// Share of the blocks along the seam that must show the jump.
const SEAM_SHARE: f64 = 0.85;
/// Share of a row that must lie on either side of the first wrong block: a scene's level edge may well
/// follow one row of blocks, but not two by turns. More than what the share above leaves.
const SIDE_SHARE: f64 = 0.2;
/// Fewer blocks in a row tell too little.
const LEAST_BLOCKS: usize = 16;

/// Whether a seam runs between rows of units in brightness or one of the colours.
pub(super) fn has_seam(frame: &Frame) -> bool {
    let [brightness, colour] = LEAST_JUMPS;
    let least = std::iter::once(brightness).chain(std::iter::repeat(colour));
    let mut planes = frame.components.iter().map(|own| Plane::of(own, frame.mean_step(own))).zip(least);
    planes.any(|(plane, least)| plane.has_seam(least))
}

/// The means of one component's blocks.
struct Plane<'a> {
    /// Row by row, in units of `step`.
    means: &'a [i16],
    /// Eighths of an 8-bit step.
    step: i32,
    /// Blocks across and along that hold picture, and across with those that do not.
    blocks: (usize, usize),
    stride: usize,
    /// Rows of blocks in a row of units.
    unit: usize,
}

impl<'a> Plane<'a> {
    fn of(component: &'a Component, step: i64) -> Self {
        Self {
            means: &component.means,
            step: step as i32,
            blocks: component.blocks,
            stride: component.stride,
            unit: component.unit.1,
        }
    }

    fn has_seam(&self, least_jump: i32) -> bool {
        let (columns, rows) = self.blocks;
        if columns < LEAST_BLOCKS {
            return false;
        }
        let edges = (1..).map(|unit| unit * self.unit).take_while(|row| row + 1 < rows);
        let jumps: Vec<i32> = edges.flat_map(|row| self.jumps(row)).collect();
        let signs: Vec<i32> =
            [1, -1].into_iter().filter(|&sign| may_run(&jumps, columns, sign, least_jump)).collect();
        if signs.is_empty() {
            return false;
        }
        let mut heights: Vec<i32> = jumps.iter().map(|jump| jump.abs()).collect();
        let middle = (heights.len() - 1) / 2;
        let texture = *heights.select_nth_unstable(middle).1;
        signs.into_iter().any(|sign| runs_a_row(&jumps, columns, sign, least_jump, texture))
    }

    /// Jumps over the upper edge of a row of blocks, without what the slopes above and below account
    /// for, sixteenths of an 8-bit step.
    fn jumps(&self, row: usize) -> impl Iterator<Item = i32> {
        let line = |row: usize| self.means[row * self.stride..][..self.blocks.0].iter();
        let lines = line(row.saturating_sub(2)).zip(line(row - 1)).zip(line(row)).zip(line(row + 1));
        lines.map(|(((&a, &b), &c), &d)| {
            let [a, b, c, d] = [a, b, c, d].map(i32::from);
            self.step * (3 * (c - b) + a - d)
        })
    }
}

/// Jumps that all must go one way in a row of so many.
fn least_along(columns: usize) -> usize {
    (SEAM_SHARE * columns as f64) as usize
}

/// Whether two rows next to each other hold as many jumps one way as a seam has: nearly always they do
/// not, and that is soon told.
fn may_run(jumps: &[i32], columns: usize, sign: i32, least_jump: i32) -> bool {
    let count = |row: &[i32]| row.iter().filter(|&&jump| sign * jump >= least_jump).count();
    let counts: Vec<usize> = jumps.chunks(columns).map(count).collect();
    counts.windows(2).any(|pair| pair[0] + pair[1] >= least_along(columns))
}

/// Whether the jumps of a whole row of blocks, begun somewhere in its middle, all go one way and are
/// alike but for the picture's texture. A level edge of the scene that slants by about a unit across the
/// picture also leaves a jump all along, but one that grows from end to end.
fn runs_a_row(jumps: &[i32], columns: usize, sign: i32, least_jump: i32, texture: i32) -> bool {
    let least = least_along(columns);
    let side = (SIDE_SHARE * columns as f64) as usize;
    let is_jump = |value: &i32| usize::from(sign * value >= least_jump);
    let mut count: usize = jumps.iter().take(columns).map(is_jump).sum();
    for start in 0..jumps.len().saturating_sub(columns) {
        if count >= least && (side..columns - side).contains(&(start % columns)) {
            let mut seam: Vec<i32> = jumps[start..start + columns].iter().map(|value| sign * value).collect();
            let middle = *seam.select_nth_unstable(columns / 2).1;
            let tolerance = middle / 4 + 3 * texture;
            let alike = seam.iter().filter(|value| (*value - middle).abs() <= tolerance).count();
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

    const BLOCKS: (usize, usize) = (40, 30);

    /// Means of a sloping, textured picture of 40 x 30 blocks, lifted where asked for.
    fn means(is_lifted: impl Fn(usize, usize) -> bool, by: i16) -> Vec<i16> {
        let at = |x: usize, y: usize| (x + 2 * y + (x * 7 + y * 13) % 3) as i16;
        let places = (0..BLOCKS.1).flat_map(|y| (0..BLOCKS.0).map(move |x| (x, y)));
        places.map(|(x, y)| 8 * at(x, y) + if is_lifted(x, y) { 8 * by } else { 0 }).collect()
    }

    fn has_seam(means: &[i16]) -> bool {
        Plane { means, step: 1, blocks: BLOCKS, stride: BLOCKS.0, unit: 2 }.has_seam(LEAST_JUMPS[0])
    }

    #[test]
    fn a_jump_begun_within_a_row_is_a_seam() {
        let wrong = |x: usize, y: usize| y / 2 > 7 || (y / 2 == 7 && x >= 16);
        assert!(!has_seam(&means(|_, _| false, 0)));
        assert!(has_seam(&means(wrong, 9)));
        assert!(has_seam(&means(wrong, -9)));
    }

    #[test]
    fn edges_of_the_scene_are_none() {
        assert!(!has_seam(&means(|_, y| y >= 14, 30)), "level");
        assert!(!has_seam(&means(|x, y| 10 * y >= 125 + x, 30)), "slanting");
        assert!(!has_seam(&means(|x, y| x >= 16 && y >= 14, 30)), "corner");
    }

    #[test]
    fn an_edge_that_slants_by_a_unit_across_the_picture_is_none() {
        let (columns, rows) = BLOCKS;
        // Means of blocks that an edge covers in part: 60 steps darker below it.
        let covered = |x: usize, y: usize, slant: f64| {
            (y as f64 - 13.0 - slant * x as f64 / columns as f64).clamp(0.0, 1.0)
        };
        for slant in [-3.0, -2.0, -1.0, 1.0, 2.0, 3.0] {
            let sound = means(|_, _| false, 0);
            let places = (0..rows).flat_map(|y| (0..columns).map(move |x| (x, y)));
            let lifted =
                |(mean, (x, y)): (&i16, (usize, usize))| mean + (8.0 * 60.0 * covered(x, y, slant)) as i16;
            assert!(!has_seam(&sound.iter().zip(places).map(lifted).collect::<Vec<_>>()), "{slant}");
        }
    }
}
