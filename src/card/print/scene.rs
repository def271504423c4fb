//! What a page is made of: filled rectangles and stroked lines, in millimetres.

use crate::card::layout::{PointMm, RectMm};

/// A colour as it is sent to the printer, 8-bit sRGB.
pub type Rgb = [u8; 3];

/// Black ink.
pub(super) const BLACK: Rgb = [0, 0, 0];

/// One thing on a page.
#[derive(Debug, Clone, PartialEq)]
pub enum Item {
    /// Rectangles that do not overlap, filled as one shape, so that no seam shows between neighbours.
    Fill {
        /// The rectangles, mm.
        rects: Vec<RectMm>,
        /// Their colour.
        rgb: Rgb,
    },
    /// Lines with round ends and joints.
    Stroke {
        /// Each line's points, mm.
        lines: Vec<Vec<PointMm>>,
        /// Thickness, mm.
        width: f64,
        /// Their colour.
        rgb: Rgb,
    },
}

impl Item {
    /// One filled rectangle.
    pub(super) fn rect(rect: RectMm, rgb: Rgb) -> Self {
        Self::Fill { rects: vec![rect], rgb }
    }

    /// A frame of a thickness that lies just outside a rectangle.
    pub(super) fn frame_around(inner: RectMm, thickness: f64, rgb: Rgb) -> Self {
        let outer = inner.grown(thickness);
        let rects = vec![
            RectMm::new(outer.x0, outer.y0, outer.x1, inner.y0),
            RectMm::new(outer.x0, inner.y1, outer.x1, outer.y1),
            RectMm::new(outer.x0, inner.y0, inner.x0, inner.y1),
            RectMm::new(inner.x1, inner.y0, outer.x1, inner.y1),
        ];
        Self::Fill { rects, rgb }
    }

    /// The item moved to the right and down.
    pub(super) fn moved(&self, dx: f64, dy: f64) -> Self {
        let point = |p: &PointMm| PointMm { x: p.x + dx, y: p.y + dy };
        match self {
            Self::Fill { rects, rgb } => {
                let rects = rects.iter().map(|r| RectMm::new(r.x0 + dx, r.y0 + dy, r.x1 + dx, r.y1 + dy));
                Self::Fill { rects: rects.collect(), rgb: *rgb }
            }
            Self::Stroke { lines, width, rgb } => {
                let lines = lines.iter().map(|line| line.iter().map(point).collect());
                Self::Stroke { lines: lines.collect(), width: *width, rgb: *rgb }
            }
        }
    }
}
