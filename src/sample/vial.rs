//! The vial in the window, its liquid column, and the liquid's colour.

use super::column::{Axis, level_edges, row_colour};
use super::liquid::{self, Liquid};
use super::raster::{Raster, relative};
use super::touching;
use super::veil::Around;
use super::walls::{self, Wall, Walls};
use crate::card::CardView;
use crate::card::layout::{Layout, PointMm, RectMm, WINDOW_OUTLINE_MM};
use crate::colour::Illumination;
use crate::math::stats;
use crate::photo::Photo;
use crate::terms::Flag;
use crate::terms::space::{Light, Relative};

/// Spacing of the grid on which the window is looked at, mm.
const GRID_MM: f64 = 0.25;
/// Bare paper to either side of a window that is looked at, at most, mm.
const SIDE_MM: f64 = 3.2;
/// Kept clear of the patches beside a window, mm.
const PATCH_CLEARANCE_MM: f64 = 1.8;
/// Half width of the window's outline and of what blur makes of it, mm.
const OUTLINE_REACH_MM: f64 = 1.3;
/// What is looked at beside a window: a tilted vial's foot stands there, mm.
const COLUMN_REACH_MM: f64 = 9.0;
/// Vials of test kits: narrowest and widest outside diameter as seen on the card's plane, mm.
const VIAL_WIDTH_MM: std::ops::RangeInclusive<f64> = 8.0..=27.0;
/// Walls are at least this strong against the strongest: other edges are streaks and bright spots.
const WALL_SHARE: f64 = 0.25;
/// An upright edge on bare paper that is no shadow's, natural logarithm.
const CLEAR_EDGE: f64 = 0.12;
/// Edges of the bright spot that a vial throws on the card have less than this share of its walls'.
const BRIGHT_SPOT_SHARE: f64 = 0.2;
/// And fade over more than this, mm.
const SHARP_MM: f64 = 2.6;
/// Kept clear of the tags at the card's sides, mm.
const TAG_COLUMN_MM: f64 = 21.0;
/// A level edge that is the surface, the base or a cap's rim, Oklab times 100.
const SURFACE_EDGE: f64 = 7.0;
/// In dark liquids noise makes edges too; the surface has at least this share of the strongest edge.
const SURFACE_SHARE: f64 = 0.25;
/// Shortest liquid column that is measured, mm.
const LEAST_COLUMN_MM: f64 = 8.0;
/// Left out below the surface: the meniscus and what it bends, mm.
const MENISCUS_MM: f64 = 3.0;
/// Above the surface its far rim is seen, mm.
const SURFACE_REACH_MM: f64 = 2.0;
/// Share of the width about the axis over which the surface is looked at.
const SURFACE_SHARE_OF_WIDTH: f64 = 0.5;
/// Left out above the base, mm.
const BASE_MM: f64 = 2.0;
/// Left out above the card's lower edge, mm.
const CARD_END_MM: f64 = 1.5;
/// Level edges are sought so far below where the liquid can end, mm.
const EDGE_REACH_MM: f64 = 1.0;
/// Both sides of the vial darker than this against the card's light: a shadow lies on the vial.
const DEEP_SHADOW: f64 = 0.78;
/// Both sides darker than this: worth a flag.
const SHADOW: f64 = 0.88;
/// Share of the liquid under reflections beyond which no honest colour is left.
const MOST_GLARE: f64 = 0.5;
/// Share of the liquid clipped at white beyond which it is hidden.
const MOST_CLIPPED: f64 = 0.3;
/// Share of the liquid under reflections that is worth a flag.
const SOME_GLARE: f64 = 0.04;

