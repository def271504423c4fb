//! Finding the card: its tags, and the projection from card millimetres to photo pixels.

use super::decode::{Tag, decode};
use super::grey::{GreyImage, sample_luminance};
use super::homography::{Homography, Point, distance};
use super::layout::{LAYOUTS, Layout, RectMm};
use super::quads::{area, dark_quads};
use super::refine::refine_corners;
use crate::math::stats;
use crate::photo::{Preview, Upright};

/// Longest sides of the pictures in which tags are sought, pixels, in the order in which they are tried.
const SEARCH_SIDES: [usize; 3] = [672, 1344, 2688];
/// A card whose tags are smaller than this in a search picture may have smaller ones beside it that
/// only a larger picture shows, pixels.
const CLEAR_TAG: f64 = 24.0;
/// The same in a photo's preview, which is there before any larger picture.
const CLEAR_IN_PREVIEW: f64 = 18.0;
/// What is measured of a card lies within its rim; the preview misses it by less than this, mm.
const RIM_MM: f64 = 1.0;
/// Half sides of the threshold's neighbourhood, in shares of the search picture's longest side, in
/// the order in which they are tried: near, far and very near cards.
const THRESHOLD_RADII: [f64; 4] = [0.025, 0.012, 0.05, 0.006];
/// Corners farther than this from the fitted projection belong to no flat card, millimetres.
const MOST_RESIDUAL_MM: f64 = 1.0;
/// A card seen more slantwise than this shows its colours through gloss, degrees.
const MOST_TILT_DEGREES: f64 = 55.0;
/// The least resolution at which patches and liquid hold enough pixels, pixels a millimetre.
const LEAST_PIXELS_PER_MM: f64 = 0.9;

/// A photo whose brightest hundredth lies below this shows no card, linear luminance.
const DARK_PHOTO: f64 = 0.03;

/// Why no card could be located.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum CardError {
    /// No tag of the family was found.
    #[error(
        "no reference card found, or it is too blurred to read: put the printed card, with its four square corner tags, fully into the picture, tap on it to focus, hold still, and use good light"
    )]
    NoCard,
    /// No tag was found, and the photo is too dark to show one.
    #[error("the photo is far too dark to show the reference card: use more light")]
    TooDark,
    /// Tags of the family were found, but not those of a known card.
    #[error(
        "this is not a Tintwell reference card: its tags are {ids:?}, a card has {expected}; print one with `tintwell card`"
    )]
    ForeignCard {
        /// Ids that were seen.
        ids: Vec<u16>,
        /// Ids that would do.
        expected: String,
    },
    /// Fewer than three tags of a card were found.
    #[error(
        "only {seen} of the card's four corner tags can be seen (tags {ids:?}): uncover the corners and keep the whole card in the picture"
    )]
    TooFewTags {
        /// How many.
        seen: usize,
        /// Which.
        ids: Vec<u16>,
    },
    /// A tag was found at two places.
    #[error(
        "two reference cards are in the picture (tag {id} was seen twice): photograph one card at a time"
    )]
    TwoCards {
        /// The id seen twice.
        id: u16,
    },
    /// The tags read only in a mirror.
    #[error("the photo is mirrored: switch off mirroring in the camera, or photograph the card directly")]
    Mirrored,
    /// The tags do not lie as on a flat card.
    #[error(
        "the corner tags do not lie as on a flat card (off by {residual_mm:.1} mm): flatten the card and photograph it directly, not a picture of it cut together"
    )]
    NotFlat {
        /// Largest distance from a plane's projection, millimetres on the card.
        residual_mm: f64,
    },
    /// The card is seen too much from the side.
    #[error("the card is seen too much from the side (about {degrees:.0} degrees): face it more squarely")]
    TooSlanted {
        /// Angle between the line of sight and the card's normal, degrees.
        degrees: f64,
    },
    /// The card is too small in the picture.
    #[error("the card is too small in the picture ({pixels_per_mm:.1} pixels a millimetre): move closer")]
    TooSmall {
        /// Resolution on the card.
        pixels_per_mm: f64,
    },
}

/// A card located in a photo.
#[derive(Debug, Clone)]
pub struct CardView {
    /// Which card it is.
    pub layout: &'static Layout,
    /// From card millimetres to photo pixels (centres at whole numbers).
    pub to_photo: Homography,
    /// From photo pixels to card millimetres.
    pub to_card: Homography,
    /// Ids of the card's tags that were used.
    pub tags: Vec<u16>,
    /// Root mean square distance of the tag corners from the projection, millimetres on the card.
    pub residual_mm: f64,
    /// Resolution at the card's centre, pixels a millimetre.
    pub pixels_per_mm: f64,
    /// Width over which the tags' edges rise from 20 to 80 %, millimetres on the card: how sharp the
    /// photo is where it is measured.
    pub edge_width_mm: f64,
    /// Tags of the family that belong to no card: slips, with their centre in card millimetres.
    pub slips: Vec<(u16, Point)>,
}

