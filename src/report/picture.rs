//! The picture of a reading: the photo with what was measured in it, and beside it the liquid's
//! corrected colour among the colours of its chart.

use image::{RgbImage, imageops};
use palette::{LinSrgb, Srgb};

use super::canvas::{At, Canvas, LEADING, line_count};
use super::look::{CARD, FAINT_INK, GROUND, INK, RULE, Rgb, SAMPLE};
use super::sighting;
use crate::math::digits::rounded;
use crate::reading::{Sighting, Status};
use crate::terms::space::Relative;

/// Longest side of the photo in the picture, pixels.
const LONGEST_SIDE: u32 = 1600;
/// Width of the panel beside it, pixels.
const PANEL: f64 = 640.0;
/// Margin within the panel, pixels.
const MARGIN: f64 = 36.0;
/// Width that is left for words.
const COLUMN: f64 = PANEL - 2.0 * MARGIN;
/// Heights of capitals, pixels.
const TITLE: f64 = 24.0;
const BODY: f64 = 13.0;
const SMALL: f64 = 11.0;
/// Height of the three large colour fields and of the small ones of the whole chart, pixels.
const FIELD: f64 = 110.0;
const SWATCH: f64 = 34.0;

/// A photo scaled down for a picture.
pub struct Scaled {
    pub(super) image: RgbImage,
    pub(super) scale: f64,
}

impl Scaled {
    /// Scales an upright sRGB photo down; small ones stay as they are.
    pub fn new(photo: RgbImage) -> Self {
        let longest = photo.width().max(photo.height());
        if longest <= LONGEST_SIDE {
            return Self { image: photo, scale: 1.0 };
        }
        let scale = f64::from(LONGEST_SIDE) / f64::from(longest);
        let side = |pixels: u32| ((f64::from(pixels) * scale).round() as u32).max(1);
        let image = imageops::thumbnail(&photo, side(photo.width()), side(photo.height()));
        Self { image, scale }
    }
}

/// Draws the photo alone with what was measured in it, its longest side `side` pixels at most.
pub fn thumbnail(photo: Scaled, sightings: &[Sighting], side: u32) -> RgbImage {
    let Scaled { image, scale } = photo;
    let mut canvas = Canvas { image };
    mark(&mut canvas, sightings, scale);
    let longest = canvas.image.width().max(canvas.image.height()).max(1);
    let share = |pixels: u32| (pixels * side.min(longest) / longest).max(1);
    imageops::thumbnail(&canvas.image, share(canvas.image.width()), share(canvas.image.height()))
}

/// Draws the picture of everything that was read in one photo.
pub fn draw(photo: &Scaled, sightings: &[Sighting]) -> RgbImage {
    let left = f64::from(photo.image.width());
    let needed: f64 = MARGIN + sightings.iter().map(panel_height).sum::<f64>();
    let height = photo.image.height().max(needed.ceil() as u32);
    let mut canvas = Canvas::new(photo.image.width() + PANEL as u32, height, GROUND);
    imageops::replace(&mut canvas.image, &photo.image, 0, 0);
    mark(&mut canvas, sightings, photo.scale);
    // Outlines that run out of the photo end at its edge.
    canvas.fill((left, 0.0), PANEL, f64::from(height), GROUND);
    canvas.line(&[(left, 0.0), (left, f64::from(height))], 2.0, RULE);
    let mut top = MARGIN;
    for (index, sighting) in sightings.iter().enumerate() {
        let number = if sightings.len() > 1 { format!("{} ", index + 1) } else { String::new() };
        panel(&mut canvas, sighting, &number, (left + MARGIN, top));
        top += panel_height(sighting);
    }
    canvas.image
}

/// Outlines on the photo: the card, its patches, what was measured.
fn mark(canvas: &mut Canvas, sightings: &[Sighting], scale: f64) {
    let scaled = |points: &[(f64, f64)]| points.iter().map(|p| (p.0 * scale, p.1 * scale)).collect();
    if let Some(first) = sightings.first() {
        for patch in &first.evidence.patches {
            let corners: Vec<At> = scaled(patch);
            canvas.outline(&corners, 1.2, CARD);
        }
        let card: Vec<At> = scaled(&first.evidence.card);
        canvas.outline(&card, 4.0, CARD);
        if let Some(&corner) = card.first() {
            canvas.plate("card", (corner.0 + 8.0, corner.1 - 12.0), BODY, CARD);
        }
    }
    let areas: Vec<Vec<At>> = sightings.iter().map(|sighting| scaled(&sighting.evidence.sample)).collect();
    let label = |index: usize| (index + 1).to_string();
    mark_samples(canvas, &areas, &label);
}

