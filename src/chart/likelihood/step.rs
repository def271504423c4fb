//! Gauss-Newton steps of a photo's unknowns, at four samples side by side.

use fearless_simd::prelude::*;
use fearless_simd::{Simd, f64x4};

use super::four::{Channels, Unknowns};
use super::model::Model;
use super::row::Row;
use super::{PATH_BOUNDS, Problem, SHADE_BOUNDS, VEIL};

/// What is seen from one state of the unknowns.
#[derive(Clone, Copy)]
pub struct Sight<S: Simd> {
    /// Sum of squares where a step from there leads.
    pub chi_square: f64x4<S>,
    /// Determinant of the light's covariance.
    pub determinant: f64x4<S>,
}

/// A step towards where the unknowns settle.
pub struct Step<S: Simd> {
    pub from: Unknowns<S>,
    /// How far it leads, in standard deviations of the priors.
    pub widths: Unknowns<S>,
    pub sight: Sight<S>,
}

impl<S: Simd> Sight<S> {
    /// What would be seen from a state that lies beyond this one, by a share of the way from the last.
    #[inline(always)]
    fn beyond(&self, last: &Self, share: f64x4<S>) -> Self {
        Self {
            chi_square: self.chi_square + share * (self.chi_square - last.chi_square),
            determinant: self.determinant * (1.0 + share * (self.determinant / last.determinant - 1.0)),
        }
    }
}

impl Problem {
    /// One Gauss-Newton step, and what it makes of the sum of squares where no other bound than the
    /// veil's is met.
    #[inline(always)]
    pub(super) fn step<S: Simd>(&self, model: &Model<S>, state: &Unknowns<S>) -> (Unknowns<S>, Sight<S>) {
        let prior = Row::splat(model.noise.0[0].simd, self.prior);
        let slopes = &model.slopes;
        let Row([path, shade, veil, lamp, mix]) = *state - prior;
        let exponent = slopes.by_path * path + shade + slopes.by_lamp * lamp + slopes.by_mix * mix;
        let gap = model.gap + slopes.light * exponent + veil;
        let cofactors = model.covariance.cofactors();
        let determinant = model.covariance.determinant(&cofactors);
        let scale = 1.0 / determinant;
        let pulls = cofactors.times(gap) * scale;
        let chi_square = gap.dot(pulls);
        let free = prior + self.change(model, pulls);
        let beyond = free.0[VEIL] - bounded(free.0[VEIL], (0.0, self.most_veil));
        if beyond.simd_eq(0.0).all_true() {
            return (free, Sight { chi_square, determinant });
        }
        let pulls = cofactors.times(Row::splat(scale.simd, [1.0; 3])) * scale;
        let (held, chi_square) = self.held(free, chi_square, beyond, self.change(model, pulls));
        (held, Sight { chi_square, determinant })
    }

    /// The step with the veil held at its bound, and the other unknowns where they are most probable then
    /// (conditional normal law): they make up for each other, and what they came to with the veil beyond
    /// its bound means nothing. `told` is what the light tells of the unknowns along with the veil, as
    /// much as their priors' variances.
    #[inline(always)]
    fn held<S: Simd>(
        &self,
        free: Unknowns<S>,
        chi_square: f64x4<S>,
        beyond: f64x4<S>,
        told: Unknowns<S>,
    ) -> (Unknowns<S>, f64x4<S>) {
        let mut with_veil = told * -self.variance[VEIL];
        with_veil.0[VEIL] += self.variance[VEIL];
        let gain = beyond / with_veil.0[VEIL];
        let mut held = free - with_veil * gain;
        // On its bound and not beside it by a rounding: bounds that are met are asked for.
        held.0[VEIL] = bounded(free.0[VEIL], (0.0, self.most_veil));
        (held, chi_square + beyond * gain)
    }

    /// What pulls on the light's channels make of the unknowns.
    #[inline(always)]
    fn change<S: Simd>(&self, model: &Model<S>, pulls: Channels<S>) -> Unknowns<S> {
        let slopes = &model.slopes;
        let exponents = slopes.light * pulls;
        let by_lamp = slopes.by_lamp.dot(exponents);
        let by_mix = slopes.by_mix.dot(exponents);
        let change = Row([slopes.by_path.dot(exponents), exponents.sum(), pulls.sum(), by_lamp, by_mix]);
        change * Row::splat(by_mix.simd, self.variance)
    }

    /// Where steps lead that go on to shrink as this one did against the last (Anderson's acceleration with
    /// one step kept, J. ACM 12:547, 1965): steps that go to and fro meet in the middle.
    #[inline(always)]
    pub(super) fn ahead<S: Simd>(&self, step: &Step<S>, next: &Unknowns<S>, last: &Step<S>) -> Unknowns<S> {
        let change = step.widths - last.widths;
        let share = quotient(change.dot(step.widths), change.dot(change));
        let ahead = *next - (step.from - last.from + change * Row::splat(share.simd, self.sd)) * share;
        self.within_bounds(&ahead)
    }

    /// What would be seen from a state near the last two, on a straight line through what was seen there.
    #[inline(always)]
    pub(super) fn sight_from<S: Simd>(
        &self,
        ahead: &Unknowns<S>,
        step: &Step<S>,
        last: &Step<S>,
    ) -> Sight<S> {
        let moves = self.in_widths(&last.from, &step.from);
        let share = quotient(self.in_widths(&step.from, ahead).dot(moves), moves.dot(moves));
        step.sight.beyond(&last.sight, share)
    }

    /// How far the unknowns move, in standard deviations of their priors.
    #[inline(always)]
    pub(super) fn in_widths<S: Simd>(&self, from: &Unknowns<S>, to: &Unknowns<S>) -> Unknowns<S> {
        (*to - *from) * Row::splat(to.0[0].simd, self.inverse_sd)
    }

    /// Sum of squares of the unknowns against their priors.
    #[inline(always)]
    pub(super) fn pulls<S: Simd>(&self, state: &Unknowns<S>) -> f64x4<S> {
        let simd = state.0[0].simd;
        ((*state - Row::splat(simd, self.prior)) * Row::splat(simd, self.inverse_sd)).squared().sum()
    }

    /// Keeps unknowns where the model means something.
    #[inline(always)]
    pub(super) fn within_bounds<S: Simd>(&self, state: &Unknowns<S>) -> Unknowns<S> {
        let Row([path, shade, veil, lamp, mix]) = *state;
        let veil = bounded(veil, (0.0, self.most_veil));
        Row([bounded(path, PATH_BOUNDS), bounded(shade, SHADE_BOUNDS), veil, lamp, mix])
    }
}

/// At most one, either way; none of nothing.
#[inline(always)]
fn quotient<S: Simd>(a: f64x4<S>, b: f64x4<S>) -> f64x4<S> {
    bounded(a / (b + f64::MIN_POSITIVE), (-1.0, 1.0))
}

#[inline(always)]
pub fn bounded<S: Simd>(value: f64x4<S>, (low, high): (f64, f64)) -> f64x4<S> {
    value.max(low).min(high)
}
