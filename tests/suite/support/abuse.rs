//! What people do to photos and cards, rendered over rendered photos in linear light, the same for the
//! same seed. None of it is a photo of the thing itself.

use image::RgbImage;
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;
use tintwell::card::layout::PointMm;
use tintwell::pipeline::View;

use super::filters::{saturated, scale, sepia, split_tones, turned, vibrant};
use super::light::code_8_bit;

/// What is no longer than this is a pad, mm.
const PAD_MM: f64 = 10.0;
/// From any pad to beyond a strip's ends, mm.
const STRIP_MM: f64 = 70.0;
/// From the measured liquid to above the vial's rim, mm.
const EMPTY_GLASS_MM: f64 = 22.0;

/// Linear light in sRGB primaries.
pub type Rgb = [f64; 3];

/// A photo in linear light, and where the card and the liquid are in it.
pub struct Scene {
    width: u32,
    height: u32,
    light: Vec<Rgb>,
    /// Place of each pixel on the card's plane, mm.
    places: Vec<PointMm>,
    /// Box of the liquid on the card's plane, mm: left, top, right, bottom.
    liquid: [f64; 4],
    /// Level of the card's paper.
    paper: f64,
}

/// 1 inside, 0 outside, with an edge of this width about the limit.
fn step(x: f64, edge: f64) -> f64 {
    let t = (0.5 - x / edge).clamp(0.0, 1.0);
    t * t * (3.0 - 2.0 * t)
}

impl Scene {
    /// From a photo that was looked at; `liquid` holds the corners of the measured liquid, mm.
    pub fn of(view: &View, liquid: &[PointMm]) -> Self {
        let (width, height) = view.photo.pixels.dimensions();
        let pixels = || (0..height).flat_map(|y| (0..width).map(move |x| (x, y)));
        let place = |(x, y): (u32, u32)| {
            let (x, y) = view.card.to_card.apply((x.into(), y.into()));
            PointMm { x, y }
        };
        let span = |pick: fn(&PointMm) -> f64| {
            liquid.iter().map(pick).fold((f64::INFINITY, f64::NEG_INFINITY), |s, v| (s.0.min(v), s.1.max(v)))
        };
        let ((x0, x1), (y0, y1)) = (span(|p| p.x), span(|p| p.y));
        Self {
            width,
            height,
            light: pixels().map(|(x, y)| view.photo.linear(x, y)).collect(),
            places: pixels().map(place).collect(),
            liquid: [x0, y0, x1, y1],
            paper: view.light.level(),
        }
    }

    /// Changes the light of each pixel by its place on the card.
    fn each(&self, change: impl Fn(Rgb, PointMm) -> Rgb) -> Vec<Rgb> {
        self.light.iter().zip(&self.places).map(|(light, place)| change(*light, *place)).collect()
    }

    /// Share of the vial's face at a place, with soft edges.
    fn on_vial(&self, place: PointMm) -> f64 {
        let [x0, y0, x1, y1] = self.liquid;
        let across = ((x0 - place.x).max(place.x - x1) - 1.5) / 1.0;
        let along = ((y0 - 6.0 - place.y).max(place.y - y1 - 4.0)) / 1.0;
        step(across.max(along), 1.0)
    }

    /// Share of all that belongs to the sample: the vial with its empty glass, or the whole strip.
    fn on_all(&self, place: PointMm) -> f64 {
        let [x0, y0, x1, y1] = self.liquid;
        let (above, below) = if y1 - y0 < PAD_MM { (STRIP_MM, STRIP_MM) } else { (EMPTY_GLASS_MM, 4.0) };
        let across = (x0 - place.x).max(place.x - x1) - 1.5;
        let along = (y0 - above - place.y).max(place.y - y1 - below);
        step(across.max(along), 1.0)
    }

    fn picture(&self, light: &[Rgb]) -> RgbImage {
        encode(self.width, self.height, light)
    }

    fn sample(&self, x: f64, y: f64) -> Rgb {
        let (x, y) =
            (x.clamp(0.0, f64::from(self.width) - 1.001), y.clamp(0.0, f64::from(self.height) - 1.001));
        let (column, row) = (x as usize, y as usize);
        let (fx, fy) = (x - column as f64, y - row as f64);
        let at = |dx: usize, dy: usize| self.light[(row + dy) * self.width as usize + column + dx];
        std::array::from_fn(|k| {
            (1.0 - fy) * ((1.0 - fx) * at(0, 0)[k] + fx * at(1, 0)[k])
                + fy * ((1.0 - fx) * at(0, 1)[k] + fx * at(1, 1)[k])
        })
    }

