//! A photo at an eighth of its size, there before its pixels are.

use image::metadata::Orientation;

use super::upright::{turn, upright_place, upright_size};

/// Brightness of blocks of eight by eight pixels. Means of gamma-coded values: good for seeing where
/// things are, not for measuring them.
#[derive(Debug, Clone, PartialEq)]
pub struct Preview {
    /// Columns.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// Mean 8-bit brightness (luma of ITU-T T.871), row by row.
    pub values: Vec<u8>,
    /// The photo's pixel at which the middle of the first block lies.
    pub first: (f64, f64),
    /// Width and height of the photo, pixels.
    pub size: (u32, u32),
}

/// Finds the corners of the convex part of a photo that is wanted, given its preview and its EXIF
/// data; both as stored. `None`: all of it.
pub(super) type Choose<'a> = dyn FnMut(Preview, Option<&[u8]>) -> Option<Vec<(f64, f64)>> + 'a;

impl Preview {
    /// Pixels of the photo along a side of a block.
    pub const FACTOR: usize = 8;

    /// Turned from how it is stored.
    pub(super) fn upright(self, orientation: Orientation) -> Self {
        let corner = |column: usize, row: usize| {
            let stored =
                ((Self::FACTOR * column) as f64 + self.first.0, (Self::FACTOR * row) as f64 + self.first.1);
            upright_place(stored, self.size, orientation)
        };
        let (a, b) = (corner(0, 0), corner(self.width.saturating_sub(1), self.height.saturating_sub(1)));
        let first = (a.0.min(b.0), a.1.min(b.1));
        let (width, height, values) = turn(self.width, self.height, self.values, orientation);
        let size = upright_size(self.size.0, self.size.1, orientation);
        Self { width, height, values, first, size }
    }
}
