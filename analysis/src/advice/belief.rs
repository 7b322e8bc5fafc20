//! What prints with a change and prints without it say of the ratio of their risks, beside what is believed of it
//! before. Owns the prior, the level that both share and the grid; what follows from it is the trial's and the verdict's.
//!
//! A print that would fail with the chance e has the hazard h = -ln(1 - e), as in the risk model. All hazards are off by
//! one common factor, the level; those of prints with the change by the ratio as well. Both are weighed on one grid of
//! their logarithms, on which a product is a shift.

use crate::estimate::{Estimate, count};
use statrs::distribution::{ContinuousCDF, Normal};
use std::ops::Range;

/// Distance of two points of the grid, as ln.
const STEP: f64 = 0.08;
/// The level is looked for so many points to either side: within a factor of e^4.8.
const LEVEL_REACH: usize = 60;
/// The ratio is: within a factor of e^4.
const RATIO_REACH: usize = 50;
const REACH: usize = LEVEL_REACH + RATIO_REACH;
/// What is believed of ln ratio before: Normal around nothing, as likely to harm as to help, and 95 times in 100 within
/// a factor of seven. Sceptical enough that a handful of prints proves nothing, and wide enough that its interval holds
/// ratios from one third to two as often as it says.
const RATIO_SPREAD: f64 = 1.0;
/// No model's level is known better than this, as ln.
const LEVEL_LEAST: f64 = 0.1;
/// Nor is one taken for worse: beyond that, an estimate says nothing.
const LEVEL_MOST: f64 = 1.5;
/// No chance is taken as nearer to never or always.
const EDGE: f64 = 1e-6;
/// A smaller share of belief is none.
const NOTHING: f64 = 1e-12;

/// The hazard of a chance.
pub(super) fn hazard(chance: f64) -> f64 {
    -(-chance.clamp(EDGE, 1.0 - EDGE)).ln_1p()
}

/// The chance of a hazard.
pub(super) fn chance(hazard: f64) -> f64 {
    -(-hazard).exp_m1()
}

/// What is believed of the ln of the level before a trial.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Level {
    pub(super) middle: f64,
    pub(super) spread: f64,
}

impl Level {
    /// Nothing: what is common to both groups is left to them, whatever it came from.
    pub(super) const OPEN: Self = Self { middle: 0.0, spread: LEVEL_MOST };

    /// What an estimate's 90 % interval leaves open. The estimate is the level's mean, which lies over its median.
    pub(super) fn of(chance: &Estimate) -> Self {
        let width = hazard(chance.high).ln() - hazard(chance.low).ln();
        let spread = (width / 2.0 / normal(0.95)).clamp(LEVEL_LEAST, LEVEL_MOST);
        Self::spread(spread)
    }

    /// A mean of one with this spread of its ln.
    pub(super) fn spread(spread: f64) -> Self {
        Self { middle: -spread * spread / 2.0, spread }
    }
}

/// The quantile of a standard Normal.
pub(super) fn normal(share: f64) -> f64 {
    Normal::standard().inverse_cdf(share)
}

/// ln likelihood of a group's outcomes with all of its hazards multiplied, at each point of the grid.
#[derive(Clone, Debug)]
pub(super) struct Tally {
    ln: Vec<f64>,
}

impl Tally {
    pub(super) fn new() -> Self {
        Self { ln: vec![0.0; 2 * REACH + 1] }
    }

    /// Counts prints of one hazard: those that failed and those that did not.
    pub(super) fn add(&mut self, hazard: f64, failed: usize, spared: usize) {
        for (ln, factor) in self.ln.iter_mut().zip(points(REACH)) {
            let hazard = hazard * factor.exp();
            *ln -= count(spared) * hazard;
            if failed > 0 {
                *ln += count(failed) * chance(hazard).ln();
            }
        }
    }

    /// Likelihoods at these points, the highest of them one.
    fn likelihoods(&self, at: Range<usize>) -> Vec<f64> {
        let ln = &self.ln[at];
        let most = ln.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        ln.iter().map(|ln| (ln - most).exp()).collect()
    }
}

/// Shares of belief over ln of something, on the grid around one.
#[derive(Clone, Debug)]
pub(super) struct Belief {
    shares: Vec<f64>,
}

impl Belief {
    /// Of the level, by the prints without the change.
    pub(super) fn of_level(level: Level, as_before: &Tally) -> Self {
        let likelihoods = as_before.likelihoods(RATIO_REACH..RATIO_REACH + 2 * LEVEL_REACH + 1);
        let believed = |ln: f64| (-((ln - level.middle) / level.spread).powi(2) / 2.0).exp();
        Self::of(likelihoods.iter().zip(points(LEVEL_REACH)).map(|(likely, ln)| likely * believed(ln)).collect())
    }

    /// Of the ratio, by the prints with the change, whatever the level.
    pub(super) fn of_ratio(level: &Self, changed: &Tally) -> Self {
        // Levels that nothing speaks for would only set the scale, and leave nothing of the others.
        let first = level.shares.iter().position(|share| *share > NOTHING).unwrap_or(0);
        let last = level.shares.iter().rposition(|share| *share > NOTHING).unwrap_or(2 * LEVEL_REACH);
        let levels = &level.shares[first..=last];
        let likelihoods = changed.likelihoods(first..last + 2 * RATIO_REACH + 1);
        let at = |(place, ln): (usize, f64)| {
            let beside: f64 = levels.iter().zip(&likelihoods[place..]).map(|(share, likely)| share * likely).sum();
            beside * (-(ln / RATIO_SPREAD).powi(2) / 2.0).exp()
        };
        Self::of(points(RATIO_REACH).enumerate().map(at).collect())
    }

    fn of(weights: Vec<f64>) -> Self {
        let whole: f64 = weights.iter().sum();
        Self { shares: weights.into_iter().map(|weight| weight / whole).collect() }
    }

    /// The probability that it lies under one.
    pub(super) fn under_one(&self) -> f64 {
        let middle = self.shares.len() / 2;
        self.shares[..middle].iter().sum::<f64>() + self.shares[middle] / 2.0
    }

    /// What it lies under with this probability. Each point stands for the cell around it.
    pub(super) fn quantile(&self, below: f64) -> f64 {
        let mut left = below;
        for (share, ln) in self.shares.iter().zip(points(self.shares.len() / 2)) {
            if left <= *share {
                return (ln + STEP * (left / share - 0.5)).exp();
            }
            left -= share;
        }
        (STEP * count(self.shares.len() / 2)).exp()
    }
}

/// The grid, so many points to either side of nothing.
fn points(reach: usize) -> impl Iterator<Item = f64> {
    (0..=2 * reach).map(move |place| STEP * (count(place) - count(reach)))
}
