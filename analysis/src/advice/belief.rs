//! What prints with a change and prints without it say of the ratio of their risks, beside what is believed of it
//! before. Owns the prior, the level that both share and the grid; what follows from it is the trial's and the verdict's.
//!
//! A print that would fail with the chance e has the hazard h = -ln(1 - e), as in the risk model. All hazards are off by
//! one common factor, the level; those of prints with the change by the ratio as well. Both are weighed on one grid of
//! their logarithms, on which a product is a shift.

use crate::estimate::{Estimate, count, deviations};
use std::ops::Range;

/// Distance of two points of the grid, as ln: less than half of what is left open by the longest trial.
const STEP: f64 = 0.1;
/// The level is looked for so many points to either side: within a factor of e^5.
const LEVEL_REACH: usize = 50;
/// The ratio is: within a factor of e^4.
const RATIO_REACH: usize = 40;
const REACH: usize = LEVEL_REACH + RATIO_REACH;
/// What is believed of ln ratio before: Normal around nothing, as likely to harm as to help, and 95 times in 100 within
/// a factor of ten. Sceptical enough that a handful of prints proves nothing, and wide enough that the interval holds
/// ratios from one fifth to two as often as it says.
const RATIO_SPREAD: f64 = 1.2;
/// No model's level is known better than this, as ln.
const LEVEL_LEAST: f64 = 0.1;
/// Nor is one taken for worse: beyond that, an estimate says nothing.
const LEVEL_MOST: f64 = 1.5;
/// No chance is taken as nearer to never or always.
const EDGE: f64 = 1e-6;
/// Halvings of the stretch in which a quantile is looked for: to a thousandth of a step.
const HALVINGS: usize = 17;
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

    /// What an estimate's 90 % interval leaves open.
    pub(super) fn of(chance: &Estimate) -> Self {
        let mut one = Tally::new();
        one.add(hazard(chance.value), 0, 1);
        Self::with_mean(spread(chance), &one)
    }

    /// With this spread of its ln, and as many failures to be expected on the whole as the group's chances come to:
    /// these are means over all that is open. The chance bends the more the higher it is, so that no fixed shift does it.
    pub(super) fn with_mean(spread: f64, group: &Tally) -> Self {
        let expected = group.expected[REACH];
        let (mut low, mut high) = (-spread * spread / 2.0, STEP * count(LEVEL_REACH));
        for _ in 0..HALVINGS {
            let middle = f64::midpoint(low, high);
            let is_low = Belief::before(Self { middle, spread }).mean(group) < expected;
            if is_low { low = middle } else { high = middle }
        }
        Self { middle: f64::midpoint(low, high), spread }
    }

    fn weights(self) -> impl Iterator<Item = f64> {
        points(LEVEL_REACH).map(move |ln| (-((ln - self.middle) / self.spread).powi(2) / 2.0).exp())
    }
}

/// How far off the ln of the level may be, by an estimate's 90 % interval.
pub(super) fn spread(chance: &Estimate) -> f64 {
    let width = hazard(chance.high).ln() - hazard(chance.low).ln();
    (width / 2.0 / deviations(0.95)).clamp(LEVEL_LEAST, LEVEL_MOST)
}

/// A group's outcomes with all of its hazards multiplied, at each point of the grid: their ln likelihood, and how many
/// failures were to be expected.
#[derive(Clone, Debug)]
pub(super) struct Tally {
    ln: Vec<f64>,
    expected: Vec<f64>,
}

impl Tally {
    pub(super) fn new() -> Self {
        let nothing = vec![0.0; 2 * REACH + 1];
        Self { ln: nothing.clone(), expected: nothing }
    }

