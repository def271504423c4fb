//! A piece of the path that has a chance, looked at in a few places.

use super::Part;
use super::course::Course;
use super::ends::{best_of, ratio_of};
use super::mesh::{self, BETWEEN, INNER, PLACES, SAMPLES, STRIDE};
use super::weights::Weights;
use crate::chart::likelihood::{Look, Problem, beside};
use crate::chart::path::{NODES_PER_PIECE, Node};

/// Logarithm of the likelihood, against the best one of all ends, below which both ends of a piece must lie
/// for it to be passed over.
const NO_CHANCE: f64 = -20.0;
/// The same of a piece towards which the likelihood falls and goes on to fall over it: nothing can rise there.
const NO_CHANCE_IN_TAIL: f64 = -17.0;

/// Half a step of the path, looked at in a few places.
pub struct Piece {
    /// Index of its first sample.
    pub begin: usize,
    /// What was seen at its places, both ends among them.
    pub samples: [Look; PLACES],
}

/// All pieces that have a chance.
#[inline]
pub fn pieces(nodes: &[Node], problem: &Problem, ends: &[Look]) -> Vec<Piece> {
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

    /// Values of the samples at its places.
    #[inline]
    pub fn values(&self, nodes: &[Node]) -> [f64; PLACES] {
        std::array::from_fn(|place| nodes[self.begin + place * STRIDE].value)
    }

    /// Fills in what every sample says, on polynomials through what was seen between kinks, and names the
    /// samples with whose error the result could not live.
    #[inline]
    pub fn fill(
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
