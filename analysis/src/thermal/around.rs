//! What a fit would be if something were a little different: without a group of stretches, or with other given values.
//! Owns that one step away from the solution; what it means for intervals is told by `spread`.

use super::curve::{Parameter, Values, later, residuals};
use super::solve::Solved;
use super::spread::Without;
use super::stretch::{Kind, Stretch};
use crate::estimate::count;
use nalgebra::{Cholesky, DMatrix, DVector, Dyn};

/// How far along a parameter its effect is looked at, in units that move a curve by 1 K in all.
pub(super) const STEP: f64 = 1e-3;

/// Beyond this the columns are one another's sum but for rounding.
const SINGULAR: f64 = 1e-9;

/// What the fit would be if something were a little different: one step of Gauss and Newton away.
pub(super) struct Around<'a> {
    solved: &'a Solved,
    values: &'a Values,
    free: &'a [Parameter],
    stretches: &'a [Stretch],
    /// Columns of one size: a time constant's logarithm and a gain differ by orders of magnitude.
    scale: DMatrix<f64>,
    slopes: DMatrix<f64>,
    square: DMatrix<f64>,
    pull: DVector<f64>,
    whole: Cholesky<f64, Dyn>,
}

impl<'a> Around<'a> {
    pub(super) fn of(
        solved: &'a Solved,
        values: &'a Values,
        free: &'a [Parameter],
        stretches: &'a [Stretch],
    ) -> Option<Self> {
        let sizes: Vec<f64> = solved.slopes.column_iter().map(|column| column.norm()).collect();
        if sizes.iter().any(|size| *size <= 0.0) {
            return None;
        }
        let scale = DMatrix::from_diagonal(&DVector::from_iterator(sizes.len(), sizes.iter().map(|size| size.recip())));
        let slopes = &solved.slopes * &scale;
        let (square, pull) = (slopes.tr_mul(&slopes), slopes.tr_mul(&solved.residuals));
        let whole = well_posed(square.clone())?;
        Some(Self { solved, values, free, stretches, scale, slopes, square, pull, whole })
    }

    /// Without the stretches of one kind in one group.
    pub(super) fn without(&self, group: (Kind, usize)) -> Option<Without> {
        let (mut square, mut pull, mut from) = (self.square.clone(), self.pull.clone(), 0);
        for stretch in self.stretches {
            let n = stretch.samples.len();
            if (stretch.kind, stretch.group) == group {
                let own = self.slopes.rows(from, n);
                square -= own.tr_mul(&own);
                pull -= own.tr_mul(&self.solved.residuals.rows(from, n));
            }
            from += n;
        }
        let step = well_posed(square.clone())?.solve(&-pull);
        let values = self.values.with(self.free, &(&self.solved.at + &self.scale * step));
        let inverse = self.whole.inverse();
        let adds = &inverse * (&self.square - square) * &inverse;
        Some(Without { kind: group.0, values: self.with_dead_times(&values, Some(group)), adds })
    }

    /// With one parameter a step further.
    pub(super) fn along(&self, idx: usize) -> Values {
        let mut step = DVector::zeros(self.free.len());
        step[idx] = STEP;
        self.values.with(self.free, &(&self.solved.at + &self.scale * step))
    }

    /// Deviation of one parameter as it would be if every reading were a witness of its own.
    pub(super) fn deviation(&self, idx: usize) -> f64 {
        let n = count(self.solved.residuals.len());
        let noise = self.solved.residuals.norm_squared() / n;
        (self.whole.inverse()[(idx, idx)] * noise).sqrt() * self.scale[(idx, idx)]
    }

    /// With other given values.
    pub(super) fn with(&self, given: &Values) -> Values {
        let left = residuals(&given.with(self.free, &self.solved.at), self.stretches.iter());
        let pull = self.slopes.tr_mul(&(left - &self.solved.residuals));
        let step = self.whole.solve(&-pull);
        let values = given.with(self.free, &(&self.solved.at + &self.scale * step));
        self.with_dead_times(&values, None)
    }

    /// With the mean of what steps are late by, of each kind.
    pub(super) fn with_dead_times(&self, values: &Values, without: Option<(Kind, usize)>) -> Values {
        let mean = |kind: Kind| {
            let counts =
                |one: &&Stretch| one.kind == kind && one.tells_dead_time() && Some((one.kind, one.group)) != without;
            let own: Vec<f64> = self
                .stretches
                .iter()
                .filter(counts)
                .map(|one| one.late + if values == self.values { 0.0 } else { later(self.values, values, one) })
                .collect();
            own.iter().sum::<f64>() / count(own.len()).max(1.0)
        };
        Values { cooling_dead: mean(Kind::Fall), heating_dead: mean(Kind::Climb), ..*values }
    }
}

fn well_posed(square: DMatrix<f64>) -> Option<Cholesky<f64, Dyn>> {
    let factor = square.cholesky()?;
    let least = factor.l_dirty().diagonal().iter().fold(f64::INFINITY, |least, one| least.min(*one));
    (least * least > SINGULAR).then_some(factor)
}