/// Finds the card in an upright photo.
///
/// # Errors
/// There is no card, or it cannot be measured.
pub fn find(photo: &Upright) -> Result<CardView, CardError> {
    find_by_tags(photo, &find_tags(photo))
}

/// A card as its photo's preview shows it.
#[derive(Debug, Clone)]
pub struct Sketch {
    tags: Vec<Tag>,
    /// Corners of the part of the upright photo that holds the card, pixels.
    pub corners: Vec<Point>,
}

impl Sketch {
    /// The card in a photo's preview, if it is clear there; a smaller or harder one may yet be in the
    /// photo itself.
    pub fn of(preview: &Preview) -> Option<Self> {
        let grey = GreyImage::of_preview(preview);
        let tags = THRESHOLD_RADII.iter().find_map(|share| {
            let mut found = Vec::new();
            find_in(&grey, *share, &mut found);
            complete(&found, CLEAR_IN_PREVIEW * Preview::FACTOR as f64).then_some(found)
        })?;
        let layout = choose_layout(&tags).ok()?;
        let pairs: Vec<(Point, Point)> = tags
            .iter()
            .filter_map(|tag| Some((layout.tag(tag.id)?.rect().corners(), tag.corners)))
            .flat_map(|(on_card, at)| on_card.map(|p| (p.x, p.y)).into_iter().zip(at))
            .collect();
        let map = Homography::fit(&pairs)?;
        let rim = layout.outline();
        let rim = RectMm::new(rim.x0 - RIM_MM, rim.y0 - RIM_MM, rim.x1 + RIM_MM, rim.y1 + RIM_MM);
        let is_seen_whole = rim.corners().iter().all(|p| map.jacobian((p.x, p.y)) > 0.0);
        let corners = rim.corners().map(|p| map.apply((p.x, p.y))).to_vec();
        is_seen_whole.then_some(Self { tags, corners })
    }

    /// Finds the card exactly, in the photo itself.
    ///
    /// # Errors
    /// It cannot be measured.
    pub fn find(&self, photo: &Upright) -> Result<CardView, CardError> {
        find_by_tags(photo, &self.tags)
    }
}

fn find_by_tags(photo: &Upright, tags: &[Tag]) -> Result<CardView, CardError> {
    let layout = choose_layout(tags).map_err(|error| explained(photo, error))?;
    let of_card: Vec<Tag> =
        tags.iter().copied().filter(|tag| layout.tag(tag.id).is_some() && !tag.mirrored).collect();
    let (to_photo, kept, residual_mm) = locate(photo, layout, &of_card)?;
    let edge_width_mm = edge_width_mm(photo, layout, &to_photo);
    let view = view(layout, to_photo, kept, residual_mm, tags)?;
    Ok(CardView { edge_width_mm, ..view })
}

/// Why no tag was found, if the photo itself tells.
fn explained(photo: &Upright, error: CardError) -> CardError {
    if error != CardError::NoCard {
        return error;
    }
    let grey = GreyImage::reduced(photo, factor(photo, SEARCH_SIDES[0]));
    if grey.quantile(0.99).is_some_and(|brightest| brightest < DARK_PHOTO) {
        CardError::TooDark
    } else {
        CardError::NoCard
    }
}

/// By how much to reduce a photo so that its longest side has about so many pixels.
fn factor(photo: &Upright, side: usize) -> usize {
    (photo.width().max(photo.height()) as usize).div_ceil(side).max(1)
}

/// All tags, corners in photo pixels. Larger search pictures and other thresholds are tried only
/// until a card is complete.
fn find_tags(photo: &Upright) -> Vec<Tag> {
    let mut factors = SEARCH_SIDES.map(|side| factor(photo, side)).to_vec();
    factors.dedup();
    let mut found: Vec<Tag> = Vec::new();
    for (index, &factor) in factors.iter().enumerate() {
        let least_side = if index == 0 && factors.len() > 1 { CLEAR_TAG * factor as f64 } else { 0.0 };
        let grey = GreyImage::reduced(photo, factor);
        for share in THRESHOLD_RADII {
            find_in(&grey, share, &mut found);
            if complete(&found, least_side) {
                return found;
            }
        }
    }
    found
}

/// Adds the tags in one search picture under one threshold, corners in photo pixels.
fn find_in(grey: &GreyImage, share: f64, found: &mut Vec<Tag>) {
    let radius = ((grey.width.max(grey.height) as f64 * share) as usize).max(3);
    for quad in dark_quads(grey, radius) {
        if let Some(mut tag) = decode(grey, &quad) {
            tag.corners = tag.corners.map(|(x, y)| grey.to_photo(x, y));
            add_tag(found, tag);
        }
    }
}