/// Why no sample can be measured.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum SampleError {
    /// Nothing stands in the window.
    #[error("the sample window is empty: stand the vial in front of the card's framed window")]
    Empty,
    /// A vial stands beside the window.
    #[error("the vial stands outside the card's framed window: move it to the window's middle")]
    OutsideWindow,
    /// More than one vial.
    #[error("more than one vial stands in front of the window: stand one vial before each window")]
    SeveralVials,
    /// The liquid is hidden, or its column too short.
    #[error(
        "too little liquid can be seen in the vial ({millimetres:.0} mm): fill it to the kit's mark and keep it in the picture"
    )]
    TooLittleLiquid {
        /// Visible height, mm.
        millimetres: f64,
    },
    /// A reflection covers the liquid.
    #[error("a reflection covers the liquid: turn until no lamp or window mirrors in the glass")]
    Glare,
    /// Nothing lies in the window.
    #[error("no strip lies in the card's framed window: lay the whole strip into it, lengthwise")]
    NoStrip,
    /// A strip with other pads.
    #[error(
        "what lies in the window is not the chart's strip of {pads} pads: lay that strip whole into the window with all its pads upwards, or give another chart"
    )]
    OtherStrip {
        /// Pads of the chart's strip.
        pads: usize,
    },
    /// A pad that the chart's strip does not have.
    #[error(
        "this is another strip than the chart's: it shows a pad {at_mm:.0} mm from its dipped end, where the chart's strip of {pads} pads has none; give this strip's own chart, or make one with `tintwell calibrate --form strip`"
    )]
    StrangePad {
        /// Its middle from the dipped end, mm.
        at_mm: f64,
        /// Pads of the chart's strip.
        pads: usize,
    },
    /// Pads whose colours are not the chart's.
    #[error(
        "{strange} of the {pads} pads have colours that the chart does not know: this is another strip, its pads stand in another order, or it is spoilt; give this strip's own chart, or dip a fresh strip"
    )]
    StrangePads {
        /// Pads of unknown colours.
        strange: usize,
        /// Pads of the chart's strip.
        pads: usize,
    },
    /// Pads closer together or farther apart than the chart's.
    #[error(
        "this is another strip than the chart's: its pads lie at {percent:.0} % of the distance of those of the chart's strip of {pads} pads; give this strip's own chart, or make one with `tintwell calibrate --form strip`"
    )]
    OtherSpacing {
        /// Their distances in percent of those of the chart's strip.
        percent: f64,
        /// Pads of the chart's strip.
        pads: usize,
    },
    /// A pad outside the picture or the window.
    #[error("the pad cannot be seen: lay the whole strip into the window and keep it in the picture")]
    PadHidden,
    /// A pad of two colours.
    #[error(
        "the two halves of the pad differ: it is folded, half covered or half wetted; dip a fresh strip and lay it flat"
    )]
    PadCovered,
    /// No pad where there should be one.
    #[error("the pad is missing: only bare strip can be seen in its place; dip another strip")]
    PadMissing,
    /// A deep shadow lies on the vial.
    #[error("a deep shadow lies over the vial: let the light fall freely on vial and card")]
    DeepShadow,
}

/// A measured sample.
#[derive(Debug, Clone, PartialEq)]
pub struct Sample {
    /// Colour of the liquid relative to bare paper in the same light.
    pub colour: Relative,
    /// Scatter of the colour over the liquid, natural logarithm, mean of the channels.
    pub spread: f64,
    /// Light on the paper to the left and to the right of the sample, where the window is wide enough.
    pub beside: Option<(Light, Light)>,
    /// What around it tells of a veil on it.
    pub around: Option<Around>,
    /// Measured area on the card's plane, corners clockwise from the top left, mm.
    pub area: [PointMm; 4],
    /// Doubts.
    pub flags: Vec<Flag>,
}

