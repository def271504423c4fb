//! Which samples of the path are looked at, so that the probabilities of all are known.
//!
//! Most of the path has nothing to say: it is glanced at every half step first. Where that leaves a
//! chance, each section from level to level is looked at in a few places, each look begun where its
//! neighbours' unknowns settled, and the logarithm of the likelihood is interpolated in between. Sections
//! in which the interpolation may be off by more than the result can bear (their share of the probability
//! counts, and how far out they lie) are looked at sample by sample.

mod mesh;

use super::{birge_ratio, excess, least_chi_square};
use crate::chart::likelihood::{Explained, LANES, Look, Problem, beside, blended};
use crate::chart::path::{NODES_PER_PIECE, Node};
use crate::math::exp::exp_all;
use mesh::{Mesh, SAMPLES};

/// Logarithm of the likelihood, against the best one of the first glance, below which an end of a piece
/// is not looked at again: unsettled unknowns keep it too low.
const NO_GLANCE: f64 = -60.0;
/// The same, against the best one of all ends, below which all ends of a section must lie for it to be
/// passed over.
const NO_CHANCE: f64 = -20.0;
/// Error that the samples between two that are seen may bring into the probability and into the variance of
/// the value, as a share of all.
const TOLERANCE: f64 = 2e-5;
/// Where the interval of 95 % ends, and the normal law's density there, with a standard deviation of one.
const ENDS: [f64; 2] = [0.025, 0.975];
const NORMAL_DENSITY: f64 = 0.058;
/// How far off the interpolation may be where there is a kink, as a share of its highest difference.
const KINKED: f64 = 3.0;
/// Possible error of the likelihood's logarithm from which on the polynomial is held between the samples.
const HELD: f64 = 0.01;
/// What a sample that is passed over says.
const PASSED_OVER: Explained = Explained { likelihood: f64::NEG_INFINITY, chi_square: f64::INFINITY };

/// The part of the path that matters.
pub(super) struct Part {
    /// Index of its first sample.
    pub first: usize,
    /// A word of each sample.
    pub words: Vec<Explained>,
}

impl Part {
    /// Looks at the path, from glances at the ends of its pieces.
    pub fn of(nodes: &[Node], problem: &Problem, glances: Vec<Look>) -> Self {
        let ends = settled(nodes, problem, glances);
        let sections = sections(nodes, problem, &ends);
        let (Some(first), Some(last)) = (sections.first(), sections.last()) else {
            return Self { first: 0, words: vec![PASSED_OVER; 2] };
        };
        let (begin, end) = (first.begin, last.begin + last.mesh.length);
        let ratio = ratio_of(sections.iter().flat_map(Section::samples));
        let mut words = vec![PASSED_OVER; end - begin + 1];
        let weights = weights(&sections, nodes, ratio);
        for (section, weights) in sections.iter().zip(&weights) {
            let own = &mut words[section.begin - begin..=section.begin - begin + section.mesh.length];
            section.fill(nodes, problem, weights, own);
        }
        Self { first: begin, words }
    }

    /// Index behind its last sample.
    pub fn end(&self) -> usize {
        self.first + self.words.len()
    }
}

/// Glances of one or several problems at the samples at which one piece of the path meets the next.
pub(super) fn glances<const N: usize>(
    nodes: &[Node],
    glance: impl Fn([&Node; LANES]) -> [[Look; LANES]; N],
) -> [Vec<Look>; N] {
    let pieces = (nodes.len() - 1) / NODES_PER_PIECE;
    let mut all: [Vec<Look>; N] = std::array::from_fn(|_| Vec::with_capacity(pieces + LANES));
    for begin in (0..=pieces).step_by(LANES) {
        let looks = glance(std::array::from_fn(|k| end_of_piece(nodes, begin + k)));
        all.iter_mut().zip(looks).for_each(|(ends, looks)| ends.extend(looks));
    }
    all.iter_mut().for_each(|ends| ends.truncate(pieces + 1));
    all
}

/// The sample at which a piece begins; the path's last beyond all pieces.
fn end_of_piece(nodes: &[Node], piece: usize) -> &Node {
    &nodes[(piece * NODES_PER_PIECE).min(nodes.len() - 1)]
}

/// Looks again at all ends that are worth it, until their unknowns have settled.
fn settled(nodes: &[Node], problem: &Problem, mut ends: Vec<Look>) -> Vec<Look> {
    let chance = best_of(&ends) + ratio_of(&ends) * NO_GLANCE;
    let is_worth = |look: &Look| look.explained.likelihood >= chance;
    let Some(first) = ends.iter().position(is_worth) else { return ends };
    let behind = ends.iter().rposition(is_worth).map_or(first, |last| last + 1);
    for begin in (first..behind).step_by(LANES) {
        let four: [usize; LANES] = std::array::from_fn(|k| (begin + k).min(behind - 1));
        let looks = problem.look(four.map(|k| end_of_piece(nodes, k)), beside(four.map(|k| &ends[k])));
        four.iter().zip(looks).for_each(|(&k, look)| ends[k] = look);
    }
    ends
}

