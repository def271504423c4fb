//! The picture of what `calibrate` found on a photo: the card, and each swatch or pad with its number.

use image::{RgbImage, imageops};

use super::canvas::{At, Canvas};
use super::look::{CARD, GROUND, INK};
use super::picture::{Scaled, mark_samples};

/// Height of the words below the photo, pixels.
const BODY: f64 = 14.0;
/// Space for them, pixels.
const FOOT: u32 = 150;
/// Margin, pixels.
const MARGIN: f64 = 20.0;

/// Draws the photo with everything outlined that was found, numbered from 1, and below it a caption.
pub fn draw(photo: &Scaled, card: &[At], found: &[Vec<At>], caption: &str) -> RgbImage {
    let (width, height) = photo.image.dimensions();
    let mut canvas = Canvas::new(width, height + FOOT, GROUND);
    imageops::replace(&mut canvas.image, &photo.image, 0, 0);
    let scaled = |points: &[At]| -> Vec<At> {
        points.iter().map(|p| (p.0 * photo.scale, p.1 * photo.scale)).collect()
    };
    canvas.outline(&scaled(card), 4.0, CARD);
    let areas: Vec<Vec<At>> = found.iter().map(|area| scaled(area)).collect();
    mark_samples(&mut canvas, &areas, &|index| (index + 1).to_string());
    let top = f64::from(height);
    canvas.fill((0.0, top), f64::from(width), f64::from(FOOT), GROUND);
    canvas.paragraph(caption, (MARGIN, top + 2.0 * BODY), f64::from(width) - 2.0 * MARGIN, BODY, INK);
    canvas.image
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::look::SAMPLE;

    #[test]
    fn everything_found_is_outlined() {
        let photo = Scaled::new(RgbImage::from_pixel(400, 300, image::Rgb([90, 90, 90])));
        let square = |x: f64| vec![(x, 100.0), (x + 40.0, 100.0), (x + 40.0, 140.0), (x, 140.0)];
        let card = [(10.0, 10.0), (390.0, 10.0), (390.0, 290.0), (10.0, 290.0)];
        let picture = draw(&photo, &card, &[square(50.0), square(150.0), square(250.0)], "three");
        for x in [70, 170, 270] {
            assert_eq!(picture.get_pixel(x, 140).0, SAMPLE);
        }
        assert_eq!(picture.get_pixel(200, 10).0, CARD);
        assert_eq!(picture.height(), 300 + FOOT);
    }
}
