//! Tag slips that lie on the card: what is at the places kept free for them, and what is elsewhere.
//!
//! Slips say which tank and which kit a photo is of; what an id stands for is not known here.

use image::{Rgb, RgbImage};

use super::decode::decode;
use super::find::CardView;
use super::grey::{GreyImage, sample_luminance};
use super::homography::{Point, distance};
use super::layout::{PointMm, RectMm, SLIP_IDS, TAG_SIZE_MM};
use super::quads::dark_quads;
use crate::math::stats;
use crate::photo::Upright;

/// A slip whose middle lies this near to a place lies at it, mm: half a slip's width and a little.
const NEAR_MM: f64 = 12.0;
/// A place that sends back less than this share of the paper's light is covered: a tag is black on
/// more than half of its area.
const COVERED_SHARE: f64 = 0.62;
/// Half the side of the part of the card that is looked at once more where a place is covered, mm.
const SECOND_LOOK_MM: f64 = 18.0;
/// Half sides of the threshold's neighbourhood in that second look, mm.
const SECOND_LOOK_RADII_MM: [f64; 3] = [6.0, 10.0, 3.5];
/// Resolution to which a large photo is reduced for it, pixels a millimetre.
const SECOND_LOOK_PIXELS: f64 = 8.0;

/// What lies at one place for slips.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum AtPlace {
    /// Nothing: bare paper, or the place is not in the picture.
    Nothing,
    /// Something dark that is no readable slip.
    Unreadable,
    /// Slips with these ids; more than one if two share the place.
    Slips(Vec<u16>),
}

/// The slips in a photo.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Laid {
    /// What lies at each of the layout's places, in its order (left: tank, right: kit).
    pub places: Vec<AtPlace>,
    /// Slips that lie at none of them, on the card or beside it.
    pub elsewhere: Vec<u16>,
}

/// Sorts the slips in a photo by where they lie, and looks again where a place is covered unread.
pub fn laid(photo: &Upright, view: &CardView) -> Laid {
    let slips: Vec<(u16, Point)> =
        view.slips.iter().copied().filter(|(id, _)| SLIP_IDS.contains(id)).collect();
    let is_near = |place: &PointMm, at: Point| distance((place.x, place.y), at) <= NEAR_MM;
    let at_place = |place: &PointMm| {
        let mut ids: Vec<u16> =
            slips.iter().filter(|(_, at)| is_near(place, *at)).map(|(id, _)| *id).collect();
        if ids.is_empty() && is_covered(photo, view, *place) {
            ids.extend(look_again(photo, view, *place));
            if ids.is_empty() {
                return AtPlace::Unreadable;
            }
        }
        if ids.is_empty() { AtPlace::Nothing } else { AtPlace::Slips(ids) }
    };
    let places = view.layout.slip_places;
    let is_elsewhere = |at: Point| !places.iter().any(|place| is_near(place, at));
    Laid {
        places: places.iter().map(at_place).collect(),
        elsewhere: slips.iter().filter(|(_, at)| is_elsewhere(*at)).map(|(id, _)| *id).collect(),
    }
}

/// Whether a place is darker than the bare paper above and below it.
fn is_covered(photo: &Upright, view: &CardView, place: PointMm) -> bool {
    let median = |area: RectMm| stats::median(&luminances(photo, view, area));
    let mean = |area: RectMm| {
        let values = luminances(photo, view, area);
        (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
    };
    let square = RectMm::square_about(place, TAG_SIZE_MM - 2.0);
    let beside = |dy: f64| RectMm::at(place.x - 5.0, place.y + dy, 10.0, 4.0);
    let paper = [beside(-20.0), beside(16.0)].into_iter().filter_map(median).reduce(f64::max);
    matches!((mean(square), paper), (Some(own), Some(paper)) if own < COVERED_SHARE * paper)
}

/// Luminance on a grid of one millimetre, as far as it lies in the picture.
fn luminances(photo: &Upright, view: &CardView, area: RectMm) -> Vec<f64> {
    let steps = |from: f64, length: f64| (0..length as usize).map(move |k| from + k as f64 + 0.5);
    steps(area.y0, area.height())
        .flat_map(|y| steps(area.x0, area.width()).map(move |x| (x, y)))
        .filter_map(|at| {
            let (x, y) = view.to_photo.apply(at);
            sample_luminance(photo, x, y)
        })
        .collect()
}

/// Seeks a tag in the part of the photo round a place, with thresholds of its own.
fn look_again(photo: &Upright, view: &CardView, place: PointMm) -> Option<u16> {
    let corners = RectMm::square_about(place, 2.0 * SECOND_LOOK_MM).corners();
    let corners = corners.map(|corner| view.to_photo.apply((corner.x, corner.y)));
    let (width, height) = photo.dimensions();
    let bound = |pick: fn(&Point) -> f64, most: u32| {
        let values = corners.iter().map(pick);
        let low = values.clone().fold(f64::INFINITY, f64::min).clamp(0.0, f64::from(most));
        let high = values.fold(0.0, f64::max).clamp(0.0, f64::from(most));
        (low as u32, high as u32)
    };
    let ((left, right), (top, bottom)) = (bound(|p| p.0, width), bound(|p| p.1, height));
    // Beyond the card's rim not all may have been decoded.
    let pixel = |x, y| Rgb(photo.get(left + x, top + y).unwrap_or([255; 3]));
    let part = Upright::from(RgbImage::from_fn(right - left, bottom - top, pixel));
    let factor = (view.pixels_per_mm / SECOND_LOOK_PIXELS).floor().max(1.0) as usize;
    let grey = GreyImage::reduced(&part, factor);
    let pixels_per_mm = view.pixels_per_mm / factor as f64;
    SECOND_LOOK_RADII_MM.iter().find_map(|radius| {
        let quads = dark_quads(&grey, ((radius * pixels_per_mm) as usize).max(3));
        let tags = quads.iter().filter_map(|quad| decode(&grey, quad));
        tags.filter(|tag| !tag.mirrored && SLIP_IDS.contains(&tag.id)).map(|tag| tag.id).next()
    })
}
