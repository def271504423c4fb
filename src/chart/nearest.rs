//! The chart colour nearest to a colour: a k-d tree over the path, refined between its samples.
//!
//! Distances are Euclidean in Oklab times 100, with every colour's shade taken off first (the light of
//! its brightest channel set to one), because the brightness of a vial says little of its liquid. The
//! tree answers which part of the path a colour is near and how far off it lies; what value follows is
//! a matter of probability ([`super::matching`]).

use kiddo::{ImmutableKdTree, SquaredEuclidean};

use super::matching::typical_light;
use super::path::Path;
use crate::colour::difference::oklab;
use crate::terms::space::Relative;

/// Samples a step for the tree: denser than the path's own nodes, since it is built once.
const SAMPLES: usize = 400;

/// The path's colours, ready to be asked.
pub struct Nearest {
    tree: ImmutableKdTree<f64, 3>,
    points: Vec<[f64; 3]>,
    values: Vec<f64>,
}

/// The nearest place on the path.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    /// Value there, in the chart's unit.
    pub value: f64,
    /// Distance from it, Oklab times 100, shade taken off.
    pub distance: f64,
}

impl Nearest {
    /// Builds the tree over the chart's range; `None` if the path has no finite colours.
    pub fn new(path: &Path) -> Option<Self> {
        let (first, last) = (path.first(), path.last());
        let values: Vec<f64> =
            (0..=SAMPLES).map(|k| first + (last - first) * k as f64 / SAMPLES as f64).collect();
        // Levels lie unevenly: their surroundings are sampled too.
        let dense = path.nodes.iter().map(|node| node.value).filter(|value| (first..=last).contains(value));
        let mut values: Vec<f64> = values.into_iter().chain(dense).collect();
        values.sort_by(f64::total_cmp);
        values.dedup();
        let points: Vec<[f64; 3]> =
            values.iter().map(|&value| unshaded(typical_light(path, value))).collect();
        if points.iter().flatten().any(|x| !x.is_finite()) {
            return None;
        }
        let tree = ImmutableKdTree::new_from_slice(&points).ok()?;
        Some(Self { tree, points, values })
    }

    /// The nearest place on the path; `None` for a colour that is no number.
    pub fn place(&self, colour: Relative) -> Option<Place> {
        let query = unshaded(colour);
        if query.iter().any(|x| !x.is_finite()) {
            return None;
        }
        let hit = self.tree.query(&query).nearest_one::<SquaredEuclidean<f64>>().execute();
        let k = hit.item as usize;
        let neighbours = [k.checked_sub(1), (k + 1 < self.points.len()).then_some(k + 1)];
        let own = Place { value: self.values[k], distance: hit.distance.sqrt() };
        let refined = neighbours.into_iter().flatten().map(|other| self.between(&query, k, other));
        refined.chain([own]).min_by(|a, b| a.distance.total_cmp(&b.distance))
    }

    /// The nearest point on the straight piece between two samples.
    fn between(&self, query: &[f64; 3], k: usize, other: usize) -> Place {
        let (a, b) = (&self.points[k], &self.points[other]);
        let along: [f64; 3] = std::array::from_fn(|axis| b[axis] - a[axis]);
        let offset: [f64; 3] = std::array::from_fn(|axis| query[axis] - a[axis]);
        let square = dot(&along, &along);
        let share = if square > 0.0 { (dot(&offset, &along) / square).clamp(0.0, 1.0) } else { 0.0 };
        let gap: [f64; 3] = std::array::from_fn(|axis| offset[axis] - share * along[axis]);
        let value = self.values[k] + share * (self.values[other] - self.values[k]);
        Place { value, distance: dot(&gap, &gap).sqrt() }
    }
}

fn dot(a: &[f64; 3], b: &[f64; 3]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

/// Oklab times 100 of a colour whose brightest channel is set to one.
fn unshaded(colour: Relative) -> [f64; 3] {
    let brightest = colour.iter().copied().fold(1e-6, f64::max);
    let lab = oklab(colour.map(|value| value / brightest));
    [100.0 * lab.l, 100.0 * lab.a, 100.0 * lab.b]
}