/// Outlines of samples, each with its label beside it.
pub(super) fn mark_samples(canvas: &mut Canvas, areas: &[Vec<At>], label: &dyn Fn(usize) -> String) {
    let aside = number_offset(areas);
    for (index, area) in areas.iter().enumerate() {
        canvas.outline(area, 3.0, SAMPLE);
        match (area.first(), aside) {
            (Some(_), Some(aside)) => {
                let centre = middle(area);
                let place = (centre.0 + aside.0 - 0.3 * BODY, centre.1 + aside.1 + 0.4 * BODY);
                canvas.plate(&label(index), place, BODY, SAMPLE);
            }
            (Some(&corner), None) => canvas.plate("measured", (corner.0, corner.1 - 12.0), BODY, SAMPLE),
            (None, _) => {}
        }
    }
}

fn middle(area: &[At]) -> At {
    let count = area.len().max(1) as f64;
    (area.iter().map(|p| p.0).sum::<f64>() / count, area.iter().map(|p| p.1).sum::<f64>() / count)
}

/// Where the numbers of several samples stand from their middles: square to the row they form, so
/// that they cover none; `None` for a single sample.
fn number_offset(areas: &[Vec<At>]) -> Option<At> {
    let seen: Vec<At> = areas.iter().filter(|area| !area.is_empty()).map(|area| middle(area)).collect();
    let (first, last) = (seen.first()?, seen.last()?);
    let along = (last.0 - first.0, last.1 - first.1);
    let length = along.0.hypot(along.1);
    let distance = length / (seen.len() - 1).max(1) as f64 + BODY;
    (areas.len() > 1 && length > 0.0).then(|| (along.1 / length * distance, -along.0 / length * distance))
}

/// Everything that is said below the colours.
fn remarks(sighting: &Sighting) -> Vec<String> {
    let mut remarks: Vec<String> =
        sighting.flags.iter().map(|flag| format!("! {}: {}", flag.cause(), flag.remedy())).collect();
    if sighting.status != Status::Refused {
        remarks.insert(0, sighting::sureness(sighting));
    }
    remarks
}

fn panel_height(sighting: &Sighting) -> f64 {
    let words = |text: &str, size: f64| line_count(text, COLUMN, size) as f64 * LEADING * size;
    let colours = if shows_colours(sighting) { 3.0 * FIELD } else { 0.0 };
    let remarks: f64 = remarks(sighting).iter().map(|remark| words(remark, BODY)).sum();
    2.0 * TITLE * LEADING + words(&sighting::headline(sighting), BODY * 1.3) + colours + remarks + MARGIN
}

fn shows_colours(sighting: &Sighting) -> bool {
    sighting.evidence.colour.is_some() && sighting.evidence.levels.len() > 1
}

fn panel(canvas: &mut Canvas, sighting: &Sighting, number: &str, (left, top): At) {
    let title = sighting.analyte.map_or("photo", |analyte| analyte.word());
    canvas.words(&format!("{number}{title}"), (left, top + TITLE), TITLE, INK);
    let mut y = top + TITLE * LEADING + BODY * 1.8;
    y = canvas.paragraph(&sighting::headline(sighting), (left, y), COLUMN, BODY * 1.3, INK);
    if shows_colours(sighting) {
        y = colours(canvas, sighting, (left, y));
    }
    for remark in remarks(sighting) {
        y = canvas.paragraph(&remark, (left, y + SMALL), COLUMN, BODY, INK) - SMALL * 0.5;
    }
}

/// The liquid between its neighbours, then the whole chart; returns where to go on.
fn colours(canvas: &mut Canvas, sighting: &Sighting, (left, top): At) -> f64 {
    let evidence = &sighting.evidence;
    let Some(colour) = evidence.colour else { return top };
    let lower = lower_neighbour(sighting);
    let third = COLUMN / 3.0;
    let neighbours = [(0.0, evidence.levels[lower]), (2.0, evidence.levels[lower + 1])];
    for (place, (value, light)) in neighbours {
        canvas.fill((left + place * third, top), third, FIELD, shown(light));
        let label = format!("chart {}", labelled(sighting, value));
        canvas.words(&label, (left + place * third, top + FIELD + 1.6 * SMALL), SMALL, INK);
    }
    canvas.fill((left + third, top), third, FIELD, shown(colour));
    canvas.words("this sample", (left + third, top + FIELD + 1.6 * SMALL), SMALL, SAMPLE);
    frame(canvas, (left + third, top), third, FIELD, 2.5, SAMPLE);
    frame(canvas, (left, top), COLUMN, FIELD, 1.0, RULE);
    let below = top + FIELD + 4.0 * SMALL;
    whole_chart(canvas, sighting, (left, below));
    let caption = "The bar is the interval. Colours are corrected to the chart's light; how bright a sample looks depends on where the lamp stands; its hue decides.";
    canvas.paragraph(caption, (left, below + SWATCH + 6.2 * SMALL), COLUMN, SMALL, FAINT_INK) + SMALL
}

