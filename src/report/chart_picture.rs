//! The picture of a chart: its levels as colours, and the path of the liquid's absorbance over the value.

use image::RgbImage;
use nalgebra::Vector3;

use super::canvas::{At, Canvas, width_of};
use super::look::{CHANNELS, FAINT_INK, GROUND, INK, RULE, Rgb};
use super::picture::shown;
use crate::chart::matching::typical_light;
use crate::chart::optics::absorbance;
use crate::chart::path::Path;
use crate::chart::{Chart, Scale};
use crate::math::digits::rounded;

/// Size of the picture of one scale, pixels.
const WIDTH: f64 = 1100.0;
const HEIGHT: f64 = 820.0;
/// Sides of the plot, pixels.
const LEFT: f64 = 110.0;
const RIGHT: f64 = 960.0;
const TOP: f64 = 280.0;
const BOTTOM: f64 = 660.0;
/// Heights of capitals, pixels.
const TITLE: f64 = 22.0;
const BODY: f64 = 12.0;
/// Names of the channels, in their order.
const NAMES: [&str; 3] = ["red", "green", "blue"];

/// Draws all scales of a chart, one below the other; `None` if none of them has a path.
pub fn draw(chart: &Chart) -> Option<RgbImage> {
    let rulers: Vec<_> =
        chart.scales.iter().filter_map(|scale| Some((scale, scale.ruler(chart.form)?))).collect();
    let mut canvas = Canvas::new(WIDTH as u32, (HEIGHT * rulers.len() as f64) as u32, GROUND);
    for (index, (scale, ruler)) in rulers.iter().enumerate() {
        draw_scale(&mut canvas, chart, scale, &ruler.path, HEIGHT * index as f64);
    }
    (!rulers.is_empty()).then_some(canvas.image)
}

fn draw_scale(canvas: &mut Canvas, chart: &Chart, scale: &Scale, path: &Path, top: f64) {
    let title = format!("Chart {}: {} in {}", chart.name, scale.analyte, scale.unit);
    canvas.words(&title, (LEFT, top + 60.0), TITLE, INK);
    swatches(canvas, path, top + 90.0);
    let plot = Plot::new(chart, scale, path, top);
    plot.axes(canvas);
    plot.curves(canvas);
    let caption = "Absorbance of the liquid in the three channels, relative to paper. Lines: the chart's path. Marks: the photos of standards, with the glass's own brightness left in, which reading takes off.";
    canvas.paragraph(caption, (LEFT, top + BOTTOM + 84.0), RIGHT - LEFT, BODY, FAINT_INK);
}

/// The levels as they look in a typical photo.
fn swatches(canvas: &mut Canvas, path: &Path, top: f64) {
    let width = (RIGHT - LEFT) / path.levels.len() as f64;
    for (index, &value) in path.levels.iter().enumerate() {
        let x = LEFT + width * index as f64;
        canvas.fill((x, top), width, 100.0, shown(typical_light(path, value)));
        let label = rounded(value).to_string();
        canvas.words(&label, (x + (width - width_of(&label, BODY)) / 2.0, top + 124.0), BODY, INK);
    }
    let corners = [(LEFT, top), (RIGHT, top), (RIGHT, top + 100.0), (LEFT, top + 100.0), (LEFT, top)];
    canvas.line(&corners, 1.0, RULE);
}

/// One photo of a standard: value and absorbance.
type Point = (f64, Vector3<f64>);

struct Plot<'a> {
    path: &'a Path,
    points: Vec<Point>,
    low: f64,
    high: f64,
    top: f64,
}

impl<'a> Plot<'a> {
    fn new(chart: &Chart, scale: &Scale, path: &'a Path, top: f64) -> Self {
        let of_scale = chart.standards.iter().filter(|photo| photo.analyte == scale.analyte);
        let points: Vec<Point> = of_scale
            .map(|photo| (photo.value, absorbance(&Vector3::from(photo.colour), path.priors.veil_mean)))
            .collect();
        let on_path = path.nodes.iter().filter(|node| (path.first()..=path.last()).contains(&node.value));
        let all = on_path.map(|node| node.absorbance).chain(points.iter().map(|point| point.1));
        let (mut low, mut high) = (0.0_f64, 0.1_f64);
        for height in all {
            (low, high) = (low.min(height.min()), high.max(height.max()));
        }
        let room = 0.05 * (high - low);
        Self { path, points, low: low - room, high: high + room, top }
    }

