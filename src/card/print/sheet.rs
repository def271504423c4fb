//! Papers, and what goes where on them.

use super::scene::{BLACK, Item};
use super::{draw, glyphs};
use crate::card::layout::{Layout, PointMm, RectMm, SLIP_IDS, SLIP_SIZE_MM};

/// Papers that people have.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Paper {
    /// ISO 216 A4, 210 x 297 mm.
    A4,
    /// US Letter, 8.5 x 11 inches.
    Letter,
    /// A photo print of 4 x 6 inches.
    Photo,
}

impl Paper {
    /// Short and long side, mm.
    const fn sides(self) -> (f64, f64) {
        match self {
            Self::A4 => (210.0, 297.0),
            Self::Letter => (8.5 * MM_PER_INCH, 11.0 * MM_PER_INCH),
            Self::Photo => (4.0 * MM_PER_INCH, 6.0 * MM_PER_INCH),
        }
    }

    /// What the printer leaves blank at each side, mm; photo prints go to the edge.
    const fn blank_edge(self) -> f64 {
        match self {
            Self::A4 | Self::Letter => 5.0,
            Self::Photo => 0.0,
        }
    }

    /// Width and height, turned so that a thing of the given size fits; `None` if it fits neither way.
    fn turned_for(self, width: f64, height: f64) -> Option<(f64, f64)> {
        let ((short, long), blank) = (self.sides(), 2.0 * self.blank_edge());
        [(short, long), (long, short)].into_iter().find(|&(w, h)| width + blank <= w && height + blank <= h)
    }
}

/// Millimetres in an inch.
pub(super) const MM_PER_INCH: f64 = 25.4;

/// A page, ready to be written.
#[derive(Debug, Clone, PartialEq)]
pub struct Sheet {
    /// What it is, for the file's own title.
    pub title: String,
    /// Width of the page, mm.
    pub width_mm: f64,
    /// Height of the page, mm.
    pub height_mm: f64,
    /// Area of the trimmed card, or of the block of slips, mm.
    pub trimmed: RectMm,
    /// What lies on it, mm from the page's top left corner.
    pub items: Vec<Item>,
}

/// Why a sheet cannot be made.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum PrintError {
    /// The card is larger than the paper.
    #[error(
        "a card of {width:.0} x {height:.0} mm does not fit this paper: use --paper a4 or --paper letter"
    )]
    TooLarge {
        /// Width of the card, mm.
        width: f64,
        /// Height of the card, mm.
        height: f64,
    },
    /// An id that slips may not carry.
    #[error("tag {0} is not for slips: use ids {first} to {last}", first = SLIP_IDS.start(), last = SLIP_IDS.end())]
    NotASlip(u16),
    /// More slips than fit.
    #[error("{asked} slips do not fit this paper, which holds {fit}: print them in several files")]
    TooManySlips {
        /// How many were asked for.
        asked: usize,
        /// How many fit.
        fit: usize,
    },
    /// Labels for windows that do not exist, or too few.
    #[error("{labels} labels were given for {windows} windows: give one for each window, from the left")]
    Labels {
        /// How many were given.
        labels: usize,
        /// How many windows the card has.
        windows: usize,
    },
}

/// Free paper at a side that crop marks or words need, mm.
const MARGIN_FOR_MARKS_MM: f64 = 9.0;
/// From the trimmed edge to a crop mark, mm.
const MARK_OFFSET_MM: f64 = 1.5;
/// Length of a crop mark, mm.
const MARK_LENGTH_MM: f64 = 5.0;
/// Thickness of a crop mark, mm.
const MARK_WIDTH_MM: f64 = 0.15;
/// Top margin of the card on office paper, mm.
const TOP_MARGIN_MM: f64 = 14.0;
/// Height of capitals in the lines of use, mm.
const WORDS_HEIGHT_MM: f64 = 2.4;
/// From one line of use to the next, mm.
const WORDS_PITCH_MM: f64 = 5.5;
/// From one slip to the next, mm: room for the crop marks of both.
const SLIP_PITCH_MM: f64 = 34.0;
/// Height of capitals in the name under a slip, mm.
const SLIP_NAME_HEIGHT_MM: f64 = 1.8;
/// Width of the longest name under a slip, mm: it keeps clear of the crop marks.
const SLIP_NAME_WIDTH_MM: f64 = 19.0;
/// Least blank edge round a sheet of slips, mm.
const SLIP_MARGIN_MM: f64 = 8.0;

/// Words on a sheet of slips.
pub(super) const HOW_TO_USE_SLIPS: [&str; 3] = [
    "Print at 100 % (actual size) on matte white paper. The black squares must be 16 mm wide.",
    "Cut each slip along its marks, 20 x 20 mm, and write on its back what it stands for.",
    "Lay a tank's slip on the free place left on the card, a kit's slip on the one to the right.",
];

/// Words on a sheet with a card.
pub(super) const HOW_TO_USE: [&str; 5] = [
    "Print at 100 % (actual size) on matte white paper, in colour, without borderless printing.",
    "Check with a ruler that the black bar on the card is 40 mm long. Cut along the marks.",
    "Stand the vial in front of the window, or lay the strip in it. Keep all four corners in view.",
    "Use this very print for the chart and for every reading made with it.",
    "Keep it dry and out of the sun. After a new print, make the chart anew.",
];