/// Beside the path all chances draw nearer to each other.
fn ratio_of<'a>(looks: impl IntoIterator<Item = &'a Look>) -> f64 {
    birge_ratio(least_chi_square(looks.into_iter().map(|look| &look.explained)))
}

fn best_of(looks: &[Look]) -> f64 {
    looks.iter().map(|look| look.explained.likelihood).fold(f64::NEG_INFINITY, f64::max)
}

/// A stretch of the path without a knot, looked at in a few places.
struct Section {
    /// Index of its first sample.
    begin: usize,
    mesh: &'static Mesh,
    /// As many as the mesh has places; the last one stands for the rest.
    samples: [Look; SAMPLES],
}

/// All sections that have a chance. From one level to the next there are two pieces; the path begins with
/// a piece before the first level, and may end with one.
fn sections(nodes: &[Node], problem: &Problem, ends: &[Look]) -> Vec<Section> {
    let pieces = ends.len() - 1;
    let chance = best_of(ends) + ratio_of(ends) * NO_CHANCE;
    let mut all = Vec::with_capacity(pieces.div_ceil(2) + 1);
    let mut first = 0;
    while first < pieces {
        let count = if first == 0 || first + 1 == pieces { 1 } else { 2 };
        let own = &ends[first..=first + count];
        if best_of(own) >= chance {
            all.push(Section::look(nodes, problem, first * NODES_PER_PIECE, own));
        }
        first += count;
    }
    all
}

impl Section {
    fn look(nodes: &[Node], problem: &Problem, begin: usize, ends: &[Look]) -> Self {
        let mesh = Mesh::of(ends.len() - 1);
        let start = blended([&ends[0], &ends[1], &ends[ends.len() - 1]], &mesh.starts);
        let inner = problem.look(mesh.inner.map(|place| &nodes[begin + place]), start);
        let samples = match ends {
            [a, b, c] => [*a, inner[0], inner[1], *b, inner[2], inner[3], *c],
            [a, .., b] => [*a, inner[0], inner[1], inner[2], inner[3], *b, *b],
            _ => [ends[0]; SAMPLES],
        };
        Self { begin, mesh, samples }
    }

    /// Weights of the samples, against the best one's.
    fn weights(&self, likelihoods: [f64; SAMPLES], best: f64) -> Weights {
        let mut of_samples = likelihoods.map(|likelihood| likelihood - best);
        exp_all(&mut of_samples);
        of_samples.iter_mut().for_each(|weight| *weight *= self.mesh.stride as f64);
        Weights { likelihoods, of_samples }
    }

    fn values(&self, nodes: &[Node]) -> impl Iterator<Item = f64> {
        self.mesh.places.iter().map(|place| nodes[self.begin + place].value)
    }

    fn samples(&self) -> &[Look] {
        &self.samples[..self.mesh.places.len()]
    }

    /// Fills in what every sample says: on polynomials through what was seen between kinks, and by a look
    /// where the result would not bear their error.
    fn fill(&self, nodes: &[Node], problem: &Problem, weights: &Weights, words: &mut [Explained]) {
        let count = self.mesh.places.len();
        for (&place, look) in self.mesh.places.iter().zip(&self.samples) {
            words[place] = look.explained;
        }
        let courses = self.courses(nodes, problem, &weights.likelihoods[..count]);
        for (interval, course) in courses[..count - 1].iter().enumerate() {
            let weight = weights.of_samples[interval].max(weights.of_samples[interval + 1]);
            let [from, to] = [self.mesh.places[interval], self.mesh.places[interval + 1]];
            let between = if course.doubt.min(1.0) * weight > TOLERANCE {
                self.look_closely(interval, nodes, problem)
            } else {
                self.interpolated(interval, course)
            };
            words[from + 1..to].copy_from_slice(&between[..to - from - 1]);
        }
    }

    /// What is known of the likelihood's course between each two samples.
    fn courses(&self, nodes: &[Node], problem: &Problem, likelihoods: &[f64]) -> [Course; SAMPLES - 1] {
        let count = likelihoods.len();
        let whole =
            Course { first: 0, samples: count, doubt: KINKED * mesh::highest_difference(likelihoods) };
        let mut courses = [whole; SAMPLES - 1];
        let kinds: [_; SAMPLES] = std::array::from_fn(|k| self.kind(k, nodes, problem));
        let mut first = 0;
        for own in kinds[..count].chunk_by(|a, b| a == b) {
            let samples = own.len();
            if samples >= mesh::LEAST {
                let difference = mesh::highest_difference(&likelihoods[first..first + samples]);
                for (k, course) in courses[first..first + samples - 1].iter_mut().enumerate() {
                    let is_outside = k == 0 || k + 2 == samples;
                    let doubt = mesh::share(samples, is_outside) * difference;
                    if doubt < course.doubt {
                        *course = Course { first, samples, doubt };
                    }
                }
            }
            first += samples;
        }
        courses
    }

