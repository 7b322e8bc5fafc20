//! What lives and prior together say of the law. Owns the weighing of laws against each other, on a grid over (ln
//! shape, ln scale); what the law says of a part in use is `outlook`'s.

use super::grid::{Grid, moments, quantile, share_under};
use super::life::{Life, Record};
use super::outlook::{Outlook, WeighedLaw};
use super::prior::Prior;
use crate::estimate::{Confidence, Estimate};

/// How far from its middle a prior is looked for at first, in standard deviations.
const PRIOR_REACH: f64 = 6.0;
/// How far beyond the ages of the record the scale is looked for, as ln.
const AGES_REACH: f64 = 3.0;
/// The record speaks where the prior carries less than this share of what is known of shape and of scale alike.
const PRIOR_SHARE_MAX: f64 = 0.2;
/// A law that weighs less says nothing.
const WEIGHT_LEAST: f64 = 1e-9;

/// What a figure rests on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Basis {
    /// No part failed yet: the prior speaks, and the lives only say that it was not too low.
    Prior,
    /// Both carry weight.
    Mixed,
    /// The lives carry more than four fifths of it.
    Record,
}

impl Basis {
    /// Its word.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Prior => "prior",
            Self::Mixed => "mixed",
            Self::Record => "record",
        }
    }
}

/// Laws by their weight.
#[derive(Clone, Debug)]
pub struct Posterior {
    pub(super) grid: Grid,
    prior: Prior,
    n: usize,
    failures: usize,
}

impl Posterior {
    /// What these lives make of a prior; without any it is the prior. Parts in use count as lives that have not ended:
    /// each says that it lasted so far.
    #[must_use]
    pub fn of(lives: &[Life], prior: Prior) -> Self {
        let record = Record::of(lives);
        let around = |middle: f64, spread: f64| (middle - PRIOR_REACH * spread, middle + PRIOR_REACH * spread);
        let shapes = around(prior.middle.shape().ln(), prior.shape_spread);
        let mut scales = around(prior.middle.scale().ln(), prior.scale_spread);
        // Lives far from the prior draw the scale to themselves.
        for life in lives {
            scales = (scales.0.min(life.exit().ln() - AGES_REACH), scales.1.max(life.exit().ln() + AGES_REACH));
        }
        let row = |ln_shape: f64, ln_scales: &[f64]| {
            let shape = ln_shape.exp();
            let powers = record.powers(shape);
            let ln_density = |ln_scale: &f64| {
                prior.ln_density(ln_shape, *ln_scale) + record.ln_likelihood(shape, &powers, *ln_scale)
            };
            ln_scales.iter().map(ln_density).collect()
        };
        let grid = Grid::settle([shapes, scales], row);
        Self { grid, prior, n: record.n, failures: record.failures }
    }

    /// Lives it rests on, parts in use among them.
    #[must_use]
    pub const fn n(&self) -> usize {
        self.n
    }

    /// Lives that ended in failure.
    #[must_use]
    pub const fn failures(&self) -> usize {
        self.failures
    }

    /// The shape: median and interval; `n` counts lives.
    #[must_use]
    pub fn shape(&self, confidence: Confidence) -> Estimate {
        self.estimate(&self.grid.first, &self.grid.of_first(), confidence)
    }

    /// The scale in the unit of lives: median and interval; `n` counts lives.
    #[must_use]
    pub fn scale(&self, confidence: Confidence) -> Estimate {
        self.estimate(&self.grid.second, &self.grid.of_second(), confidence)
    }

    /// How sure it is that such parts wear out, 0 to 1: that the shape is above one. Where they fail by chance a new one
    /// is no safer than an old one.
    #[must_use]
    pub fn wears_out(&self) -> f64 {
        1.0 - share_under(&self.grid.first, &self.grid.of_first(), 0.0)
    }

    fn estimate(&self, nodes: &[f64], weights: &[f64], confidence: Confidence) -> Estimate {
        let at = |share: f64| quantile(nodes, weights, share).exp();
        Estimate { value: at(0.5), low: at(confidence.tail()), high: at(1.0 - confidence.tail()), n: self.n }
    }

    /// What it rests on.
    #[must_use]
    pub fn basis(&self) -> Basis {
        if self.failures == 0 {
            return Basis::Prior;
        }
        let left = |nodes: &[f64], weights: &[f64], spread: f64| moments(nodes, weights).1 / (spread * spread);
        let of_shape = left(&self.grid.first, &self.grid.of_first(), self.prior.shape_spread);
        let of_scale = left(&self.grid.second, &self.grid.of_second(), self.prior.scale_spread);
        if of_shape.max(of_scale) < PRIOR_SHARE_MAX { Basis::Record } else { Basis::Mixed }
    }

    /// What it says of a part of this age whose life so far is among the lives; of a new part at age 0.
    #[must_use]
    pub fn outlook(&self, age: f64) -> Outlook {
        Outlook::new(self.laws(), age, self.n)
    }

    /// The laws that weigh anything.
    pub(super) fn laws(&self) -> Vec<WeighedLaw> {
        let mut laws = Vec::new();
        for (ln_shape, row) in self.grid.first.iter().zip(&self.grid.weights) {
            let weighs = self.grid.second.iter().zip(row).filter(|(_, weight)| **weight > WEIGHT_LEAST);
            let shape = ln_shape.exp();
            laws.extend(weighs.map(|(ln_scale, weight)| WeighedLaw { shape, ln_scale: *ln_scale, weight: *weight }));
        }
        laws
    }
}
