//! How sure a fitted heater is. Owns the jackknife over stretches and the intervals that follow from it.
//!
//! Stretches differ by more than the sensor's noise (fan, flow, draughts), so they are what varies: what the fit
//! would be without each one, by one step of Gauss and Newton from the whole (exact where the curve is linear), a
//! jackknife for each kind of stretch (n - 1)/n Σ (`x_i` - mean)², and Student's t at Satterthwaite's degrees of
//! freedom (Biometrics Bulletin 2 (1946) 110). Rests between the same two steps share a room and count as one.
//! What a record does not tell was given, and is no surer than that: its standard deviation goes through to the rest.

use super::around::{Around, STEP};
use super::curve::{Parameter, Values};
use super::solve::Solved;
use super::stretch::{Kind, Stretch};
use crate::estimate::{Estimate, Refusal, count};
use nalgebra::{DMatrix, DVector};
use statrs::distribution::{ContinuousCDF, StudentsT};

/// Upper end of a two-sided 90 % interval.
const NINETY: f64 = 0.95;

/// Degrees of freedom of what was given rather than observed: normal but for the last digits.
const MANY: f64 = 1e6;

/// Parameters, and what they would be without each stretch.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Found {
    pub(super) values: Values,
    without: Vec<Without>,
    /// With each of the free parameters a little higher, and by how much, in the fit's own scale.
    along: Vec<(f64, Values)>,
    /// With each given value a standard deviation higher.
    given: Vec<Values>,
    /// Stretches of each kind.
    n: [usize; 3],
    /// The free parameters' deviations if every reading were a witness of its own.
    least: Vec<(Parameter, f64)>,
    /// By how much steps that polls place loosely may move a dead time either way, s: falls, climbs.
    pub(super) unplaced: [f64; 2],
}

/// What the parameters would be without one group of stretches.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Without {
    pub(super) kind: Kind,
    pub(super) values: Values,
    /// What the group adds to the parameters' covariance, but for the size of the noise.
    pub(super) adds: DMatrix<f64>,
}

/// A quantity's variance and its degrees of freedom.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Spread {
    pub(super) variance: f64,
    pub(super) freedom: f64,
}

impl Spread {
    /// Of independent parts, after Satterthwaite.
    pub(super) fn sum(parts: impl Iterator<Item = Self>) -> Self {
        let (variance, square) = parts.fold((0.0, 0.0), |(variance, square), part| {
            let own = if part.freedom > 0.0 { part.variance * part.variance / part.freedom } else { 0.0 };
            (variance + part.variance, square + own)
        });
        Self { variance, freedom: if square > 0.0 { (variance * variance / square).min(MANY) } else { MANY } }
    }

    /// That of a difference or sum of two.
    pub(super) fn and(self, other: Self) -> Self {
        Self::sum([self, other].into_iter())
    }

    /// Student's t with its degrees of freedom; none where nothing varies.
    pub(super) fn student(&self) -> Option<StudentsT> {
        (self.variance > 0.0).then(|| StudentsT::new(0.0, 1.0, self.freedom).ok())?
    }

    /// Half of the 90 % interval.
    pub(super) fn half_width(&self) -> f64 {
        self.student().map_or(0.0, |student| student.inverse_cdf(NINETY) * self.variance.sqrt())
    }
}

impl Found {
    /// What was found, if the stretches that remain without any one of them still tell every parameter; `given` are
    /// values as they were used, each with one of them a standard deviation higher.
    ///
    /// # Errors
    /// If one stretch alone tells a parameter.
    pub(super) fn of(
        (solved, values): (&Solved, &Values),
        free: &[Parameter],
        stretches: &[Stretch],
        given: &[Values],
    ) -> Result<Self, Refusal> {
        let around = Around::of(solved, values, free, stretches).ok_or(Refusal::TooLoose)?;
        let mut groups: Vec<(Kind, usize)> = stretches.iter().map(|one| (one.kind, one.group)).collect();
        groups.dedup();
        let without = groups.into_iter().map(|group| around.without(group));
        let along = (0..free.len()).map(|idx| (STEP, around.along(idx)));
        Ok(Self {
            values: around.with_dead_times(values, None),
            without: without.collect::<Option<_>>().ok_or(Refusal::TooLoose)?,
            along: along.collect(),
            given: given.iter().map(|given| around.with(given)).collect(),
            n: Kind::ALL.map(|kind| stretches.iter().filter(|one| one.kind == kind).count()),
            least: free.iter().enumerate().map(|(idx, one)| (*one, around.deviation(idx))).collect(),
            unplaced: [0.0; 2],
        })
    }

    /// Whether both rest on the same free parameters, so that all else was given to both alike.
    pub(super) fn tells_the_same(&self, other: &Self) -> bool {
        self.least.iter().map(|(one, _)| one).eq(other.least.iter().map(|(one, _)| one))
    }

    /// How far a quantity varies; `None` where it has no value with some of what may be.
    pub(super) fn spread(&self, quantity: impl Fn(&Values) -> Option<f64>) -> Option<Spread> {
        self.seen(quantity, true)
    }