    /// Counts prints of one hazard: those that failed and those that did not.
    pub(super) fn add(&mut self, hazard: f64, failed: usize, spared: usize) {
        for ((ln, expected), factor) in self.ln.iter_mut().zip(&mut self.expected).zip(points(REACH)) {
            let hazard = hazard * factor.exp();
            let chance = chance(hazard);
            *ln -= count(spared) * hazard;
            if failed > 0 {
                *ln += count(failed) * chance.ln();
            }
            *expected += count(failed + spared) * chance;
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
        Self::of(likelihoods.iter().zip(level.weights()).map(|(likely, believed)| likely * believed).collect())
    }

    /// Of the level, before any print.
    fn before(level: Level) -> Self {
        Self::of(level.weights().collect())
    }

    /// Failures to be expected in a group, on the mean over what is believed of the level.
    pub(super) fn mean(&self, group: &Tally) -> f64 {
        self.shares.iter().zip(&group.expected[RATIO_REACH..]).map(|(share, expected)| share * expected).sum()
    }

    /// Of the ratio of hazards, by the prints with the change, whatever the level.
    pub(super) fn of_ratio(level: &Self, changed: &Tally) -> Self {
        let mut weights = vec![0.0; 2 * RATIO_REACH + 1];
        for row in Likelihoods::of(level, changed).rows(level) {
            for (weight, likely) in weights.iter_mut().zip(row.likelihoods) {
                *weight += row.share * likely;
            }
        }
        for (weight, believed) in weights.iter_mut().zip(before()) {
            *weight *= believed;
        }
        Self::of(weights)
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

/// One level with its share of belief, and the likelihood of the prints with the change at each ratio.
struct Row<'a> {
    place: usize,
    share: f64,
    likelihoods: &'a [f64],
}

/// Likelihoods of the prints with the change, over the levels that something speaks for: the others would only set the
/// scale, and leave nothing of these.
struct Likelihoods {
    first: usize,
    n_levels: usize,
    at: Vec<f64>,
}

impl Likelihoods {
    fn of(level: &Belief, changed: &Tally) -> Self {
        let is_held = |share: &f64| *share > NOTHING;
        let first = level.shares.iter().position(is_held).unwrap_or(0);
        let last = level.shares.iter().rposition(is_held).unwrap_or(2 * LEVEL_REACH);
        let at = changed.likelihoods(first..last + 2 * RATIO_REACH + 1);
        Self { first, n_levels: last + 1 - first, at }
    }

    fn rows<'a>(&'a self, level: &'a Belief) -> impl Iterator<Item = Row<'a>> {
        let row = |(skip, share): (usize, &f64)| Row {
            place: self.first + skip,
            share: *share,
            likelihoods: &self.at[skip..=skip + 2 * RATIO_REACH],
        };
        level.shares[self.first..].iter().take(self.n_levels).enumerate().map(row)
    }
}

/// What is believed of the ratio of risks, level by level: the same ratio of hazards is a smaller one of risks the
/// higher they are.
pub(super) struct RiskRatio {
    /// Its ln at each ratio of hazards, with the belief that it lies under that.
    levels: Vec<Vec<(f64, f64)>>,
}

impl RiskRatio {
    pub(super) fn of(level: &Belief, changed: &Tally) -> Self {
        let believed: Vec<f64> = before().collect();
        let ln_expected: Vec<f64> = changed.expected.iter().map(|expected| expected.ln()).collect();
        let mut whole = 0.0;
        let likelihoods = Likelihoods::of(level, changed);
        let mut level_of = |row: Row| {
            let at_one = ln_expected[row.place + RATIO_REACH];
            let mut under = 0.0;
            let at = |((likely, believed), ln): ((&f64, &f64), &f64)| {
                let weight = row.share * likely * believed;
                under += weight;
                (ln - at_one, under - weight / 2.0)
            };
            let ln = &ln_expected[row.place..];
            let points = row.likelihoods.iter().zip(&believed).zip(ln).map(at).collect();
            whole += under;
            points
        };
        let mut levels: Vec<Vec<(f64, f64)>> = likelihoods.rows(level).map(&mut level_of).collect();
        for (_, under) in levels.iter_mut().flatten() {
            *under /= whole;
        }
        Self { levels }
    }

    /// The probability that it lies under this.
    pub(super) fn under(&self, ratio: f64) -> f64 {
        self.levels.iter().map(|level| between(level, ratio.ln())).sum()
    }

    /// What it lies under with this probability.
    pub(super) fn quantile(&self, below: f64) -> f64 {
        let reach = STEP * count(RATIO_REACH);
        let (mut low, mut high) = (-reach, reach);
        for _ in 0..HALVINGS {
            let middle = f64::midpoint(low, high);
            if self.under(middle.exp()) < below { low = middle } else { high = middle }
        }
        f64::midpoint(low, high).exp()
    }
}

/// The belief that it lies under this, by the straight line between the points to both sides.
fn between(points: &[(f64, f64)], at: f64) -> f64 {
    let next = points.partition_point(|(ln, _)| *ln < at);
    match (next.checked_sub(1).map(|last| points[last]), points.get(next)) {
        (Some((from, under)), Some((to, over))) => under + (over - under) * (at - from) / (to - from),
        (Some((_, under)), None) => under,
        (None, _) => 0.0,
    }
}

/// What is believed of ln ratio before, at each point of it.
fn before() -> impl Iterator<Item = f64> {
    points(RATIO_REACH).map(|ln| (-(ln / RATIO_SPREAD).powi(2) / 2.0).exp())
}

/// The grid, so many points to either side of nothing.
fn points(reach: usize) -> impl Iterator<Item = f64> {
    (0..=2 * reach).map(move |place| STEP * (count(place) - count(reach)))
}