    /// The picture bent: each pixel shows what stood where `from` says.
    fn bent(&self, from: impl Fn(f64, f64) -> (f64, f64)) -> Vec<Rgb> {
        let pixels =
            (0..self.height).flat_map(|y| (0..self.width).map(move |x| (f64::from(x), f64::from(y))));
        pixels
            .map(|(x, y)| {
                let (x, y) = from(x, y);
                self.sample(x, y)
            })
            .collect()
    }
}

/// 8-bit sRGB.
pub fn encode(width: u32, height: u32, light: &[Rgb]) -> RgbImage {
    let raw = light.iter().flat_map(|rgb| rgb.map(code_8_bit)).collect();
    RgbImage::from_raw(width, height, raw).expect("pixels of this size")
}

/// One way of abusing a photo.
pub struct Case {
    /// What is done, and how much of it.
    pub name: &'static str,
    /// Does it.
    pub apply: fn(&Scene, u64) -> RgbImage,
}

const fn case(name: &'static str, apply: fn(&Scene, u64) -> RgbImage) -> Case {
    Case { name, apply }
}

/// Every case.
pub const CASES: [Case; 60] = [
    case("untouched", |s, _| s.picture(&s.light)),
    case("hand's shadow on part of the card, 40 % darker", |s, n| shadow(s, n, 0.6, Where::Card)),
    case("hand's shadow on the sample alone, 15 % darker", |s, n| shadow(s, n, 0.85, Where::Vial)),
    case("hand's shadow on the sample alone, 40 % darker", |s, n| shadow(s, n, 0.6, Where::Vial)),
    case("hand's shadow across card and sample, 40 % darker", |s, n| shadow(s, n, 0.6, Where::Both)),
    case("glare on a fifth of the sample", |s, n| glare(s, n, 0.2, 0.8)),
    case("glare on half of the sample", |s, n| glare(s, n, 0.5, 0.8)),
    case("weak glare on all of the sample, 10 % of paper", |s, n| glare(s, n, 3.0, 0.1)),
    case("glare on all of the sample, 25 % of paper", |s, n| glare(s, n, 3.0, 0.25)),
    case("red clothes mirrored on the sample, 4 % of paper", |s, n| clothes(s, n, [0.04, 0.008, 0.006])),
    case("red clothes mirrored on the sample, 12 % of paper", |s, n| clothes(s, n, [0.12, 0.024, 0.018])),
    case("blue clothes mirrored on the sample, 4 % of paper", |s, n| clothes(s, n, [0.006, 0.012, 0.04])),
    case("blue clothes mirrored on the sample, 12 % of paper", |s, n| clothes(s, n, [0.018, 0.036, 0.12])),
    case("red light from clothes on one side of the card", tint),
    case("steam before everything, 8 %", |s, _| steam(s, 0.08, |_, _| 1.0)),
    case("steam before everything, 25 %", |s, _| steam(s, 0.25, |_, _| 1.0)),
    case("steam on the sample alone, 10 %", |s, _| steam(s, 0.10, Scene::on_vial)),
    case("steam on the sample alone, 30 %", |s, _| steam(s, 0.30, Scene::on_vial)),
    case("steam on all of the vial or strip, 10 %", |s, _| steam(s, 0.10, Scene::on_all)),
    case("steam on all of the vial or strip, 30 %", |s, _| steam(s, 0.30, Scene::on_all)),
    case("glare on all of the vial or strip, 25 % of paper", |s, _| veil(s, 0.25)),
    case("drops on the sample", drops),
    case("stains on the card", stains),
    case("yellowed card", |s, _| each(s, |l| scale(l, [1.0, 0.95, 0.82]))),
    case("card bent by 3 mm", |s, _| bend(s, 3.0)),
    case("card bent by 10 mm", |s, _| bend(s, 10.0)),
    case("photo of a screen, coarse pixels", |s, n| screen(s, n, 4.0)),
    case("photo of a screen, fine pixels", |s, n| screen(s, n, 1.0)),
    case("mirrored", |s, _| image::imageops::flip_horizontal(&s.picture(&s.light))),
    case("tone curve of an editor, more contrast", |s, _| curve(s, |v| v * v * (3.0 - 2.0 * v))),
    case("tone curve of an editor, shadows lifted", |s, _| curve(s, |v| v.powf(0.75))),
    case("brightened until white clips", |s, _| curve(s, |v| 1.25 * v)),
    case("tone curve of an editor, a little more contrast", |s, _| {
        curve(s, |v| 0.5 * v + 0.5 * v * v * (3.0 - 2.0 * v))
    }),
    case("faded: black lifted to a tenth", |s, _| curve(s, |v| 0.1 + 0.9 * v)),
    case("saturation up by 30 %", |s, _| each(s, |l| saturated(l, 1.3))),
    case("saturation up by 70 %", |s, _| each(s, |l| saturated(l, 1.7))),
    case("saturation down by 30 %", |s, _| each(s, |l| saturated(l, 0.7))),
    case("saturation down by half", |s, _| each(s, |l| saturated(l, 0.5))),
    case("black-and-white", |s, _| each(s, |l| saturated(l, 0.0))),
    case("weak colours made stronger", |s, _| each(s, vibrant)),
    case("warm filter", |s, _| each(s, |l| scale(l, [1.25, 1.0, 0.6]))),
    case("cold filter", |s, _| each(s, |l| scale(l, [0.7, 0.95, 1.3]))),
    case("green filter", |s, _| each(s, |l| scale(l, [0.85, 1.1, 0.85]))),
    case("dark blue, light yellow", |s, _| each(s, split_tones)),
    case("sepia filter, half", |s, _| each(s, sepia)),
    case("hues turned by 20 degrees", |s, _| each(s, |l| turned(l, 20.0))),
    case("hues turned by 60 degrees", |s, _| each(s, |l| turned(l, 60.0))),
    case("the sample alone: saturation up by 30 %", |s, _| locally(s, |l| saturated(l, 1.3))),
    case("the sample alone: saturation up by 70 %", |s, _| locally(s, |l| saturated(l, 1.7))),
    case("the sample alone: saturation down by 30 %", |s, _| locally(s, |l| saturated(l, 0.7))),
    case("the sample alone: a third brighter", |s, _| locally(s, |l| scale(l, [1.33; 3]))),
    case("the sample alone: warm", |s, _| locally(s, |l| scale(l, [1.12, 1.0, 0.85]))),
    case("the sample alone: hues turned by 15 degrees", |s, _| locally(s, |l| turned(l, 15.0))),
    case("vignette to half at the corners", |s, _| vignette(s)),
    case("two cards in the picture", two_cards),
    case("tilted by 25 degrees", |s, _| tilt(s, 25.0)),
    case("tilted by 40 degrees", |s, _| tilt(s, 40.0)),
    case("noise of a dark room", |s, n| noise(s, n, 0.25, 0.02)),
    case("a colour patch covered by a finger", finger),
    case("colours of the sample alone painted over", |s, _| paint(s)),
];