    /// Between samples of the same kind there is no kink: the same unknowns are at their bounds, and the same
    /// channels are the lightest and the darkest.
    fn kind(&self, sample: usize, nodes: &[Node], problem: &Problem) -> ([bool; 3], [usize; 2]) {
        let place = self.mesh.places.get(sample).copied().unwrap_or(self.mesh.length);
        (problem.bounds_met(&self.samples[sample].state), nodes[self.begin + place].extremes())
    }

    /// Looks at every sample between two that were seen, from about where the unknowns lie: on the parabola
    /// through three samples around them.
    fn look_closely(&self, interval: usize, nodes: &[Node], problem: &Problem) -> [Explained; LANES] {
        let stride = self.mesh.stride;
        let first = (interval.max(1) - 1).min(self.mesh.places.len() - 3);
        let between: [usize; LANES] = std::array::from_fn(|k| (k + 1).min(stride - 1));
        let about = mesh::parabola(between.map(|k| (interval - first) as f64 + k as f64 / stride as f64));
        let samples = [0, 1, 2].map(|k| &self.samples[first + k]);
        let begin = self.begin + self.mesh.places[interval];
        problem.look(between.map(|k| &nodes[begin + k]), blended(samples, &about)).map(|look| look.explained)
    }

    /// What a polynomial says of the samples between two that were seen. Where it may be far off it is held
    /// between what they say: where the likelihood falls steeply, it swings far beyond.
    fn interpolated(&self, interval: usize, course: &Course) -> [Explained; LANES] {
        let samples = &self.samples[course.first..course.first + course.samples];
        let between = self.mesh.between(samples, interval - course.first);
        if course.doubt <= HELD {
            return between;
        }
        let [a, b] = [self.samples[interval].explained, self.samples[interval + 1].explained];
        let held = |value: f64, a: f64, b: f64| value.clamp(a.min(b), a.max(b));
        between.map(|word| Explained {
            likelihood: held(word.likelihood, a.likelihood, b.likelihood),
            chi_square: held(word.chi_square, a.chi_square, b.chi_square),
        })
    }
}

/// A course of the likelihood through some samples in a row.
#[derive(Clone, Copy)]
struct Course {
    first: usize,
    samples: usize,
    /// How far off the polynomial through them may be.
    doubt: f64,
}

/// How much the samples of a section count.
struct Weights {
    /// Logarithm of their likelihoods, all variances widened.
    likelihoods: [f64; SAMPLES],
    /// What each adds, with those around it, to the probability and to the variance of the value, as a share
    /// of all.
    of_samples: [f64; SAMPLES],
}

/// Those of all sections.
fn weights(sections: &[Section], nodes: &[Node], ratio: f64) -> Vec<Weights> {
    let looks = || sections.iter().flat_map(Section::samples);
    let excess = excess(ratio);
    let likelihood = |look: &Look| look.explained.likelihood + excess * look.explained.chi_square;
    let best = looks().map(likelihood).fold(f64::NEG_INFINITY, f64::max);
    let mut all: Vec<Weights> = sections
        .iter()
        .map(|section| section.weights(section.samples.each_ref().map(likelihood), best))
        .collect();
    let mut sums = [0.0; 3];
    for (section, weights) in sections.iter().zip(&all) {
        for (value, weight) in section.values(nodes).zip(weights.of_samples) {
            sums = [sums[0] + weight, sums[1] + weight * value, sums[2] + weight * value * value];
        }
    }
    let mean = sums[1] / sums[0];
    let variance = (sums[2] / sums[0] - mean * mean).max(f64::MIN_POSITIVE);
    let sharpness = density_at_ends(sections, &all, nodes, sums[0]) * variance.sqrt() / NORMAL_DENSITY;
    let scale = 1.0 / (sums[0] * sharpness.min(1.0));
    for (section, weights) in sections.iter().zip(&mut all) {
        for (value, weight) in section.values(nodes).zip(&mut weights.of_samples) {
            *weight *= (1.0 + (value - mean).powi(2) / variance) * scale;
        }
    }
    all
}

/// Least density of the probability where the interval ends, roughly: where it is low, little probability
/// moves an end far.
fn density_at_ends(sections: &[Section], weights: &[Weights], nodes: &[Node], all: f64) -> f64 {
    let (mut below, mut least) = (0.0, f64::INFINITY);
    for (section, weights) in sections.iter().zip(weights) {
        let width =
            section.mesh.stride as f64 * (nodes[section.begin + 1].value - nodes[section.begin].value);
        for pair in weights.of_samples[..section.mesh.places.len()].windows(2) {
            let share = 0.5 * (pair[0] + pair[1]) / all;
            if ENDS.iter().any(|end| (below..below + share).contains(end)) {
                least = least.min(share / width);
            }
            below += share;
        }
    }
    least
}
