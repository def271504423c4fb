//! Which units of a JPEG's blocks lie under a part of the picture.

use std::ops::Range;

use crate::photo::upright::Part;

/// Units under a convex part of the picture, row by row.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Area {
    /// Rows and columns of the rectangle that holds all that are kept.
    pub rows: Range<usize>,
    pub columns: Range<usize>,
    /// For each of these rows, the columns that are decoded: those that are wanted and all beside them,
    /// for colour is stored coarser than brightness, and what is in between comes from both sides.
    pub kept: Vec<Range<usize>>,
    /// For each row, the columns that are wanted.
    wanted: Vec<Range<usize>>,
}

impl Area {
    /// Units of a grid that a convex polygon touches, pixels as stored; `None` if there are none.
    pub(super) fn under(corners: &[(f64, f64)], unit: (usize, usize), units: (usize, usize)) -> Option<Self> {
        let touched = |row: usize| {
            let (top, below) = ((row * unit.1) as f64 - 1.0, ((row + 1) * unit.1) as f64);
            let (left, right) = extent(corners, top, below)?;
            let first = (left / unit.0 as f64).floor().clamp(0.0, units.0 as f64) as usize;
            let behind = (right / unit.0 as f64).floor().clamp(-1.0, units.0 as f64 - 1.0) + 1.0;
            (first < behind as usize).then_some(first..behind as usize)
        };
        let all: Vec<Option<Range<usize>>> = (0..units.1).map(touched).collect();
        let first = all.iter().position(Option::is_some)?;
        let last = all.iter().rposition(Option::is_some)?;
        let rows = first.saturating_sub(1)..(last + 2).min(units.1);
        let wanted: Vec<Range<usize>> =
            all[rows.clone()].iter().map(|row| row.clone().unwrap_or(0..0)).collect();
        let kept: Vec<Range<usize>> = (0..wanted.len()).map(|row| beside(&wanted, row, units.0)).collect();
        let start = kept.iter().map(|row| row.start).min()?;
        let end = kept.iter().map(|row| row.end).max()?;
        Some(Self { rows, columns: start..end, kept, wanted })
    }

    /// Which pixels of the picture the units that are wanted hold.
    pub(super) fn part(&self, unit: (usize, usize), size: (usize, usize)) -> Part {
        let span = |row: &Range<usize>| (row.start * unit.0) as u32..(row.end * unit.0) as u32;
        let spans = self.wanted.iter().flat_map(|row| std::iter::repeat_n(span(row), unit.1 / Part::ROWS));
        Part {
            left: (self.columns.start * unit.0) as u32,
            top: (self.rows.start * unit.1) as u32,
            size: (size.0 as u32, size.1 as u32),
            spans: spans.collect(),
        }
    }

    /// Number of units decoded.
    pub(super) fn count(&self) -> usize {
        self.kept.iter().map(Range::len).sum()
    }
}

/// Columns of a row that are wanted in it or in one of its neighbours, and one more on either side.
fn beside(wanted: &[Range<usize>], row: usize, columns: usize) -> Range<usize> {
    let near =
        wanted[row.saturating_sub(1)..(row + 2).min(wanted.len())].iter().filter(|row| !row.is_empty());
    let start = near.clone().map(|row| row.start).min().unwrap_or(0);
    let end = near.map(|row| row.end).max().unwrap_or(0);
    start.saturating_sub(1)..(end + 1).min(columns)
}

/// Leftmost and rightmost place of a polygon between two heights.
fn extent(corners: &[(f64, f64)], top: f64, below: f64) -> Option<(f64, f64)> {
    let mut places = Vec::with_capacity(2 * corners.len());
    for (k, &a) in corners.iter().enumerate() {
        let b = corners[(k + 1) % corners.len()];
        let (low, high) = (a.1.min(b.1).max(top), a.1.max(b.1).min(below));
        if low > high {
            continue;
        }
        let at = |y: f64| if a.1 == b.1 { a.0 } else { a.0 + (y - a.1) / (b.1 - a.1) * (b.0 - a.0) };
        places.extend([at(low), at(high)]);
        if a.1 == b.1 {
            places.push(b.0);
        }
    }
    let low = places.iter().copied().reduce(f64::min)?;
    Some((low, places.into_iter().reduce(f64::max)?))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn units_under_a_slanting_square_are_wanted_and_those_beside_it_kept() {
        let corners = [(40.0, 20.0), (60.0, 40.0), (40.0, 60.0), (20.0, 40.0)];
        let area = Area::under(&corners, (8, 8), (20, 20)).unwrap();
        assert_eq!((area.rows.clone(), area.columns.clone()), (1..9, 1..9));
        assert_eq!(area.wanted, [0..0, 4..6, 3..7, 2..8, 2..8, 3..7, 4..6, 0..0]);
        assert_eq!(area.kept[0], 3..7);
        assert_eq!(area.kept[3], 1..9);
    }

    #[test]
    fn a_polygon_beyond_the_picture_is_cut_off_and_one_beside_it_is_none() {
        let square = |x: f64| [(x, -50.0), (x + 100.0, -50.0), (x + 100.0, 50.0), (x, 50.0)];
        let area = Area::under(&square(-30.0), (16, 16), (4, 2)).unwrap();
        assert_eq!((area.rows.clone(), area.kept), (0..2, vec![0..4, 0..4]));
        assert_eq!(Area::under(&square(-300.0), (16, 16), (4, 2)), None);
    }
}