#[derive(Clone, Copy)]
enum Where {
    Card,
    Vial,
    Both,
}

fn shadow(scene: &Scene, seed: u64, depth: f64, place: Where) -> RgbImage {
    let mut rng = Pcg64Mcg::seed_from_u64(seed);
    let middle = (scene.liquid[0] + scene.liquid[2]) / 2.0;
    let (limit, angle) = match place {
        Where::Card => {
            (if rng.random_range(0..2) == 0 { 35.0 } else { 45.0 }, rng.random_range(-0.4..0.4_f64))
        }
        Where::Vial => (0.0, 0.0),
        Where::Both => (middle + rng.random_range(-4.0..4.0), rng.random_range(-0.4..0.4_f64)),
    };
    scene.picture(&scene.each(|light, p| {
        let share = match place {
            Where::Vial => {
                let x = (p.x - middle).abs() - 10.0;
                let y = (scene.liquid[1] - 8.0 - p.y).max(p.y - scene.liquid[3] - 8.0);
                step(x.max(y), 5.0)
            }
            _ => step(p.x - limit + angle * (p.y - 50.0), 6.0),
        };
        light.map(|v| v * (1.0 - (1.0 - depth) * share))
    }))
}

fn glare(scene: &Scene, seed: u64, share: f64, strength: f64) -> RgbImage {
    let mut rng = Pcg64Mcg::seed_from_u64(seed);
    let [x0, _, x1, _] = scene.liquid;
    let half = share * (x1 - x0) / 2.0;
    let middle = if share > 1.0 { (x0 + x1) / 2.0 } else { rng.random_range(x0 + half..x1 - half) };
    scene.picture(&scene.each(|light, p| {
        let streak = step((p.x - middle).abs() - half, 0.8) * scene.on_vial(p);
        light.map(|v| v + strength * scene.paper * streak)
    }))
}

/// A mirror image that covers most of the glass, stronger at one side.
fn clothes(scene: &Scene, seed: u64, colour: Rgb) -> RgbImage {
    let side = if seed.is_multiple_of(2) { 1.0 } else { -1.0 };
    let [x0, _, x1, _] = scene.liquid;
    scene.picture(&scene.each(|light, p| {
        let u = side * (2.0 * (p.x - x0) / (x1 - x0) - 1.0);
        let share = scene.on_vial(p) * (1.0 + 0.4 * u).clamp(0.4, 1.4);
        std::array::from_fn(|k| light[k] + scene.paper * colour[k] * share)
    }))
}