/// All levels in a row, with a mark where the reading lies and a bar over its interval.
fn whole_chart(canvas: &mut Canvas, sighting: &Sighting, (left, top): At) {
    let levels = &sighting.evidence.levels;
    let width = COLUMN / levels.len() as f64;
    for (index, &(value, light)) in levels.iter().enumerate() {
        let x = left + width * index as f64;
        canvas.fill((x, top), width, SWATCH, shown(light));
        canvas.words(&rounded(value).to_string(), (x + 3.0, top + SWATCH + 1.7 * SMALL), SMALL, INK);
    }
    frame(canvas, (left, top), COLUMN, SWATCH, 1.0, RULE);
    let across = |place: f64| left + width * (0.5 + place);
    let x = across(place_among(levels, sighting));
    let tip = (x, top + SWATCH + 2.3 * SMALL);
    let foot = tip.1 + 1.0 * SMALL;
    canvas.line(&[tip, (x - 6.0, foot), (x + 6.0, foot), tip], 2.0, SAMPLE);
    if let Some((low, high)) = ends_among(levels, sighting) {
        let bar = foot + 0.6 * SMALL;
        canvas.line(&[(across(low), bar), (across(high), bar)], 3.0, SAMPLE);
    }
}

/// Place of the reading in steps from the first level; beyond the last one when it is above the chart.
fn place_among(levels: &[(f64, Relative)], sighting: &Sighting) -> f64 {
    let last = (levels.len() - 1) as f64;
    match sighting.value {
        Some(value) => place_of(levels, value).clamp(0.0, last),
        None if sighting.status == Status::AboveRange => last + 0.4,
        None => last,
    }
}

/// Places of the interval's ends, as far as the row reaches; an end that is not known is the row's.
fn ends_among(levels: &[(f64, Relative)], sighting: &Sighting) -> Option<At> {
    if sighting.status == Status::Refused {
        return None;
    }
    let (first, last) = (-0.5, levels.len() as f64 - 0.5);
    let end = |value: Option<f64>, unknown: f64| {
        value.map_or(unknown, |value| place_of(levels, value).clamp(first, last))
    };
    Some((end(sighting.low, first), end(sighting.high, last)))
}

/// Place of a value in steps from the first level, drawn on beyond the first and the last.
fn place_of(levels: &[(f64, Relative)], value: f64) -> f64 {
    let lower = level_below(levels, value);
    let (a, b) = (levels[lower].0, levels[lower + 1].0);
    lower as f64 + (value - a) / (b - a)
}

/// The last level at or below a value that has another one above it.
fn level_below(levels: &[(f64, Relative)], value: f64) -> usize {
    levels.iter().rposition(|level| level.0 <= value).unwrap_or(0).min(levels.len() - 2)
}

/// The level below the reading; for a refused colour the one before the nearest in colour.
fn lower_neighbour(sighting: &Sighting) -> usize {
    let levels = &sighting.evidence.levels;
    let last = levels.len() - 2;
    match (sighting.status, sighting.value) {
        (Status::AboveRange, _) => last,
        (_, Some(value)) => level_below(levels, value),
        (_, None) => nearest_in_colour(sighting).saturating_sub(1).min(last),
    }
}

fn nearest_in_colour(sighting: &Sighting) -> usize {
    let Some(colour) = sighting.evidence.colour else { return 0 };
    let distance = |light: &Relative| -> f64 { (0..3).map(|k| (light[k] - colour[k]).powi(2)).sum() };
    let levels = sighting.evidence.levels.iter().map(|(_, light)| distance(light)).enumerate();
    levels.min_by(|a, b| a.1.total_cmp(&b.1)).map_or(0, |(index, _)| index)
}

fn labelled(sighting: &Sighting, value: f64) -> String {
    let unit = sighting.unit.map(|unit| format!(" {unit}")).unwrap_or_default();
    format!("{}{unit}", rounded(value))
}

fn frame(canvas: &mut Canvas, (x, y): At, width: f64, height: f64, thickness: f64, rgb: Rgb) {
    let corners = [(x, y), (x + width, y), (x + width, y + height), (x, y + height), (x, y)];
    canvas.line(&corners, thickness, rgb);
}