/// Finds the vial in a window and measures its liquid.
///
/// # Errors
/// There is no vial, more than one, or one outside the window, or too little of its liquid can be measured.
pub fn find_vial(
    photo: &Photo,
    view: &CardView,
    light: &Illumination,
    window: RectMm,
) -> Result<Sample, SampleError> {
    let outline = view.layout.outline();
    let inner = RectMm::new(outline.x0 + 1.0, window.y0, outline.x1 - 1.0, outline.y1 - 0.5);
    let column = RectMm::new(window.x0 - COLUMN_REACH_MM, inner.y0, window.x1 + COLUMN_REACH_MM, inner.y1);
    let raster = Raster::sample(photo, view, light, inner.cut_to(&column), GRID_MM);
    let place = Place::of(view.layout, window);
    let in_window = walls_in_window(&raster, &place);
    // Only below the windows is the whole width looked at.
    let below = RectMm::new(inner.x0, window.y1 + OUTLINE_REACH_MM, inner.x1, inner.y1);
    let strip = Raster::sample(photo, view, light, below, GRID_MM);
    let elsewhere = walls_below(&strip, (below.y0, outline.y1 - 1.2));
    let (left, right) = one_vial(&elsewhere, &place, &in_window)?;
    let axis = Axis { x: (left + right) / 2.0, y: in_window.y, tilt: in_window.tilt };
    let end = column_end(&raster, &in_window, outline.y1 - CARD_END_MM);
    let (top, bottom) = liquid_column(&raster, &axis, right - left, window, end)?;
    if right - left >= 2.0 * VIAL_WIDTH_MM.start()
        && touching::are_two(&raster, &axis, right - left, (top, bottom))
    {
        return Err(SampleError::SeveralVials);
    }
    let liquid = liquid::measure(&raster, &axis, right - left, (top, bottom));
    let liquid = liquid
        .filter(|liquid| liquid.glare <= MOST_GLARE && liquid.clipped <= MOST_CLIPPED)
        .ok_or(SampleError::Glare)?;
    let sides = side_light(&raster, window, (left, right), (top, bottom));
    if sides < DEEP_SHADOW {
        return Err(SampleError::DeepShadow);
    }
    let mut sample = sample_of(&liquid, &axis, (top, bottom), sides);
    sample.around = darkest_at_surface(&raster, &axis, right - left, top - MENISCUS_MM).map(Around::Surface);
    sample.beside = paper_beside(&raster, light, &place, (left, right));
    Ok(sample)
}

fn sample_of(liquid: &Liquid, axis: &Axis, (top, bottom): (f64, f64), sides: f64) -> Sample {
    let mut flags = Vec::new();
    if liquid.glare > SOME_GLARE {
        flags.push(Flag::GlareRemoved);
    }
    if sides < SHADOW {
        flags.push(Flag::ShadowOnCard);
    }
    let corner = |y: f64, side: f64| PointMm { x: axis.x_at(y) + side * liquid.half_width, y };
    Sample {
        colour: liquid.colour,
        spread: liquid.spread,
        beside: None,
        around: None,
        area: [corner(top, -1.0), corner(top, 1.0), corner(bottom, 1.0), corner(bottom, -1.0)],
        flags,
    }
}

/// The darkest row about the liquid's surface: there the meniscus shows the dark of the room.
fn darkest_at_surface(raster: &Raster, axis: &Axis, width: f64, surface: f64) -> Option<Relative> {
    let half = SURFACE_SHARE_OF_WIDTH * width / 2.0;
    raster
        .row_range(surface - SURFACE_REACH_MM, surface + MENISCUS_MM)
        .filter_map(|row| {
            let x = axis.x_at(raster.y(row as f64));
            row_colour(raster, row, x - half, x + half)
        })
        .min_by(|a, b| a.iter().sum::<f64>().total_cmp(&b.iter().sum()))
        .map(relative)
}

/// Heights at which walls are looked for: the lower half, where a standing vial holds its liquid.
fn wall_rows(window: RectMm) -> (f64, f64) {
    (window.y1 - 0.27 * window.height(), window.y1 - OUTLINE_REACH_MM)
}

/// A window among its neighbours.
struct Place {
    window: RectMm,
    /// From where to where what stands before the card counts as standing at this window: up to the
    /// middles between it and its neighbours.
    own: (f64, f64),
    /// Width of the bare paper beside it that is looked at, mm.
    side: f64,
}

impl Place {
    fn of(layout: &Layout, window: RectMm) -> Self {
        let others = || layout.windows.iter().filter(|other| **other != window);
        let left = others().filter(|other| other.x1 <= window.x0).map(|other| (other.x1 + window.x0) / 2.0);
        let right = others().filter(|other| other.x0 >= window.x1).map(|other| (window.x1 + other.x0) / 2.0);
        let gap = |patch: RectMm| (window.x0 - patch.x1).max(patch.x0 - window.x1);
        let free = layout.patches.iter().map(|patch| gap(patch.rect)).fold(f64::INFINITY, f64::min);
        Self {
            window,
            own: (left.fold(f64::NEG_INFINITY, f64::max), right.fold(f64::INFINITY, f64::min)),
            side: (free - PATCH_CLEARANCE_MM).clamp(0.0, SIDE_MM),
        }
    }