fn tint(scene: &Scene, seed: u64) -> RgbImage {
    let side = if seed.is_multiple_of(2) { 1.0 } else { -1.0 };
    scene.picture(&scene.each(|light, p| {
        let u = (0.5 + side * (p.x - 75.0) / 150.0).clamp(0.0, 1.0);
        scale(light, [1.0 + 0.15 * u, 1.0 + 0.02 * u, 1.0 + 0.01 * u])
    }))
}

fn steam(scene: &Scene, share: f64, place: fn(&Scene, PointMm) -> f64) -> RgbImage {
    scene.picture(&scene.each(|light, p| {
        let a = share * place(scene, p);
        light.map(|v| (1.0 - a) * v + a * 0.8 * scene.paper)
    }))
}

fn veil(scene: &Scene, strength: f64) -> RgbImage {
    scene.picture(&scene.each(|light, p| light.map(|v| v + strength * scene.paper * scene.on_all(p))))
}

fn drops(scene: &Scene, seed: u64) -> RgbImage {
    let mut rng = Pcg64Mcg::seed_from_u64(seed);
    let [x0, y0, x1, y1] = scene.liquid;
    let drops: Vec<(f64, f64, f64)> = (0..14)
        .map(|_| (rng.random_range(x0..x1), rng.random_range(y0..y1), rng.random_range(0.5..1.6)))
        .collect();
    scene.picture(&scene.each(|light, p| {
        drops.iter().fold(light, |light, &(x, y, radius)| {
            let inside = step((p.x - x).hypot(p.y - y) - radius, 0.3);
            let bright = step((p.x - x + 0.3 * radius).hypot(p.y - y + 0.4 * radius) - 0.3 * radius, 0.2);
            // A drop shows what is behind upside down: paper and room, darker at its lower rim.
            let shown = scene.paper * (0.35 + 0.35 * (y - p.y) / radius);
            light.map(|v| v * (1.0 - 0.45 * inside) + 0.45 * inside * shown + 0.8 * bright * scene.paper)
        })
    }))
}

fn stains(scene: &Scene, seed: u64) -> RgbImage {
    let mut rng = Pcg64Mcg::seed_from_u64(seed);
    let stains: Vec<(f64, f64, f64)> = (0..9)
        .map(|_| (rng.random_range(3.0..147.0), rng.random_range(3.0..97.0), rng.random_range(3.0..9.0)))
        .collect();
    scene.picture(&scene.each(|light, p| {
        let behind = 1.0 - scene.on_vial(p);
        stains.iter().fold(light, |light, &(x, y, radius)| {
            let share = behind * step((p.x - x).hypot(p.y - y) - radius, 1.5);
            scale(light, [1.0 - 0.2 * share, 1.0 - 0.35 * share, 1.0 - 0.55 * share])
        })
    }))
}

/// A cylinder about an upright axis, as seen from 350 mm: the middle comes nearer, the sides darken.
fn bend(scene: &Scene, sag: f64) -> RgbImage {
    let (cx, cy) = (f64::from(scene.width) / 2.0, f64::from(scene.height) / 2.0);
    let light = scene.bent(|x, y| {
        let place = &scene.places[y as usize * scene.width as usize + x as usize];
        let u = ((place.x - 75.0) / 75.0).clamp(-1.3, 1.3);
        let nearer = 1.0 - sag * (1.0 - u * u) / 350.0;
        (cx + (x - cx) * nearer, cy + (y - cy) * nearer)
    });
    let shaded = light.iter().zip(&scene.places).map(|(light, place)| {
        let u = ((place.x - 75.0) / 75.0).clamp(-1.3, 1.3);
        light.map(|v| v * (1.0 - sag * 0.02 * u))
    });
    scene.picture(&shaded.collect::<Vec<_>>())
}