/// The card on a paper, with crop marks and lines of use outside its edge where there is room.
///
/// # Errors
/// The paper is too small, or there is not one label for each window.
pub fn card_sheet(layout: &Layout, paper: Paper, labels: &[String]) -> Result<Sheet, PrintError> {
    let (width, height) = (layout.width_mm, layout.height_mm);
    if !labels.is_empty() && labels.len() != layout.label_places.len() {
        return Err(PrintError::Labels { labels: labels.len(), windows: layout.label_places.len() });
    }
    let (page_width, page_height) =
        paper.turned_for(width, height).ok_or(PrintError::TooLarge { width, height })?;
    let left = (page_width - width) / 2.0;
    let top = TOP_MARGIN_MM.min((page_height - height) / 2.0);
    let trimmed = RectMm::at(left, top, width, height);
    let mut items: Vec<Item> = draw::card(layout, labels).iter().map(|item| item.moved(left, top)).collect();
    if left >= MARGIN_FOR_MARKS_MM && top >= MARGIN_FOR_MARKS_MM {
        items.push(crop_marks(trimmed));
    }
    items.extend(words_below(&HOW_TO_USE, trimmed, page_height));
    let title = format!("Tintwell reference card, version {}", layout.version);
    Ok(Sheet { title, width_mm: page_width, height_mm: page_height, trimmed, items })
}

/// Lines of use below an area, if the page has room for them.
fn words_below(lines: &[&str], area: RectMm, page_height: f64) -> Vec<Item> {
    let first = area.y1 + MARGIN_FOR_MARKS_MM + WORDS_PITCH_MM;
    let baseline = |line: usize| first + WORDS_PITCH_MM * line as f64;
    if baseline(lines.len()) > page_height - MARGIN_FOR_MARKS_MM / 2.0 {
        return Vec::new();
    }
    let draw = |(line, words): (usize, &&str)| glyphs::text(words, area.x0, baseline(line), WORDS_HEIGHT_MM);
    lines.iter().enumerate().map(draw).collect()
}

/// Two short marks at each corner, outside the area.
fn crop_marks(area: RectMm) -> Item {
    let (near, far) = (MARK_OFFSET_MM, MARK_OFFSET_MM + MARK_LENGTH_MM);
    let outwards = |low: bool| if low { -1.0 } else { 1.0 };
    let lines = area.corners().into_iter().flat_map(|corner| {
        let (dx, dy) = (outwards(corner.x == area.x0), outwards(corner.y == area.y0));
        let beside = |d: f64| PointMm { x: corner.x + dx * d, y: corner.y };
        let above = |d: f64| PointMm { x: corner.x, y: corner.y + dy * d };
        [vec![beside(near), beside(far)], vec![above(near), above(far)]]
    });
    Item::Stroke { lines: lines.collect(), width: MARK_WIDTH_MM, rgb: BLACK }
}

/// A slip to print: its id, and the name of what it stands for, if that is known.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NamedSlip {
    /// Id of its tag.
    pub id: u16,
    /// Printed under it, as far as there is room.
    pub name: Option<String>,
}

/// Tag slips in rows, each with crop marks, its id and its name below it.
///
/// # Errors
/// An id is not for slips, or there are more than the paper holds.
pub fn slip_sheet(slips: &[NamedSlip], paper: Paper) -> Result<Sheet, PrintError> {
    if let Some(slip) = slips.iter().find(|slip| !SLIP_IDS.contains(&slip.id)) {
        return Err(PrintError::NotASlip(slip.id));
    }
    let (width_mm, height_mm) = paper.sides();
    let fit = |side: f64| ((side - 2.0 * SLIP_MARGIN_MM - SLIP_SIZE_MM) / SLIP_PITCH_MM).floor() as usize + 1;
    let (columns, rows) = (fit(width_mm), fit(height_mm));
    if slips.len() > columns * rows {
        return Err(PrintError::TooManySlips { asked: slips.len(), fit: columns * rows });
    }
    let span = |count: usize| SLIP_PITCH_MM * (count - 1) as f64 + SLIP_SIZE_MM;
    let (left, top) = ((width_mm - span(columns)) / 2.0, (height_mm - span(rows)) / 2.0);
    let mut items = Vec::new();
    for (place, slip) in slips.iter().enumerate() {
        let x = left + SLIP_PITCH_MM * (place % columns) as f64;
        let y = top + SLIP_PITCH_MM * (place / columns) as f64;
        let edge = RectMm::at(x, y, SLIP_SIZE_MM, SLIP_SIZE_MM);
        items.extend([draw::slip(slip.id).moved(x, y), crop_marks(edge)]);
        let (middle, below) = (edge.centre().x, edge.y1 + 1.5 + WORDS_HEIGHT_MM);
        items.push(glyphs::centred(&slip.id.to_string(), middle, below, WORDS_HEIGHT_MM));
        if let Some(name) = &slip.name {
            let baseline = below + 1.0 + SLIP_NAME_HEIGHT_MM;
            items.push(glyphs::centred(&shortened(name), middle, baseline, SLIP_NAME_HEIGHT_MM));
        }
    }
    let used_rows = slips.len().div_ceil(columns).max(1);
    let trimmed = RectMm::at(left, top, span(columns.min(slips.len().max(1))), span(used_rows));
    items.extend(words_below(&HOW_TO_USE_SLIPS, trimmed, height_mm));
    Ok(Sheet { title: "Tintwell tag slips".into(), width_mm, height_mm, trimmed, items })
}

/// A name that can be drawn and fits between two slips.
fn shortened(name: &str) -> String {
    let drawn = |letter: char| if glyphs::is_known(letter) { letter } else { '?' };
    let mut words: String = name.chars().map(drawn).collect();
    while glyphs::text_width(&words, SLIP_NAME_HEIGHT_MM) > SLIP_NAME_WIDTH_MM {
        words.pop();
    }
    words
}