/// Whether all tags of a card were found, none with a side of less than this, pixels.
fn complete(found: &[Tag], least_side: f64) -> bool {
    let is_clear =
        |tag: &Tag| (0..4).all(|k| distance(tag.corners[k], tag.corners[(k + 1) % 4]) >= least_side);
    let is_found = |id: u16| found.iter().any(|tag| tag.id == id && !tag.mirrored && is_clear(tag));
    LAYOUTS.iter().any(|layout| layout.tags.iter().all(|wanted| is_found(wanted.id)))
}

/// Adds a tag unless it was found before; of two readings of one square the cleaner stays.
fn add_tag(found: &mut Vec<Tag>, tag: Tag) {
    let size = distance(tag.corners[0], tag.corners[2]);
    match found.iter_mut().find(|old| distance(centre(old), centre(&tag)) < 0.3 * size) {
        Some(old) if tag.wrong_bits < old.wrong_bits => *old = tag,
        Some(_) => {}
        None => found.push(tag),
    }
}

fn centre(tag: &Tag) -> Point {
    let sum = tag.corners.iter().fold((0.0, 0.0), |sum, c| (sum.0 + c.0, sum.1 + c.1));
    (sum.0 / 4.0, sum.1 / 4.0)
}

/// The layout most of whose tags were seen.
fn choose_layout(tags: &[Tag]) -> Result<&'static Layout, CardError> {
    let ids_of = |layout: &Layout, mirrored: bool| -> Vec<u16> {
        let mut ids: Vec<u16> = tags
            .iter()
            .filter(|tag| tag.mirrored == mirrored && layout.tag(tag.id).is_some())
            .map(|tag| tag.id)
            .collect();
        ids.sort_unstable();
        ids
    };
    let Some(layout) = LAYOUTS.into_iter().max_by_key(|layout| ids_of(layout, false).len()) else {
        return Err(CardError::NoCard);
    };
    let ids = ids_of(layout, false);
    if let Some(twice) = ids.windows(2).find(|pair| pair[0] == pair[1]) {
        return Err(CardError::TwoCards { id: twice[0] });
    }
    match ids.len() {
        3.. => Ok(layout),
        _ if LAYOUTS.iter().any(|layout| ids_of(layout, true).len() >= 3) => Err(CardError::Mirrored),
        0 if tags.is_empty() => Err(CardError::NoCard),
        0 => Err(CardError::ForeignCard {
            ids: tags.iter().map(|tag| tag.id).collect(),
            expected: LAYOUTS.iter().map(|layout| tag_names(layout)).collect::<Vec<_>>().join(" or "),
        }),
        seen => Err(CardError::TooFewTags { seen, ids }),
    }
}

fn tag_names(layout: &Layout) -> String {
    layout.tags.map(|tag| tag.id.to_string()).join(", ")
}

/// Refines the corners and fits the projection; a tag whose corners do not fit is left out while
/// three remain.
fn locate(photo: &Upright, layout: &Layout, tags: &[Tag]) -> Result<(Homography, Vec<u16>, f64), CardError> {
    let mut corners: Vec<(u16, Vec<(Point, Point)>)> = tags
        .iter()
        .filter_map(|tag| {
            let at = refine_corners(photo, &tag.corners).unwrap_or(tag.corners);
            let on_card = layout.tag(tag.id)?.rect().corners().map(|p| (p.x, p.y));
            Some((tag.id, on_card.into_iter().zip(at).collect()))
        })
        .collect();
    loop {
        let pairs: Vec<(Point, Point)> = corners.iter().flat_map(|(_, pairs)| pairs.clone()).collect();
        let map = Homography::fit(&pairs).ok_or(CardError::NotFlat { residual_mm: f64::INFINITY })?;
        let back = map.inverse().ok_or(CardError::NotFlat { residual_mm: f64::INFINITY })?;
        let error = |pair: &(Point, Point)| distance(back.apply(pair.1), pair.0);
        let worst_of = |pairs: &[(Point, Point)]| pairs.iter().map(error).fold(0.0, f64::max);
        let (worst, residual) = corners
            .iter()
            .map(|(_, pairs)| worst_of(pairs))
            .enumerate()
            .fold((0, 0.0), |best, next| if next.1 > best.1 { next } else { best });
        if residual <= MOST_RESIDUAL_MM {
            let square: f64 = pairs.iter().map(|pair| error(pair).powi(2)).sum();
            let ids = corners.iter().map(|(id, _)| *id).collect();
            return Ok((map, ids, (square / pairs.len() as f64).sqrt()));
        }
        if corners.len() <= 3 {
            return Err(CardError::NotFlat { residual_mm: residual });
        }
        corners.remove(worst);
    }
}