/// A screen's primaries, black level and stripes of sub-pixels, seen by a camera.
fn screen(scene: &Scene, seed: u64, pixel: f64) -> RgbImage {
    let mut rng = Pcg64Mcg::seed_from_u64(seed);
    let pitch = pixel * rng.random_range(0.93..1.07);
    let light = scene.bent(|x, y| ((x / pitch).floor() * pitch, (y / pitch).floor() * pitch));
    let row = scene.width as usize;
    let shown = light.iter().enumerate().map(|(index, l)| {
        let x = (index % row) as f64 / pitch;
        let mixed = [
            0.88 * l[0] + 0.10 * l[1] + 0.02 * l[2],
            0.06 * l[0] + 0.88 * l[1] + 0.06 * l[2],
            0.02 * l[0] + 0.12 * l[1] + 0.86 * l[2],
        ];
        let stripes: Rgb = std::array::from_fn(|k| {
            let phase = std::f64::consts::TAU * (x - k as f64 / 3.0);
            1.0 + 0.5 * phase.cos() * (pitch / 4.0).min(1.0)
        });
        std::array::from_fn(|k| (0.01 + 0.95 * mixed[k].powf(1.1)) * stripes[k])
    });
    scene.picture(&shown.collect::<Vec<_>>())
}

/// A curve over encoded values (here: square roots), as editors have it.
fn curve(scene: &Scene, curve: fn(f64) -> f64) -> RgbImage {
    scene.picture(
        &scene.each(|light, _| light.map(|v| curve(v.max(0.0).powf(1.0 / 2.2)).clamp(0.0, 1.0).powf(2.2))),
    )
}

/// The whole picture through a filter.
fn each(scene: &Scene, filter: impl Fn(Rgb) -> Rgb) -> RgbImage {
    scene.picture(&scene.each(|light, _| filter(light)))
}

/// The sample alone through a filter, as an editor's brush does it.
fn locally(scene: &Scene, filter: impl Fn(Rgb) -> Rgb) -> RgbImage {
    scene.picture(&scene.each(|light, p| {
        let share = scene.on_vial(p);
        let filtered = filter(light);
        std::array::from_fn(|k| (1.0 - share) * light[k] + share * filtered[k])
    }))
}

fn vignette(scene: &Scene) -> RgbImage {
    let (cx, cy) = (f64::from(scene.width) / 2.0, f64::from(scene.height) / 2.0);
    let row = scene.width as usize;
    let light = scene.light.iter().enumerate().map(|(index, light)| {
        let (x, y) = ((index % row) as f64 - cx, (index / row) as f64 - cy);
        light.map(|v| v * (1.0 - 0.5 * (x * x + y * y) / (cx * cx + cy * cy)))
    });
    scene.picture(&light.collect::<Vec<_>>())
}

fn two_cards(scene: &Scene, _: u64) -> RgbImage {
    let one = scene.picture(&scene.light);
    let mut both = RgbImage::new(2 * scene.width, scene.height);
    image::imageops::replace(&mut both, &one, 0, 0);
    image::imageops::replace(&mut both, &one, scene.width.into(), 0);
    both
}

/// The whole picture seen from the side, as if flat: a real vial would show its other face.
fn tilt(scene: &Scene, degrees: f64) -> RgbImage {
    let (cx, cy) = (f64::from(scene.width) / 2.0, f64::from(scene.height) / 2.0);
    let (sin, cos) = degrees.to_radians().sin_cos();
    let far = 2.2 * cx;
    let light = scene.bent(|x, y| {
        // The ray through the pixel meets the picture's plane, turned about its upright axis.
        let (u, v) = ((x - cx) / far, (y - cy) / far);
        let along = far / (cos - u * sin) * u;
        let depth = far + along * sin;
        (cx + along, cy + v * depth)
    });
    scene.picture(&light)
}

fn noise(scene: &Scene, seed: u64, exposure: f64, sd: f64) -> RgbImage {
    let mut rng = Pcg64Mcg::seed_from_u64(seed);
    let light: Vec<Rgb> = scene
        .light
        .iter()
        .map(|light| {
            light.map(|v| {
                exposure * v + sd * exposure * (0..4).map(|_| rng.random_range(-1.0..1.0)).sum::<f64>() * 0.87
            })
        })
        .collect();
    scene.picture(&light)
}

fn finger(scene: &Scene, seed: u64) -> RgbImage {
    let x = if seed.is_multiple_of(2) { 12.0 } else { 138.0 };
    scene.picture(&scene.each(|light, p| {
        let share = step((p.x - x).abs().max((p.y - 50.0).abs() / 1.6) - 10.0, 1.0);
        std::array::from_fn(|k| light[k] * (1.0 - share) + share * scene.paper * [0.5, 0.3, 0.22][k])
    }))
}

/// A stranger's flat colour over the liquid, as a careless retouching tool leaves it.
fn paint(scene: &Scene) -> RgbImage {
    scene.picture(&scene.each(|light, p| {
        let share = scene.on_vial(p);
        std::array::from_fn(|k| light[k] * (1.0 - share) + share * scene.paper * [0.25, 0.2, 0.6][k])
    }))
}