/// A colour relative to paper as it is shown, paper as white.
pub fn shown(light: Relative) -> Rgb {
    let [red, green, blue] = light.map(|value| if value.is_finite() { value.clamp(0.0, 1.0) } else { 1.0 });
    let srgb: Srgb<u8> = Srgb::from_linear(LinSrgb::new(red, green, blue));
    [srgb.red, srgb.green, srgb.blue]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reading::Evidence;
    use crate::terms::{Analyte, Unit};

    /// An invented reading between the second and the third of four invented colours.
    fn sighting() -> Sighting {
        let levels = vec![
            (0.0, [0.9, 0.9, 0.5]),
            (1.0, [0.6, 0.9, 0.5]),
            (2.0, [0.3, 0.8, 0.5]),
            (4.0, [0.1, 0.5, 0.5]),
        ];
        let evidence = Evidence {
            card: vec![(20.0, 20.0), (380.0, 20.0), (380.0, 260.0), (20.0, 260.0)],
            sample: vec![(180.0, 100.0), (220.0, 100.0), (220.0, 200.0), (180.0, 200.0)],
            colour: Some([0.45, 0.85, 0.5]),
            levels,
            ..Evidence::default()
        };
        Sighting {
            status: Status::Read,
            value: Some(1.5),
            low: Some(1.2),
            high: Some(1.9),
            unit: Some(Unit::MgPerLitreNh3),
            reason: None,
            ..Sighting::refused(Some(Analyte::Ammonia), Some("invented".to_owned()), String::new(), evidence)
        }
    }

    fn holds(picture: &RgbImage, rgb: Rgb) -> bool {
        picture.pixels().filter(|pixel| pixel.0 == rgb).count() > 1000
    }

    #[test]
    fn the_liquid_lies_between_its_neighbours_and_the_photo_is_marked() {
        let photo = Scaled::new(RgbImage::from_pixel(400, 300, image::Rgb([90, 90, 90])));
        let picture = draw(&photo, &[sighting()]);
        for light in [[0.6, 0.9, 0.5], [0.45, 0.85, 0.5], [0.3, 0.8, 0.5]] {
            assert!(holds(&picture, shown(light)), "{light:?}");
        }
        assert_eq!(picture.get_pixel(200, 20).0, CARD);
        assert_eq!(picture.get_pixel(200, 200).0, SAMPLE);
    }

    #[test]
    fn a_thumbnail_is_no_larger_than_asked_for_and_never_enlarged() {
        let photo = || Scaled::new(RgbImage::from_pixel(400, 300, image::Rgb([90, 90, 90])));
        assert_eq!(thumbnail(photo(), &[sighting()], 200).dimensions(), (200, 150));
        let same = thumbnail(photo(), &[sighting()], 900);
        assert_eq!((same.dimensions(), same.get_pixel(200, 20).0), ((400, 300), CARD));
    }

    #[test]
    fn outlines_follow_a_photo_that_is_scaled_down() {
        let photo = Scaled::new(RgbImage::from_pixel(3200, 2400, image::Rgb([90, 90, 90])));
        let mut sighting = sighting();
        sighting.evidence.card = vec![(200.0, 400.0), (3000.0, 400.0), (3000.0, 2000.0), (200.0, 2000.0)];
        let picture = draw(&photo, &[sighting]);
        assert_eq!(picture.get_pixel(800, 1000).0, CARD);
        assert_eq!(picture.width(), LONGEST_SIDE + PANEL as u32);
    }

    #[test]
    fn a_refused_photo_without_evidence_is_drawn_with_its_reason() {
        let photo = Scaled::new(RgbImage::new(40, 30));
        let plain = Sighting::refused(None, None, "no card".to_owned(), Evidence::default());
        let long = Sighting { reason: Some("no card in it ".repeat(40)), ..plain.clone() };
        let heights = [plain, long].map(|sighting| draw(&photo, &[sighting]).height());
        assert!(heights[1] > heights[0]);
    }

    #[test]
    fn a_reading_above_the_chart_stands_beyond_its_last_level() {
        let above =
            Sighting { status: Status::AboveRange, value: None, high: None, low: Some(3.0), ..sighting() };
        let levels = &above.evidence.levels;
        assert!(place_among(levels, &above) > 3.0);
        assert_eq!(ends_among(levels, &above), Some((2.5, 3.5)));
        assert!((place_among(levels, &sighting()) - 1.5).abs() < 1e-12);
    }

    #[test]
    fn the_interval_ends_where_its_values_stand_among_the_levels() {
        let reading = sighting();
        let levels = &reading.evidence.levels;
        let (low, high) = ends_among(levels, &reading).unwrap();
        assert!((low - 1.2).abs() < 1e-12 && (high - 1.9).abs() < 1e-12, "{low} {high}");
        let blank = Sighting { status: Status::BelowDetection, value: Some(0.0), low: None, ..sighting() };
        assert_eq!(ends_among(levels, &blank).unwrap().0, -0.5);
        let refused = Sighting { status: Status::Refused, ..sighting() };
        assert_eq!(ends_among(levels, &refused), None);
    }
}
