//! Which samples of the path are looked at, so that the probabilities of all are known.
//!
//! Most of the path has nothing to say: it is glanced at every half step first. Where that leaves a
//! chance, each piece of half a step is looked at in a few places, each look begun where its neighbours'
//! unknowns settled, and the logarithm of the likelihood is interpolated in between. Between two places
//! where the interpolation may be off by more than the result can bear (their share of the probability
//! counts, and how far out they lie) every sample is looked at.

mod mesh;

use super::{birge_ratio, excess, exp_of_differences};
use crate::chart::likelihood::{LANES, Look, Problem, beside};
use crate::chart::path::{NODES_PER_PIECE, Node};
use crate::math::lanes;
use mesh::{BETWEEN, INNER, PLACES, SAMPLES, STRIDE};

/// Logarithm of the likelihood, against the best one of the first glance, below which an end of a piece
/// is not looked at again: unsettled unknowns keep it too low.
const NO_GLANCE: f64 = -60.0;
/// The same, against the best one of all ends, below which both ends of a piece must lie for it to be
/// passed over.
const NO_CHANCE: f64 = -20.0;
/// The same of a piece towards which the likelihood falls and goes on to fall over it: nothing can rise there.
const NO_CHANCE_IN_TAIL: f64 = -17.0;
/// Error that the samples between two that are seen may bring into the probability and into the variance of
/// the value, as a share of all.
const TOLERANCE: f64 = 1e-4;
/// Where the interval of 95 % ends, and the normal law's density there, with a standard deviation of one.
const ENDS: [f64; 2] = [0.025, 0.975];
const NORMAL_DENSITY: f64 = 0.058;
/// How far off the interpolation may be where there is a kink, as a share of its highest difference.
const KINKED: f64 = 1.0;
/// Possible error of the likelihood's logarithm from which on the polynomial is held between the samples.
const HELD: f64 = 0.01;

/// The part of the path that matters.
pub(super) struct Part {
    /// Index of its first sample.
    pub first: usize,
    /// Logarithm of each sample's likelihood; that of none for those that are passed over.
    pub likelihoods: Vec<f64>,
    /// Each sample's sum of squares; the largest number for those that are passed over.
    pub chi_squares: Vec<f64>,
}

impl Part {
    /// Looks at the path, from glances at the ends of its pieces.
    pub fn of(nodes: &[Node], problem: &Problem, glances: Vec<Look>) -> Self {
        let ends = settled(nodes, problem, glances);
        let pieces = pieces(nodes, problem, &ends);
        let (Some(first), Some(last)) = (pieces.first(), pieces.last()) else {
            return Self::passed_over(0, 2);
        };
        let mut part = Self::passed_over(first.begin, last.begin + SAMPLES - first.begin);
        let ratio = ratio_of(pieces.iter().flat_map(|piece| &piece.samples));
        let mut unsure = Vec::with_capacity(part.likelihoods.len());
        for (piece, weights) in pieces.iter().zip(weights(&pieces, nodes, ratio)) {
            piece.fill(nodes, problem, &weights, &mut part, &mut unsure);
        }
        part.look_closely(nodes, problem, &unsure);
        part
    }

    fn passed_over(first: usize, count: usize) -> Self {
        Self { first, likelihoods: vec![f64::NEG_INFINITY; count], chi_squares: vec![f64::MAX; count] }
    }

    /// Index behind its last sample.
    pub fn end(&self) -> usize {
        self.first + self.likelihoods.len()
    }

    /// Sum of squares of the sample that explains the colour best; infinite if none was looked at.
    pub fn least_chi_square(&self) -> f64 {
        let least = lanes::fold(&self.chi_squares, f64::MAX, |a, b| if b < a { b } else { a });
        if least < f64::MAX { least.max(0.0) } else { f64::INFINITY }
    }

