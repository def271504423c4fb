//! Pixels as the file stores them, addressed as they stand upright.
//!
//! Phones store most portraits lying on their side. Turning twelve million pixels costs about as much
//! as measuring them and as much memory again, for the few that are looked at.

use std::ops::Range;

use image::metadata::Orientation;
use image::{DynamicImage, RgbImage};

/// Bytes of a pixel.
const PIXEL: usize = 3;

/// Column and row of a stored picture at which an upright place lies, pixels.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Steps {
    /// Of the top left pixel.
    origin: (isize, isize),
    /// From a pixel to its neighbour on the right.
    right: (isize, isize),
    /// From a pixel to its neighbour below.
    down: (isize, isize),
}

impl Steps {
    /// For a stored picture of this size.
    fn new(width: usize, height: usize, orientation: Orientation) -> Self {
        let (last_column, last_row) = (width.saturating_sub(1) as isize, height.saturating_sub(1) as isize);
        let (origin, right, down) = match orientation {
            Orientation::NoTransforms => ((0, 0), (1, 0), (0, 1)),
            Orientation::FlipHorizontal => ((last_column, 0), (-1, 0), (0, 1)),
            Orientation::Rotate180 => ((last_column, last_row), (-1, 0), (0, -1)),
            Orientation::FlipVertical => ((0, last_row), (1, 0), (0, -1)),
            Orientation::Rotate90 => ((0, last_row), (0, -1), (1, 0)),
            Orientation::Rotate270 => ((last_column, 0), (0, 1), (-1, 0)),
            Orientation::Rotate90FlipH => ((0, 0), (0, 1), (1, 0)),
            Orientation::Rotate270FlipH => ((last_column, last_row), (0, -1), (-1, 0)),
        };
        Self { origin, right, down }
    }

    #[inline]
    fn stored(&self, x: usize, y: usize) -> (usize, usize) {
        let (x, y) = (x as isize, y as isize);
        let along = |origin: isize, right: isize, down: isize| (origin + x * right + y * down) as usize;
        (along(self.origin.0, self.right.0, self.down.0), along(self.origin.1, self.right.1, self.down.1))
    }
}

/// Whether turning upright exchanges width and height.
fn lies_on_its_side(orientation: Orientation) -> bool {
    use Orientation::{Rotate90, Rotate90FlipH, Rotate270, Rotate270FlipH};
    matches!(orientation, Rotate90 | Rotate270 | Rotate90FlipH | Rotate270FlipH)
}

/// Which pixels of a stored picture are there, where a part of it was decoded.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Part {
    /// Column and row of the whole picture at which the stored one begins.
    pub left: u32,
    pub top: u32,
    /// Width and height of the whole picture.
    pub size: (u32, u32),
    /// Columns of the whole picture that are there, for each [`Self::ROWS`] rows of pixels.
    pub spans: Vec<Range<u32>>,
}

impl Part {
    /// Rows of pixels of which the same columns are there: those of a block.
    pub(super) const ROWS: usize = 8;

    /// All of a picture.
    fn whole(size: (u32, u32)) -> Self {
        Self { left: 0, top: 0, size, spans: vec![0..size.0; (size.1 as usize).div_ceil(Self::ROWS)] }
    }
}

