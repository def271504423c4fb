//! Lays the strip of a rendered photo anew: cut out, turned, moved, enlarged, its pads shifted about or
//! altered, and rendered back through the photo's own projection and light. It proves nothing of a real
//! strip.

use image::RgbImage;
use tintwell::card::layout::PointMm;
use tintwell::photo;
use tintwell::pipeline::{self, View};
use tintwell::sample::strip::Lying;

use super::light::{code_8_bit, light_at};
use super::reading;

/// The rendered strip's measures, mm: its length and width, pads from the dipped end and their spacing.
pub const LENGTH_MM: f64 = 76.0;
pub const WIDTH_MM: f64 = 5.4;
pub const FIRST_MM: f64 = 5.0;
pub const PITCH_MM: f64 = 6.6;
/// Half a pad and what the photo's blur adds to it, mm.
const HALF_PAD_MM: f64 = 2.9;
/// Cut out beside the strip, mm: its edges and the shadow they throw.
const RIM_MM: f64 = 0.6;
/// A place on the bare strip, mm from the dipped end.
const BARE_MM: f64 = 50.0;
/// Softness of a lifted strip's shadow, and how far it falls aside, mm.
const SHADOW_MM: f64 = 1.5;
const SHADOW_ASIDE_MM: f64 = 1.2;

/// Where a strip's pads are shown: `(centre of the shown pad from the dipped end in mm, number of the
/// photo's own pad from 0)`.
pub type Pads = Vec<(f64, usize)>;

/// The pads as they are.
pub fn own_pads() -> Pads {
    (0..4).map(|k| (FIRST_MM + PITCH_MM * k as f64, k)).collect()
}

/// How the strip is laid.
pub struct Laying<'a> {
    /// Turned clockwise about the window's middle, degrees.
    pub turned: f64,
    /// Moved to the right and down, mm.
    pub moved: (f64, f64),
    /// Enlarged: what is nearer to the phone looks larger.
    pub enlarged: f64,
    /// How much light the shadow of the lifted strip takes from the paper.
    pub shadow: f64,
    /// Its pads.
    pub pads: Pads,
    /// What happens to the light of a place of the strip relative to the paper: `(mm from the dipped
    /// end, mm from its middle line, light)`.
    pub change: &'a dyn Fn(f64, f64, [f64; 3]) -> [f64; 3],
    /// Light that falls on strip and paper at a place of the card, as a share of the photo's.
    pub light: &'a dyn Fn(PointMm) -> [f64; 3],
}

impl Default for Laying<'_> {
    fn default() -> Self {
        let (turned, moved, enlarged, shadow) = (0.0, (0.0, 0.0), 1.0, 0.0);
        let (pads, change, light) = (own_pads(), &|_: f64, _: f64, light| light, &|_: PointMm| [1.0; 3]);
        Self { turned, moved, enlarged, shadow, pads, change, light }
    }
}

/// A rendered photo and the strip in it.
pub struct Strip {
    view: View,
    lying: Lying,
    /// Place of the dipped end along the strip's axis, mm.
    tip: f64,
}

impl Strip {
    /// The strip of a photo whose dipped end points up; the second pad must be coloured.
    pub fn of(file: &str) -> Self {
        let path = reading::file("strip_unknown").join(file);
        let view = pipeline::look(photo::open(&path).unwrap()).unwrap();
        let (lying, _) = pipeline::strip_in(&view, view.card.layout.windows[0]).unwrap();
        // The rendered strip's tip lies towards y = 8; its own end is a faint line there.
        let tip = (0..lying.core.len())
            .filter(|&k| (9.0..13.0).contains(&lying.axis.point(lying.place(k), 0.0).y))
            .max_by(|&a, &b| lying.edge(a).total_cmp(&lying.edge(b)))
            .map(|k| lying.place(k))
            .unwrap();
        Self { view, lying, tip }
    }

    /// The photo with its strip laid anew.
    pub fn laid(&self, laying: &Laying) -> RgbImage {
        let window = self.view.card.layout.windows[0];
        let mut picture = self.view.photo.to_srgb();
        for (x, y, pixel) in picture.enumerate_pixels_mut() {
            let (mx, my) = self.view.card.to_card.apply((f64::from(x), f64::from(y)));
            let place = PointMm { x: mx, y: my };
            if window.grown(-0.5).contains(place) {
                let paper = self.view.light.at(place);
                let (share, light) = (self.share(laying, place), (laying.light)(place));
                pixel.0 = std::array::from_fn(|k| code_8_bit(share[k] * light[k] * paper[k]));
            }
        }
        picture
    }

    /// Light relative to paper at a place of the window.
    fn share(&self, laying: &Laying, place: PointMm) -> [f64; 3] {
        let centre = self.view.card.layout.windows[0].centre();
        let (sin, cos) = laying.turned.to_radians().sin_cos();
        let dx = (place.x - centre.x - laying.moved.0) / laying.enlarged;
        let dy = (place.y - centre.y - laying.moved.1) / laying.enlarged;
        let (u, d) = (dx * cos - dy * sin, dx * sin + dy * cos + LENGTH_MM / 2.0);
        let is_on = u.abs() < WIDTH_MM / 2.0 + RIM_MM && (-RIM_MM..LENGTH_MM + RIM_MM).contains(&d);
        if !is_on {
            let cover = |t: f64, low: f64, high: f64| {
                0.5 * (((t - low) / SHADOW_MM).tanh() - ((t - high) / SHADOW_MM).tanh())
            };
            let under =
                cover(u - SHADOW_ASIDE_MM, -WIDTH_MM / 2.0, WIDTH_MM / 2.0) * cover(d, 0.0, LENGTH_MM);
            return [1.0 - laying.shadow * under; 3];
        }
        let own = self.relative(source(&laying.pads, d), u);
        (laying.change)(d, u, own)
    }

    /// Light of the photo's own strip relative to paper.
    pub fn relative(&self, d: f64, u: f64) -> [f64; 3] {
        let from = self.lying.axis.point(self.tip + d, u);
        let paper = self.view.light.at(from);
        let own = light_at(&self.view, self.view.card.to_photo.apply((from.x, from.y)));
        std::array::from_fn(|k| own[k] / paper[k])
    }

    /// Light of the bare strip relative to paper.
    pub fn bare(&self, u: f64) -> [f64; 3] {
        self.relative(BARE_MM, u)
    }
}

/// Place on the photo's own strip that is shown at a place of the strip laid.
fn source(pads: &Pads, d: f64) -> f64 {
    let shown = pads.iter().find(|(centre, _)| (d - centre).abs() < HALF_PAD_MM);
    match shown {
        Some((centre, own)) => FIRST_MM + PITCH_MM * *own as f64 + d - centre,
        None if !(1.5..=LENGTH_MM - 2.0).contains(&d) => d,
        None => BARE_MM,
    }
}