    /// Outer edges of those walls that stand at this window, or `margin` mm beyond that.
    fn walls<'a>(&self, walls: &'a [Wall], margin: f64) -> impl Iterator<Item = &'a Wall> + Clone {
        let (from, to) = (self.own.0 - margin, self.own.1 + margin);
        walls.iter().filter(move |wall| wall.x0 >= from && wall.x1 <= to)
    }

    /// Whether a vial stands at this window or on its border to the next. No vial that stands well
    /// before the next window reaches so far over with both its walls.
    fn has_vial_beside(&self, walls: &[Wall]) -> bool {
        let mut near = self.walls(walls, VIAL_WIDTH_MM.end() / 2.0);
        let first = near.next();
        let last = near.last().or(first);
        first.zip(last).is_some_and(|(first, last)| last.x1 - first.x0 >= *VIAL_WIDTH_MM.start())
    }
}

/// Upright edges in the window and on the bare paper to its sides, without the window's outline.
fn walls_in_window(raster: &Raster, place: &Place) -> Walls {
    let window = place.window;
    let range = (window.x0 - place.side, window.x1 + place.side);
    let outline = [window.x0 - WINDOW_OUTLINE_MM / 2.0, window.x1 + WINDOW_OUTLINE_MM / 2.0];
    let on_outline = |x: f64| outline.iter().any(|line| (line - x).abs() < OUTLINE_REACH_MM);
    let mut found = walls::find(raster, range, wall_rows(window), on_outline);
    found.walls = strong(found.walls);
    found
}

/// Edges that are strong against the second strongest (one bright streak may outshine the walls).
fn strong(walls: Vec<Wall>) -> Vec<Wall> {
    let mut strengths: Vec<f64> = walls.iter().map(|wall| wall.strength).collect();
    strengths.sort_by(f64::total_cmp);
    let reference = strengths.iter().rev().nth(1).or(strengths.last()).copied().unwrap_or(0.0);
    walls.into_iter().filter(|wall| wall.strength >= WALL_SHARE * reference).collect()
}

/// Outer edges of the one vial in the window.
fn one_vial(elsewhere: &[Wall], place: &Place, in_window: &Walls) -> Result<(f64, f64), SampleError> {
    let window = place.window;
    let extent = |walls: &[Wall]| Some((walls.first()?.x0, walls.last()?.x1));
    let Some((left, right)) = extent(&in_window.walls).filter(|(l, r)| r - l >= *VIAL_WIDTH_MM.start())
    else {
        let is_beside = place.has_vial_beside(elsewhere);
        return Err(if is_beside { SampleError::OutsideWindow } else { SampleError::Empty });
    };
    let another = place
        .walls(elsewhere, 0.0)
        .any(|wall| wall.x1 < left - *VIAL_WIDTH_MM.start() || wall.x0 > right + *VIAL_WIDTH_MM.start());
    if right - left > *VIAL_WIDTH_MM.end() || another {
        return Err(SampleError::SeveralVials);
    }
    if left < window.x0 - 1.5 || right > window.x1 + 1.5 {
        return Err(SampleError::OutsideWindow);
    }
    Ok((left, right))
}

/// Clear upright edges below the windows, where there is only bare paper: whatever stands there
/// before the card is a vial.
fn walls_below(raster: &Raster, below: (f64, f64)) -> Vec<Wall> {
    let margin = TAG_COLUMN_MM;
    let range = (raster.x(0.0) + margin, raster.x(raster.columns() as f64 - 1.0) - margin);
    let mut found = walls::find(raster, range, below, |_| false).walls;
    let strongest = found.iter().map(|wall| wall.strength).fold(0.0, f64::max);
    found.retain(|wall| {
        wall.strength >= CLEAR_EDGE.max(BRIGHT_SPOT_SHARE * strongest) && wall.x1 - wall.x0 <= SHARP_MM
    });
    found
}

/// How far down liquid can be, mm: to the card's end, or to the foot of a vial that is held or stands
/// higher. Below it is bare card, which would pass for clear liquid.
fn column_end(raster: &Raster, walls: &Walls, card_end: f64) -> f64 {
    let foot = walls.foot(raster, card_end);
    if foot < card_end { foot - BASE_MM } else { card_end }
}

