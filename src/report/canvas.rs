//! A picture to draw on: areas, lines with soft edges, and plain words.

use image::{Rgb as Pixel, RgbImage};

use super::look::Rgb;
use crate::card::layout::PointMm;
use crate::card::print::glyphs;

/// A point in pixels from the top left corner.
pub type At = (f64, f64);

/// The picture under work.
pub struct Canvas {
    /// What was drawn so far.
    pub image: RgbImage,
}

impl Canvas {
    /// An empty picture of one colour.
    pub fn new(width: u32, height: u32, ground: Rgb) -> Self {
        Self { image: RgbImage::from_pixel(width, height, Pixel(ground)) }
    }

    /// A filled rectangle.
    pub fn fill(&mut self, (x, y): At, width: f64, height: f64, rgb: Rgb) {
        self.paint((x, y), (x + width, y + height), rgb, |px, py| {
            let covered = |low: f64, high: f64, at: f64| (high.min(at + 1.0) - low.max(at)).clamp(0.0, 1.0);
            covered(x, x + width, px) * covered(y, y + height, py)
        });
    }

    /// A line through points, its ends round.
    pub fn line(&mut self, points: &[At], thickness: f64, rgb: Rgb) {
        let reach = thickness / 2.0 + 1.0;
        for pair in points.windows(2) {
            let ((ax, ay), (bx, by)) = (pair[0], pair[1]);
            let low = (ax.min(bx) - reach, ay.min(by) - reach);
            let high = (ax.max(bx) + reach, ay.max(by) + reach);
            self.paint(low, high, rgb, |px, py| {
                let away = distance_to_segment((px + 0.5, py + 0.5), pair[0], pair[1]);
                (thickness / 2.0 - away + 0.5).clamp(0.0, 1.0)
            });
        }
    }

    /// A closed line, dark on a light rim so that it shows on any photo.
    pub fn outline(&mut self, corners: &[At], thickness: f64, rgb: Rgb) {
        let mut closed = corners.to_vec();
        closed.extend(corners.first());
        self.line(&closed, thickness + 2.5, [255; 3]);
        self.line(&closed, thickness, rgb);
    }

    /// Words on one line, from their left end and baseline, capitals of a height; letters without a
    /// glyph show as question marks.
    pub fn words(&mut self, words: &str, (left, baseline): At, height: f64, rgb: Rgb) {
        let weight = (glyphs::WEIGHT * height).max(1.3);
        for line in glyphs::strokes(&drawable(words), left, baseline, height) {
            let points: Vec<At> = line.iter().map(|&PointMm { x, y }| (x, y)).collect();
            self.line(&points, weight, rgb);
        }
    }

    /// Words on a plate of their own, for on a photo.
    pub fn plate(&mut self, words: &str, (left, baseline): At, height: f64, rgb: Rgb) {
        let width = width_of(words, height);
        let inside = f64::from(self.image.width()) - width - height;
        let left = left.min(inside).max(height * 0.5);
        let baseline = baseline.max(height * 1.6);
        self.fill((left - height * 0.5, baseline - height * 1.5), width + height, height * 2.1, rgb);
        self.words(words, (left, baseline), height, [255; 3]);
    }

    /// Words broken into lines; returns the baseline below the last one.
    pub fn paragraph(&mut self, words: &str, (left, top): At, width: f64, height: f64, rgb: Rgb) -> f64 {
        let mut baseline = top;
        for line in wrapped(words, width, height) {
            self.words(&line, (left, baseline), height, rgb);
            baseline += LEADING * height;
        }
        baseline
    }

    /// Mixes a colour into the pixels within bounds, by the covered share of each.
    fn paint(&mut self, low: At, high: At, rgb: Rgb, covered: impl Fn(f64, f64) -> f64) {
        let range = |low: f64, high: f64, most: u32| {
            let clamp = |at: f64| at.clamp(0.0, f64::from(most)) as u32;
            clamp(low.floor())..clamp(high.ceil())
        };
        for y in range(low.1, high.1, self.image.height()) {
            for x in range(low.0, high.0, self.image.width()) {
                let share = covered(f64::from(x), f64::from(y));
                if share > 0.0 {
                    let pixel = self.image.get_pixel_mut(x, y);
                    for (under, over) in pixel.0.iter_mut().zip(rgb) {
                        let mixed = f64::from(*under) * (1.0 - share) + f64::from(over) * share;
                        *under = mixed.round() as u8;
                    }
                }
            }
        }
    }
}

/// Baseline to baseline, capitals' heights.
pub const LEADING: f64 = 1.9;

/// Width of words with capitals of a height.
pub fn width_of(words: &str, height: f64) -> f64 {
    glyphs::text_width(&drawable(words), height)
}

/// How many lines a paragraph takes.
pub fn line_count(words: &str, width: f64, height: f64) -> usize {
    wrapped(words, width, height).len()
}

fn wrapped(words: &str, width: f64, height: f64) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in words.split_whitespace() {
        match lines.last_mut() {
            Some(line) if width_of(&format!("{line} {word}"), height) <= width => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}

fn drawable(words: &str) -> String {
    words.chars().map(|letter| if glyphs::is_known(letter) { letter } else { '?' }).collect()
}

fn distance_to_segment(p: At, a: At, b: At) -> f64 {
    let (dx, dy) = (b.0 - a.0, b.1 - a.1);
    let length2 = dx * dx + dy * dy;
    let along = if length2 > 0.0 { ((p.0 - a.0) * dx + (p.1 - a.1) * dy) / length2 } else { 0.0 };
    let t = along.clamp(0.0, 1.0);
    (p.0 - a.0 - t * dx).hypot(p.1 - a.1 - t * dy)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fill_covers_its_pixels_and_no_others() {
        let mut canvas = Canvas::new(6, 6, [255; 3]);
        canvas.fill((1.0, 2.0), 2.0, 1.5, [0; 3]);
        let pixel = |x, y| canvas.image.get_pixel(x, y).0;
        assert_eq!([pixel(1, 2), pixel(2, 2)], [[0; 3]; 2]);
        assert_eq!([pixel(0, 2), pixel(3, 2), pixel(1, 4)], [[255; 3]; 3]);
        assert_eq!(pixel(1, 3), [128; 3]);
    }

    #[test]
    fn nothing_outside_the_picture_makes_it_panic() {
        let mut canvas = Canvas::new(5, 5, [255; 3]);
        canvas.line(&[(-40.0, 2.5), (90.0, 2.5), (f64::NAN, 1.0)], 2.0, [0; 3]);
        canvas.words("far\u{200b}away", (-100.0, 900.0), 12.0, [0; 3]);
        assert_eq!(canvas.image.get_pixel(2, 2).0, [0; 3]);
    }

    #[test]
    fn long_words_are_broken_into_lines_that_fit() {
        let text = "turn so that light falls evenly on the card";
        let lines = wrapped(text, 90.0, 8.0);
        assert!(lines.len() > 2);
        assert!(lines.iter().all(|line| width_of(line, 8.0) <= 90.0));
        assert_eq!(lines.join(" "), text);
    }
}