/// Checks that the projection is that of a card that can be measured, and gathers what is known.
fn view(
    layout: &'static Layout,
    to_photo: Homography,
    tags: Vec<u16>,
    residual_mm: f64,
    seen: &[Tag],
) -> Result<CardView, CardError> {
    let to_card = to_photo.inverse().ok_or(CardError::NotFlat { residual_mm })?;
    let (width, height) = (layout.width_mm, layout.height_mm);
    let rim = [(0.0, 0.0), (width, 0.0), (width, height), (0.0, height)];
    if rim.iter().any(|&p| to_photo.jacobian(p).signum() < 0.0) {
        return Err(CardError::NotFlat { residual_mm });
    }
    let degrees = tilt_degrees(layout, &to_photo);
    if degrees > MOST_TILT_DEGREES {
        return Err(CardError::TooSlanted { degrees });
    }
    let pixels_per_mm = (area(&rim.map(|p| to_photo.apply(p))) / (width * height)).sqrt();
    if pixels_per_mm < LEAST_PIXELS_PER_MM {
        return Err(CardError::TooSmall { pixels_per_mm });
    }
    let slips = seen
        .iter()
        .filter(|tag| !tag.mirrored && LAYOUTS.iter().all(|layout| layout.tag(tag.id).is_none()))
        .map(|tag| (tag.id, to_card.apply(centre(tag))))
        .collect();
    Ok(CardView { layout, to_photo, to_card, tags, residual_mm, pixels_per_mm, edge_width_mm: 0.0, slips })
}

/// Angle between the line of sight and the card's normal, from how differently the projection
/// scales its two directions at the card's centre.
fn tilt_degrees(layout: &Layout, map: &Homography) -> f64 {
    let (x, y) = (layout.width_mm / 2.0, layout.height_mm / 2.0);
    let h = 0.5;
    let (east, west) = (map.apply((x + h, y)), map.apply((x - h, y)));
    let (south, north) = (map.apply((x, y + h)), map.apply((x, y - h)));
    let (a, c) = (east.0 - west.0, east.1 - west.1);
    let (b, d) = (south.0 - north.0, south.1 - north.1);
    let sum = a * a + b * b + c * c + d * d;
    let determinant = a * d - b * c;
    let root = (sum * sum - 4.0 * determinant * determinant).max(0.0).sqrt();
    let ratio = ((sum - root) / (sum + root)).max(0.0).sqrt();
    ratio.clamp(0.0, 1.0).acos().to_degrees()
}

/// Half the length of a profile across a tag's edge, mm: the border and the bare margin are as wide.
const PROFILE_MM: f64 = 1.9;
/// Samples of a profile.
const PROFILE_SAMPLES: usize = 77;

/// Median rise over the outer edges of all tags that are in the picture.
fn edge_width_mm(photo: &Upright, layout: &Layout, map: &Homography) -> f64 {
    let outwards = [(0.0, -1.0), (1.0, 0.0), (0.0, 1.0), (-1.0, 0.0)];
    let widths: Vec<f64> = layout
        .tags
        .iter()
        .flat_map(|tag| {
            let corners = tag.rect().corners();
            (0..4).filter_map(move |side| {
                let (a, b) = (corners[side], corners[(side + 1) % 4]);
                rise_mm(photo, map, ((a.x + b.x) / 2.0, (a.y + b.y) / 2.0), outwards[side])
            })
        })
        .collect();
    stats::median(&widths).unwrap_or(0.0)
}

/// Distance between 20 and 80 % of the rise from a tag's border to its margin.
fn rise_mm(photo: &Upright, map: &Homography, on_edge: Point, outwards: Point) -> Option<f64> {
    let profile: Vec<f64> = (0..PROFILE_SAMPLES)
        .map(|k| {
            let s = PROFILE_MM * (2.0 * k as f64 / (PROFILE_SAMPLES - 1) as f64 - 1.0);
            let (x, y) = map.apply((on_edge.0 + s * outwards.0, on_edge.1 + s * outwards.1));
            sample_luminance(photo, x, y)
        })
        .collect::<Option<_>>()?;
    let (dark, bright) = (profile[4], profile[PROFILE_SAMPLES - 5]);
    let passes = |share: f64| profile.iter().position(|value| *value >= dark + share * (bright - dark));
    let (low, high) = (passes(0.2)?, passes(0.8)?);
    (bright > dark).then(|| 2.0 * PROFILE_MM * high.saturating_sub(low) as f64 / (PROFILE_SAMPLES - 1) as f64)
}

#[cfg(test)]
mod tests;
