//! Pixels as the file stores them, addressed as they stand upright.
//!
//! Phones store most portraits lying on their side. Turning twelve million pixels costs about as much
//! as measuring them and as much memory again, for the few that are looked at.

use image::metadata::Orientation;
use image::{DynamicImage, RgbImage};

/// Bytes of a pixel.
const PIXEL: usize = 3;

/// Where the pixels of a stored picture stand when it is turned upright, in pixels.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Steps {
    /// Index of the top left pixel.
    origin: isize,
    /// From a pixel to its neighbour on the right.
    right: isize,
    /// From a pixel to its neighbour below.
    down: isize,
}

impl Steps {
    fn new(width: usize, height: usize, orientation: Orientation) -> Self {
        let (line, last_column) = (width as isize, width.saturating_sub(1) as isize);
        let last_row = line * height.saturating_sub(1) as isize;
        let (origin, right, down) = match orientation {
            Orientation::NoTransforms => (0, 1, line),
            Orientation::FlipHorizontal => (last_column, -1, line),
            Orientation::Rotate180 => (last_row + last_column, -1, -line),
            Orientation::FlipVertical => (last_row, 1, -line),
            Orientation::Rotate90 => (last_row, -line, 1),
            Orientation::Rotate270 => (last_column, line, -1),
            Orientation::Rotate90FlipH => (0, line, 1),
            Orientation::Rotate270FlipH => (last_row + last_column, -line, -1),
        };
        Self { origin, right, down }
    }

    #[inline]
    fn index(&self, x: usize, y: usize) -> usize {
        (self.origin + x as isize * self.right + y as isize * self.down) as usize
    }
}

/// Whether turning upright exchanges width and height.
fn lies_on_its_side(orientation: Orientation) -> bool {
    use Orientation::{Rotate90, Rotate90FlipH, Rotate270, Rotate270FlipH};
    matches!(orientation, Rotate90 | Rotate270 | Rotate90FlipH | Rotate270FlipH)
}

/// A picture that stands upright, however it is stored.
#[derive(Clone, PartialEq)]
pub struct Upright {
    stored: RgbImage,
    orientation: Orientation,
    width: u32,
    height: u32,
    steps: Steps,
}

impl From<RgbImage> for Upright {
    fn from(stored: RgbImage) -> Self {
        Self::new(stored, Orientation::NoTransforms)
    }
}

impl Upright {
    /// Pixels as stored, and how they are to be turned.
    pub fn new(stored: RgbImage, orientation: Orientation) -> Self {
        let (width, height) = stored.dimensions();
        let steps = Steps::new(width as usize, height as usize, orientation);
        let (width, height) = if lies_on_its_side(orientation) { (height, width) } else { (width, height) };
        Self { stored, orientation, width, height, steps }
    }

    /// Width and height.
    pub fn dimensions(&self) -> (u32, u32) {
        (self.width, self.height)
    }

    /// Number of columns.
    pub fn width(&self) -> u32 {
        self.width
    }

    /// Number of rows.
    pub fn height(&self) -> u32 {
        self.height
    }

    /// The pixel's three 8-bit values.
    ///
    /// # Panics
    /// Outside the picture.
    #[inline]
    pub fn code(&self, x: u32, y: u32) -> [u8; 3] {
        let at = PIXEL * self.steps.index(x as usize, y as usize);
        let pixel = &self.stored.as_raw()[at..at + PIXEL];
        [pixel[0], pixel[1], pixel[2]]
    }

    /// The pixels in the order in which they are stored.
    pub fn stored(&self) -> &RgbImage {
        &self.stored
    }

    /// Where a place in the stored picture stands upright, pixels.
    pub fn place(&self, (x, y): (f64, f64)) -> (f64, f64) {
        let (right, below) = (f64::from(self.width) - 1.0, f64::from(self.height) - 1.0);
        match self.orientation {
            Orientation::NoTransforms => (x, y),
            Orientation::FlipHorizontal => (right - x, y),
            Orientation::Rotate180 => (right - x, below - y),
            Orientation::FlipVertical => (x, below - y),
            Orientation::Rotate90 => (right - y, x),
            Orientation::Rotate270 => (y, below - x),
            Orientation::Rotate90FlipH => (y, x),
            Orientation::Rotate270FlipH => (right - y, below - x),
        }
    }

    /// Turns what was made of the stored picture, of another size, upright: width, height, values.
    pub fn turn<T: Copy>(&self, width: usize, height: usize, values: Vec<T>) -> (usize, usize, Vec<T>) {
        if self.orientation == Orientation::NoTransforms {
            return (width, height, values);
        }
        let steps = Steps::new(width, height, self.orientation);
        let (width, height) =
            if lies_on_its_side(self.orientation) { (height, width) } else { (width, height) };
        let turned =
            (0..height).flat_map(|y| (0..width).map(move |x| (x, y))).map(|(x, y)| values[steps.index(x, y)]);
        (width, height, turned.collect())
    }

    /// A picture that is stored as it stands.
    pub fn to_image(&self) -> RgbImage {
        let mut picture = DynamicImage::ImageRgb8(self.stored.clone());
        picture.apply_orientation(self.orientation);
        picture.into_rgb8()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_orientation_shows_what_turning_the_pixels_would() {
        let stored = RgbImage::from_fn(5, 3, |x, y| image::Rgb([x as u8, y as u8, 7]));
        for exif in 1..=8 {
            let upright = Upright::new(stored.clone(), Orientation::from_exif(exif).unwrap());
            let turned = upright.to_image();
            assert_eq!(upright.dimensions(), turned.dimensions(), "orientation {exif}");
            for (x, y, pixel) in turned.enumerate_pixels() {
                assert_eq!(upright.code(x, y), pixel.0, "orientation {exif} at {x}, {y}");
                let [column, row, _] = pixel.0.map(f64::from);
                assert_eq!(upright.place((column, row)), (x.into(), y.into()), "orientation {exif}");
            }
            let all: Vec<_> = stored.pixels().collect();
            let (width, height, small) = upright.turn(5, 3, all);
            assert_eq!((width as u32, height as u32), turned.dimensions());
            assert!(small.into_iter().eq(turned.pixels()), "orientation {exif}");
        }
    }
}