    /// How far it varies with the stretches, and with what was given if that counts.
    pub(super) fn seen(&self, quantity: impl Fn(&Values) -> Option<f64>, counts_given: bool) -> Option<Spread> {
        // Every step tells a dead time alike.
        let weighs_alike = self.is_late(&quantity)?;
        let slope = self.slope(&quantity)?;
        let of_kind = |kind: Kind| {
            let own: Vec<&Without> = self.without.iter().filter(|one| one.kind == kind).collect();
            let found: Vec<f64> = own.iter().map(|one| quantity(&one.values)).collect::<Option<_>>()?;
            let weigh = |one: &&Without| if weighs_alike { 1.0 } else { (&one.adds * &slope).dot(&slope) };
            Some(jackknife(&found, &own.iter().map(weigh).collect::<Vec<_>>()))
        };
        let mut parts = Kind::ALL.into_iter().map(of_kind).collect::<Option<Vec<_>>>()?;
        let found = quantity(&self.values)?;
        for given in self.given.iter().filter(|_| counts_given) {
            parts.push(Spread { variance: (quantity(given)? - found).powi(2), freedom: MANY });
        }
        Some(Spread::sum(parts.into_iter()))
    }

    /// Change of a quantity with each free parameter.
    fn slope(&self, quantity: &impl Fn(&Values) -> Option<f64>) -> Option<DVector<f64>> {
        let found = quantity(&self.values)?;
        let along = self.along.iter().map(|(step, values)| Some((quantity(values)? - found) / step));
        Some(DVector::from_vec(along.collect::<Option<Vec<f64>>>()?))
    }

    /// Whether a quantity changes with the dead times.
    fn is_late(&self, quantity: &impl Fn(&Values) -> Option<f64>) -> Option<bool> {
        let Values { cooling_dead, heating_dead, .. } = self.values;
        let late = Values { cooling_dead: cooling_dead + 1.0, heating_dead: heating_dead + 1.0, ..self.values };
        Some((quantity(&late)? - quantity(&self.values)?).abs() > 0.0)
    }

    /// How many stretches of that kind it rests on.
    pub(super) fn n(&self, kind: Kind) -> usize {
        Kind::ALL.iter().zip(self.n).find(|(one, _)| **one == kind).map_or(0, |(_, n)| n)
    }

    /// A free parameter's deviation if every reading were a witness of its own; of a time constant that of its logarithm.
    pub(super) fn least(&self, parameter: Parameter) -> Option<f64> {
        self.least.iter().find(|(one, _)| *one == parameter).map(|(_, least)| *least)
    }

    /// One of the parameters with its interval; that of a time constant or gain is even on the logarithm, so that it
    /// can't reach below nought.
    pub(super) fn estimate(&self, parameter: Parameter) -> Result<Estimate, Refusal> {
        let n = self.n_of(parameter);
        let value = self.values.of(parameter);
        let plain = || self.spread(|values| Some(values.of(parameter))).map(|spread| spread.half_width());
        match parameter {
            Parameter::CoolingConstant | Parameter::HeatingConstant | Parameter::Gain => {
                let log = |values: &Values| Some(values.of(parameter).ln()).filter(|log| log.is_finite());
                let factor = self.spread(log).ok_or(Refusal::TooLoose)?.half_width().exp();
                Ok(Estimate { value, low: value / factor, high: value * factor, n })
            }
            Parameter::CoolingDeadTime | Parameter::HeatingDeadTime => {
                let unplaced = self.unplaced[usize::from(parameter == Parameter::HeatingDeadTime)];
                let half = plain().ok_or(Refusal::TooLoose)? + unplaced;
                Ok(Estimate { value: value.max(0.0), low: (value - half).max(0.0), high: (value + half).max(0.0), n })
            }
            Parameter::Neighbour | Parameter::Bed | Parameter::Ambient => {
                let half = plain().ok_or(Refusal::TooLoose)?;
                Ok(Estimate { value, low: value - half, high: value + half, n })
            }
        }
    }

    fn n_of(&self, parameter: Parameter) -> usize {
        match parameter {
            Parameter::CoolingConstant | Parameter::CoolingDeadTime => self.n(Kind::Fall),
            Parameter::HeatingConstant | Parameter::Gain | Parameter::HeatingDeadTime => self.n(Kind::Climb),
            Parameter::Neighbour | Parameter::Bed => self.n.iter().sum(),
            Parameter::Ambient => self.n(Kind::Rest),
        }
    }
}

/// Variance of an estimate from what it is without each group. Its degrees of freedom are those of as many groups as
/// there would be if all weighed alike, (Σ w)²/Σ w², less one: where two of ten tell it, they are two.
fn jackknife(found: &[f64], weights: &[f64]) -> Spread {
    let n = count(found.len());
    let (sum, square) = weights.iter().fold((0.0, 0.0), |(sum, square), one| (sum + one, square + one * one));
    if found.len() < 2 || square <= 0.0 {
        return Spread::default();
    }
    let mean = found.iter().sum::<f64>() / n;
    let variance = found.iter().map(|found| (found - mean).powi(2)).sum::<f64>() * (n - 1.0) / n;
    Spread { variance, freedom: (sum * sum / square - 1.0).max(1.0) }
}