    /// Looks at samples one by one, from about where their unknowns lie.
    fn look_closely(&mut self, nodes: &[Node], problem: &Problem, unsure: &[(usize, [f64; 5])]) {
        for some in unsure.chunks(LANES) {
            let four: [&(usize, [f64; 5]); LANES] = std::array::from_fn(|k| &some[k.min(some.len() - 1)]);
            let about = beside(four.map(|(_, about)| about));
            let looks = problem.look(four.map(|(node, _)| &nodes[*node]), about);
            for (&&(node, _), Look { explained, .. }) in four.iter().zip(looks) {
                self.likelihoods[node - self.first] = explained.likelihood;
                self.chi_squares[node - self.first] = explained.chi_square;
            }
        }
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

/// Looks again at all ends that are worth it and at those beside them, until their unknowns have settled.
fn settled(nodes: &[Node], problem: &Problem, mut ends: Vec<Look>) -> Vec<Look> {
    let chance = best_of(&ends) + ratio_of(&ends) * NO_GLANCE;
    let is_worth = |look: &Look| look.explained.likelihood >= chance;
    let Some(first) = ends.iter().position(is_worth) else { return ends };
    let last = ends.iter().rposition(is_worth).unwrap_or(first);
    let (first, behind) = (first.saturating_sub(1), (last + 2).min(ends.len()));
    for begin in (first..behind).step_by(LANES) {
        let four: [usize; LANES] = std::array::from_fn(|k| (begin + k).min(behind - 1));
        let looks = problem.look(four.map(|k| end_of_piece(nodes, k)), beside(four.map(|k| &ends[k].state)));
        four.iter().zip(looks).for_each(|(&k, look)| ends[k] = look);
    }
    ends
}

/// Beside the path all chances draw nearer to each other.
fn ratio_of<'a>(looks: impl IntoIterator<Item = &'a Look>) -> f64 {
    birge_ratio(looks.into_iter().map(|look| look.explained.chi_square).fold(f64::INFINITY, f64::min))
}

fn best_of(looks: &[Look]) -> f64 {
    looks.iter().map(|look| look.explained.likelihood).fold(f64::NEG_INFINITY, f64::max)
}

/// Half a step of the path, looked at in a few places.
struct Piece {
    /// Index of its first sample.
    begin: usize,
    samples: [Look; PLACES],
}

/// All pieces that have a chance.
fn pieces(nodes: &[Node], problem: &Problem, ends: &[Look]) -> Vec<Piece> {
    let (best, ratio) = (best_of(ends), ratio_of(ends));
    let of = |end: usize| ends[end].explained.likelihood;
    let has_chance = |piece: usize| {
        let (a, b) = (of(piece), of(piece + 1));
        let goes_on_falling = (piece > 0 && of(piece - 1) > a && a > b)
            || (piece + 2 < ends.len() && a < b && b < of(piece + 2));
        let chance = if goes_on_falling { NO_CHANCE_IN_TAIL } else { NO_CHANCE };
        a.max(b) >= best + ratio * chance
    };
    let mut all = Vec::with_capacity(ends.len() - 1);
    for piece in (0..ends.len() - 1).filter(|piece| has_chance(*piece)) {
        all.push(Piece::look(nodes, problem, piece, ends));
    }
    all
}

impl Piece {
    /// The unknowns are sought from the parabola through three ends, the third on the likelier side.
    fn look(nodes: &[Node], problem: &Problem, piece: usize, ends: &[Look]) -> Self {
        let begin = piece * NODES_PER_PIECE;
        let rises = ends[piece + 1].explained.likelihood > ends[piece].explained.likelihood;
        let first = if rises { piece } else { piece.saturating_sub(1) }.min(ends.len().saturating_sub(3));
        let around = [0, 1, 2].map(|k| &ends[(first + k).min(ends.len() - 1)].state);
        let place = |inner: usize| (piece - first) as f64 + inner as f64 / NODES_PER_PIECE as f64;
        let about = INNER.map(|inner| on_parabola(around, place(inner)));
        let [a, b, c, d] = problem.look(INNER.map(|inner| &nodes[begin + inner]), beside(about.each_ref()));
        Self { begin, samples: [ends[piece], a, b, c, d, ends[piece + 1]] }
    }