    /// Levels lie evenly spaced: they are uneven in value.
    fn x(&self, value: f64) -> f64 {
        let levels = &self.path.levels;
        let k = levels.partition_point(|&level| level <= value).clamp(1, levels.len() - 1);
        let place = (k - 1) as f64 + (value - levels[k - 1]) / (levels[k] - levels[k - 1]);
        LEFT + (RIGHT - LEFT) * place / (levels.len() - 1) as f64
    }

    fn y(&self, absorbance: f64) -> f64 {
        self.top + BOTTOM - (BOTTOM - TOP) * (absorbance - self.low) / (self.high - self.low)
    }

    fn axes(&self, canvas: &mut Canvas) {
        let step = [0.05, 0.1, 0.2, 0.5, 1.0].into_iter().find(|step| (self.high - self.low) / step <= 8.0);
        let step = step.unwrap_or(2.0);
        let first = (self.low / step).ceil() as i32;
        for tick in first..=(self.high / step).floor() as i32 {
            let height = f64::from(tick) * step;
            let y = self.y(height);
            canvas.line(&[(LEFT, y), (RIGHT, y)], 1.0, RULE);
            let label = rounded(height).to_string();
            canvas.words(&label, (LEFT - 14.0 - width_of(&label, BODY), y + BODY / 2.0), BODY, INK);
        }
        let bottom = self.top + BOTTOM;
        for &value in &self.path.levels {
            let x = self.x(value);
            canvas.line(&[(x, bottom), (x, bottom + 8.0)], 1.5, INK);
            let label = rounded(value).to_string();
            canvas.words(&label, (x - width_of(&label, BODY) / 2.0, bottom + 30.0), BODY, INK);
        }
        canvas.line(&[(LEFT, self.top + TOP), (LEFT, bottom), (RIGHT, bottom)], 1.5, INK);
    }

    fn curves(&self, canvas: &mut Canvas) {
        let inside = |value: f64| (self.path.first()..=self.path.last()).contains(&value);
        let mut ends = [0.0; 3];
        for (channel, rgb) in CHANNELS.into_iter().enumerate() {
            let nodes = self.path.nodes.iter().filter(|node| inside(node.value));
            let line: Vec<At> = nodes.map(|n| (self.x(n.value), self.y(n.absorbance[channel]))).collect();
            canvas.line(&line, 3.0, rgb);
            ends[channel] = line.last().map_or(0.0, |end| end.1);
            for (value, absorbance) in &self.points {
                marker(canvas, channel, (self.x(*value), self.y(absorbance[channel])), rgb);
            }
        }
        for (channel, y) in apart(ends, 2.0 * BODY).into_iter().enumerate() {
            marker(canvas, channel, (RIGHT + 24.0, y), CHANNELS[channel]);
            canvas.words(NAMES[channel], (RIGHT + 38.0, y + BODY / 2.0), BODY, INK);
        }
    }
}

/// Moves labels down until they do not touch.
fn apart(ends: [f64; 3], gap: f64) -> [f64; 3] {
    let mut order = [0, 1, 2];
    order.sort_by(|&a, &b| ends[a].total_cmp(&ends[b]));
    let mut places = ends;
    for pair in order.windows(2) {
        places[pair[1]] = places[pair[1]].max(places[pair[0]] + gap);
    }
    places
}

/// A square, a triangle or a cross: each channel has its shape.
fn marker(canvas: &mut Canvas, channel: usize, (x, y): At, rgb: Rgb) {
    let r = 5.0;
    match channel {
        0 => canvas.fill((x - r, y - r), 2.0 * r, 2.0 * r, rgb),
        1 => canvas.line(&[(x, y - r), (x + r, y + r), (x - r, y + r), (x, y - r)], 2.0, rgb),
        _ => {
            canvas.line(&[(x - r, y - r), (x + r, y + r)], 2.0, rgb);
            canvas.line(&[(x - r, y + r), (x + r, y - r)], 2.0, rgb);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chart::shipped;

    #[test]
    fn every_shipped_chart_is_drawn_with_its_levels_colours() {
        for name in shipped::names() {
            let chart = shipped::find(name).unwrap().unwrap();
            let picture = draw(&chart).unwrap();
            let path = &chart.scales[0].ruler(chart.form).unwrap().path;
            let width = (RIGHT - LEFT) / path.levels.len() as f64;
            for (index, &value) in path.levels.iter().enumerate() {
                let x = LEFT + width * (index as f64 + 0.5);
                assert_eq!(picture.get_pixel(x as u32, 140).0, shown(typical_light(path, value)), "{name}");
            }
        }
    }

    #[test]
    fn labels_never_touch() {
        let places = apart([10.0, 12.0, 11.0], 24.0);
        assert_eq!(places, [10.0, 58.0, 34.0]);
    }
}