/// Top and bottom of the liquid that is measured, mm: from the surface to the base, or to where
/// the liquid can end.
fn liquid_column(
    raster: &Raster,
    axis: &Axis,
    width: f64,
    window: RectMm,
    end: f64,
) -> Result<(f64, f64), SampleError> {
    let edges = level_edges(raster, axis, width, (window.y0 + 1.0, end + EDGE_REACH_MM));
    let outline = window.y1 + WINDOW_OUTLINE_MM / 2.0;
    let strongest = edges.iter().map(|edge| edge.strength).fold(0.0, f64::max);
    let threshold = SURFACE_EDGE.max(SURFACE_SHARE * strongest);
    let strong: Vec<f64> = edges
        .iter()
        .filter(|edge| edge.strength >= threshold && (edge.y - outline).abs() > OUTLINE_REACH_MM)
        .map(|edge| edge.y)
        .collect();
    // The surface is the lowest edge that leaves a column below it.
    let surface = strong
        .iter()
        .copied()
        .filter(|&y| y + MENISCUS_MM + LEAST_COLUMN_MM <= end)
        .fold(None, |_, y| Some(y));
    let top = surface.unwrap_or(window.y0) + MENISCUS_MM;
    let base = strong.iter().copied().find(|&y| y > top + LEAST_COLUMN_MM).map_or(end, |y| y - BASE_MM);
    let height = base.min(end) - top;
    if surface.is_none() || height < LEAST_COLUMN_MM {
        return Err(SampleError::TooLittleLiquid { millimetres: height.max(0.0) });
    }
    Ok((top, base.min(end)))
}

/// Light on the paper beside the vial against that on the card: the brighter side, so that the
/// vial's own shadow does not count.
fn side_light(raster: &Raster, window: RectMm, (left, right): (f64, f64), rows: (f64, f64)) -> f64 {
    let side = |x0: f64, x1: f64| -> Option<f64> {
        let levels: Vec<f64> = raster
            .row_range(rows.0, rows.1.min(window.y1 - 1.0))
            .filter_map(|row| row_colour(raster, row, x0, x1))
            .map(|log| log.iter().sum::<f64>() / 3.0)
            .collect();
        stats::median(&levels).map(f64::exp)
    };
    let left_side = side((left - 6.0).max(window.x0 + 0.8), left - 2.0);
    let right_side = side(right + 2.0, (right + 6.0).min(window.x1 - 0.8));
    left_side.into_iter().chain(right_side).fold(0.0, f64::max)
}

/// Paper between a window's edge and the vial, as far as there is any; `side` points outwards.
fn strip_beside(edge: f64, side: f64, wall: f64) -> Option<(f64, f64)> {
    let (outer, inner) = (edge - 1.5 * side, edge - 5.0 * side);
    let inner = if side < 0.0 { inner.min(wall - 1.0) } else { inner.max(wall + 1.0) };
    let (from, to) = (outer.min(inner), outer.max(inner));
    let is_free = (outer - inner) * side >= 1.0;
    is_free.then_some((from, to))
}

/// Light of the paper along both sides of the window, or just outside it where the vial stands close;
/// `None` if there are patches.
fn paper_beside(
    raster: &Raster,
    light: &Illumination,
    place: &Place,
    (left, right): (f64, f64),
) -> Option<(Light, Light)> {
    let window = place.window;
    let outside = |strip: (f64, f64)| (place.side >= 3.0).then_some(strip);
    let strips = [
        strip_beside(window.x0, -1.0, left).or(outside((window.x0 - 3.0, window.x0 - 0.9)))?,
        strip_beside(window.x1, 1.0, right).or(outside((window.x1 + 0.9, window.x1 + 3.0)))?,
    ];
    let rows = raster.row_range(window.y0 + 12.0, window.y0 + 0.62 * window.height());
    let colour = |(x0, x1): (f64, f64)| -> Option<Light> {
        let logs: Vec<[f64; 3]> = rows.clone().filter_map(|row| row_colour(raster, row, x0, x1)).collect();
        let middle = PointMm { x: (x0 + x1) / 2.0, y: window.y0 + 0.38 * window.height() };
        let paper = light.at(middle);
        let channel = |k: usize| stats::median_of(logs.iter().map(|log| log[k]));
        let log = [channel(0)?, channel(1)?, channel(2)?];
        Some(std::array::from_fn(|k| log[k].exp() * paper[k]))
    };
    Some((colour(strips[0])?, colour(strips[1])?))
}

#[cfg(test)]
mod tests;