    fn values(&self, nodes: &[Node]) -> [f64; PLACES] {
        std::array::from_fn(|place| nodes[self.begin + place * STRIDE].value)
    }

    /// Fills in what every sample says, on polynomials through what was seen between kinks, and names the
    /// samples with whose error the result could not live.
    fn fill(
        &self,
        nodes: &[Node],
        problem: &Problem,
        weights: &Weights,
        part: &mut Part,
        unsure: &mut Vec<(usize, [f64; 5])>,
    ) {
        let whole = Course::whole(&weights.likelihoods);
        let most = weights.of_samples.iter().copied().fold(0.0, f64::max);
        if whole.is_bearable(most) {
            // Whether there is a kink need not be known.
            return self.interpolate(&[whole; PLACES - 1], part);
        }
        let courses = self.courses(nodes, problem, whole, &weights.likelihoods);
        self.interpolate(&courses, part);
        for (interval, course) in courses.iter().enumerate() {
            let weight = weights.of_samples[interval].max(weights.of_samples[interval + 1]);
            if !course.is_bearable(weight) {
                unsure.extend((1..STRIDE).map(|k| self.between(interval, k)));
            }
        }
    }

    /// What is known of the likelihood's course between each two samples.
    fn courses(
        &self,
        nodes: &[Node],
        problem: &Problem,
        whole: Course,
        likelihoods: &[f64; PLACES],
    ) -> [Course; PLACES - 1] {
        let kinds: [_; PLACES] = std::array::from_fn(|place| self.kind(place, nodes, problem));
        let mut courses = [whole; PLACES - 1];
        let mut first = 0;
        for own in kinds.chunk_by(|a, b| a == b) {
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
    fn kind(&self, place: usize, nodes: &[Node], problem: &Problem) -> ([bool; 3], [usize; 2]) {
        let node = &nodes[self.begin + place * STRIDE];
        (problem.bounds_met(&self.samples[place].state), node.extremes())
    }

    /// What polynomials say of the samples between those that were seen. Where they may be far off they are
    /// held between what these say: where the likelihood falls steeply, they swing far beyond.
    fn interpolate(&self, courses: &[Course; PLACES - 1], part: &mut Part) {
        let likelihoods = self.samples.each_ref().map(|look| look.explained.likelihood);
        let chi_squares = self.samples.each_ref().map(|look| look.explained.chi_square);
        let at = self.begin - part.first;
        let own = at..at + SAMPLES;
        part.likelihoods[own.clone()].copy_from_slice(&mesh::course(&likelihoods));
        part.chi_squares[own].copy_from_slice(&mesh::course(&chi_squares));
        for (interval, course) in courses.iter().enumerate() {
            let behind = at + interval * STRIDE + 1;
            let between = behind..behind + BETWEEN;
            let own = &mut part.likelihoods[between.clone()];
            course.hold(own, &likelihoods, interval);
            let own = &mut part.chi_squares[between];
            course.hold(own, &chi_squares, interval);
        }
    }

    /// A sample behind one that was seen, and about where its unknowns lie: on the parabola through three
    /// samples around it.
    fn between(&self, interval: usize, behind: usize) -> (usize, [f64; 5]) {
        let first = interval.saturating_sub(1).min(PLACES - 3);
        let x = (interval - first) as f64 + behind as f64 / STRIDE as f64;
        let around = [0, 1, 2].map(|k| &self.samples[first + k].state);
        (self.begin + interval * STRIDE + behind, on_parabola(around, x))
    }
}

/// The unknowns on the parabola through three places in a row.
fn on_parabola([a, b, c]: [&[f64; 5]; 3], x: f64) -> [f64; 5] {
    let [p, q, r] = mesh::parabola(x);
    std::array::from_fn(|k| p * a[k] + q * b[k] + r * c[k])
}

/// A course of the likelihood through some samples in a row.
#[derive(Clone, Copy)]
struct Course {
    first: usize,
    samples: usize,
    /// How far off the polynomial through them may be.
    doubt: f64,
}

impl Course {
    /// Through all samples of a piece in which there may be a kink.
    fn whole(likelihoods: &[f64; PLACES]) -> Self {
        let doubt = KINKED * mesh::highest_difference(likelihoods);
        Self { first: 0, samples: PLACES, doubt }
    }

    /// Whether the result bears its error where the samples weigh so much.
    fn is_bearable(&self, weight: f64) -> bool {
        self.doubt.min(1.0) * weight <= TOLERANCE
    }

    /// Makes it what is said between two samples, in place of what the polynomial through all of them does.
    fn hold(&self, between: &mut [f64], seen: &[f64; PLACES], interval: usize) {
        if self.samples < PLACES {
            let seen = &seen[self.first..self.first + self.samples];
            between.copy_from_slice(&mesh::between(seen, interval - self.first));
        }
        if self.doubt > HELD {
            let (a, b) = (seen[interval], seen[interval + 1]);
            let (least, most) = if a < b { (a, b) } else { (b, a) };
            between.iter_mut().for_each(|value| *value = value.clamp(least, most));
        }
    }
}

/// How much the samples of a piece count.
struct Weights {
    /// Logarithm of their likelihoods, all variances widened.
    likelihoods: [f64; PLACES],
    /// What each adds, with those around it, to the probability and to the variance of the value, as a share
    /// of all.
    of_samples: [f64; PLACES],
}

/// Those of all pieces.
fn weights(pieces: &[Piece], nodes: &[Node], ratio: f64) -> Vec<Weights> {
    let excess = excess(ratio);
    let likelihood = |look: &Look| look.explained.likelihood + excess * look.explained.chi_square;
    let likelihoods: Vec<[f64; PLACES]> =
        pieces.iter().map(|piece| piece.samples.each_ref().map(likelihood)).collect();
    let mut of_samples = likelihoods.clone();
    let best = likelihoods.as_flattened().iter().copied().fold(f64::NEG_INFINITY, f64::max);
    exp_of_differences(of_samples.as_flattened_mut(), best);
    let mut sums = [0.0; 3];
    for (piece, weights) in pieces.iter().zip(&of_samples) {
        for (value, weight) in piece.values(nodes).into_iter().zip(weights) {
            sums = [sums[0] + weight, sums[1] + weight * value, sums[2] + weight * value * value];
        }
    }
    let mean = sums[1] / sums[0];
    let variance = (sums[2] / sums[0] - mean * mean).max(f64::MIN_POSITIVE);
    let sharpness = density_at_ends(pieces, &of_samples, nodes, sums[0]) * variance.sqrt() / NORMAL_DENSITY;
    let scale = 1.0 / (sums[0] * sharpness.min(1.0));
    for (piece, weights) in pieces.iter().zip(&mut of_samples) {
        for (value, weight) in piece.values(nodes).into_iter().zip(weights) {
            *weight *= (1.0 + (value - mean).powi(2) / variance) * scale;
        }
    }
    let both = likelihoods.into_iter().zip(of_samples);
    both.map(|(likelihoods, of_samples)| Weights { likelihoods, of_samples }).collect()
}

/// Least density of the probability where the interval ends, roughly: where it is low, little probability
/// moves an end far.
fn density_at_ends(pieces: &[Piece], weights: &[[f64; PLACES]], nodes: &[Node], all: f64) -> f64 {
    let (mut below, mut least) = (0.0, f64::INFINITY);
    for (piece, weights) in pieces.iter().zip(weights) {
        let width = STRIDE as f64 * (nodes[piece.begin + 1].value - nodes[piece.begin].value);
        for pair in weights.windows(2) {
            let share = 0.5 * (pair[0] + pair[1]) / all;
            if ENDS.iter().any(|end| (below..below + share).contains(end)) {
                least = least.min(share / width);
            }
            below += share;
        }
    }
    least
}