/// A picture that stands upright, however it is stored, or the part of it that was decoded.
#[derive(Clone, PartialEq)]
pub struct Upright {
    stored: RgbImage,
    part: Part,
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
        Self::of_part(stored, None, orientation)
    }

    /// The same of a part of the picture, or all of it.
    pub(super) fn of_part(stored: RgbImage, part: Option<Part>, orientation: Orientation) -> Self {
        let part = part.unwrap_or_else(|| Part::whole(stored.dimensions()));
        let (width, height) = part.size;
        let steps = Steps::new(width as usize, height as usize, orientation);
        let (width, height) = upright_size(width, height, orientation);
        Self { stored, part, orientation, width, height, steps }
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

    /// The pixel's three 8-bit values; `None` outside the picture, and where it was not decoded.
    #[inline]
    pub fn get(&self, x: u32, y: u32) -> Option<[u8; 3]> {
        if x >= self.width || y >= self.height {
            return None;
        }
        let (column, row) = self.steps.stored(x as usize, y as usize);
        let (left, top) = (self.part.left as usize, self.part.top as usize);
        let below = row.checked_sub(top)?;
        let span = self.part.spans.get(below / Part::ROWS)?;
        if !span.contains(&(column as u32)) {
            return None;
        }
        let at = PIXEL * (below * self.stored.width() as usize + column - left);
        let pixel = self.stored.as_raw().get(at..at + PIXEL)?;
        Some([pixel[0], pixel[1], pixel[2]])
    }

    /// The pixel's three 8-bit values.
    ///
    /// # Panics
    /// Outside the picture, and where it was not decoded.
    #[inline]
    pub fn code(&self, x: u32, y: u32) -> [u8; 3] {
        self.get(x, y).expect("the pixel was decoded")
    }

    /// The pixels that were decoded, and some beside them, in the order in which they are stored.
    pub fn stored(&self) -> &RgbImage {
        &self.stored
    }

    /// Whether all of the picture was decoded.
    pub fn is_whole(&self) -> bool {
        self.stored.dimensions() == self.part.size
    }

    /// Where a pixel of the stored part stands upright, pixels.
    pub fn place(&self, (x, y): (f64, f64)) -> (f64, f64) {
        let stored = (x + f64::from(self.part.left), y + f64::from(self.part.top));
        upright_place(stored, self.part.size, self.orientation)
    }

    /// Turns what was made of the stored part, of another size, upright: width, height, values.
    pub fn turn<T: Copy>(&self, width: usize, height: usize, values: Vec<T>) -> (usize, usize, Vec<T>) {
        turn(width, height, values, self.orientation)
    }

    /// A picture that is stored as it stands: only what was decoded of it.
    pub fn to_image(&self) -> RgbImage {
        let mut picture = DynamicImage::ImageRgb8(self.stored.clone());
        picture.apply_orientation(self.orientation);
        picture.into_rgb8()
    }
}

/// Width and height when turned upright.
pub(super) fn upright_size(width: u32, height: u32, orientation: Orientation) -> (u32, u32) {
    if lies_on_its_side(orientation) { (height, width) } else { (width, height) }
}

/// Where a place in a stored picture of this size stands upright.
pub(super) fn upright_place(
    (x, y): (f64, f64),
    (width, height): (u32, u32),
    orientation: Orientation,
) -> (f64, f64) {
    let (width, height) = upright_size(width, height, orientation);
    let (right, below) = (f64::from(width) - 1.0, f64::from(height) - 1.0);
    match orientation {
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

/// Where an upright place lies in a stored picture of this size.
pub(super) fn stored_place(place: (f64, f64), size: (u32, u32), orientation: Orientation) -> (f64, f64) {
    let back = match orientation {
        Orientation::Rotate90 => Orientation::Rotate270,
        Orientation::Rotate270 => Orientation::Rotate90,
        // The others undo themselves.
        own => own,
    };
    let (width, height) = upright_size(size.0, size.1, orientation);
    upright_place(place, (width, height), back)
}

/// Turns what was made of a stored picture upright: width, height, values.
pub(super) fn turn<T: Copy>(
    width: usize,
    height: usize,
    values: Vec<T>,
    orientation: Orientation,
) -> (usize, usize, Vec<T>) {
    if orientation == Orientation::NoTransforms {
        return (width, height, values);
    }
    let steps = Steps::new(width, height, orientation);
    let line = width;
    let (width, height) = if lies_on_its_side(orientation) { (height, width) } else { (width, height) };
    let places = (0..height).flat_map(|y| (0..width).map(move |x| (x, y)));
    let turned = places.map(|(x, y)| {
        let (column, row) = steps.stored(x, y);
        values[row * line + column]
    });
    let turned = turned.collect();
    (width, height, turned)
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
                let place = (x.into(), y.into());
                assert_eq!(upright.place((column, row)), place, "orientation {exif}");
                let orientation = upright.orientation;
                assert_eq!(stored_place(place, (5, 3), orientation), (column, row), "orientation {exif}");
            }
            let all: Vec<_> = stored.pixels().collect();
            let (width, height, small) = upright.turn(5, 3, all);
            assert_eq!((width as u32, height as u32), turned.dimensions());
            assert!(small.into_iter().eq(turned.pixels()), "orientation {exif}");
        }
    }
}
