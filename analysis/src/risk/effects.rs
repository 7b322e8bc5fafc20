//! How much each factor moves the risk, other factors equal: all of them in one regression, each with what is believed
//! of it beforehand shown beside what is believed afterwards. Owns these beliefs; which factor carries most is told by
//! the mixture.

use super::forward::Ahead;
use super::measure::{MEASURES_N, Numbers, Placed, correlation};
use super::mode::{Expect, FailureMode};
use super::posterior::{Link, Posterior, Prior, Problem, dot};
use crate::estimate::{Estimate, Refusal, count};
use statrs::distribution::{ContinuousCDF, Normal};

/// Two factors of a group that correlate more than this say the same; the first of them stands for both.
const SAME: f64 = 0.95;
/// Half-width of a 90 % interval in standard deviations.
pub(super) const NINETY: f64 = 1.644_854;
/// What is believed of the log-hazard for a standard deviation of a factor that no figure is known of: the expected
/// way, or not known which. Proposals, no source.
const EXPECTED: f64 = 0.3;
const DEVIATION: f64 = 0.5;
/// No prior is wider or further out than this for a standard deviation, however far a record spreads a factor.
const FAR: f64 = 1.0;
/// The intercept is left nearly free: the record always tells it.
const RATE: Prior = Prior::Normal { mean: -2.5, deviation: 3.0 };
/// A belief that keeps so much of its width and moves by so little of it repeats what was believed beforehand.
const AS_WIDE: f64 = 0.9;
const AS_FAR: f64 = 0.25;

/// What is believed of one factor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Effect {
    pub(super) idx: usize,
    pub(super) prior: Estimate,
    pub(super) posterior: Estimate,
    /// Probability of the likelier sign.
    pub(super) sure: f64,
    pub(super) repeats_prior: bool,
}

/// The factors of a record in one regression.
pub(super) struct Joint {
    placed: Vec<Placed>,
    priors: Vec<Prior>,
    rows: Vec<f64>,
}

impl Joint {
    /// The factors that vary in these runs, each group's repetitions left out.
    pub(super) fn of(mode: FailureMode, runs: &[&Numbers]) -> Result<Self, Refusal> {
        let mut kept: Vec<(Placed, Vec<f64>)> = Vec::new();
        for placed in (0..MEASURES_N).filter_map(|idx| Placed::of(idx, runs)) {
            let values: Vec<f64> = runs.iter().map(|run| placed.standard(run)).collect();
            let is_same = |(other, theirs): &(Placed, Vec<f64>)| {
                other.measure().group == placed.measure().group && correlation(&values, theirs).abs() > SAME
            };
            if !kept.iter().any(is_same) {
                kept.push((placed, values));
            }
        }
        if kept.is_empty() {
            return Err(Refusal::NothingVaries);
        }
        let priors = std::iter::once(RATE).chain(kept.iter().map(|(placed, _)| prior(mode, placed))).collect();
        let mut rows = Vec::with_capacity(runs.len() * (kept.len() + 1));
        for run in 0..runs.len() {
            rows.push(1.0);
            rows.extend(kept.iter().map(|(_, values)| values[run]));
        }
        Ok(Self { placed: kept.into_iter().map(|(placed, _)| placed).collect(), priors, rows })
    }

    /// A run as a row.
    pub(super) fn row(&self, run: &Numbers) -> Vec<f64> {
        std::iter::once(1.0).chain(self.placed.iter().map(|placed| placed.standard(run))).collect()
    }

    pub(super) fn problem<'a>(&'a self, happened: &'a [bool], weights: &'a [f64]) -> Problem<'a> {
        Problem { link: Link::Hazard, rows: &self.rows, happened, weights, priors: &self.priors }
    }

    /// What is believed of each factor afterwards.
    pub(super) fn effects(&self, found: &Posterior, n: usize) -> Vec<Effect> {
        let each = self.placed.iter().enumerate();
        each.map(|(at, placed)| effect(placed.idx, self.priors[at + 1], found.mode[at + 1], found.deviation(at + 1), n))
            .collect()
    }
}

fn effect(idx: usize, prior: Prior, mode: f64, deviation: f64, n: usize) -> Effect {
    let around = |mean: f64, deviation: f64, n| Estimate {
        value: mean,
        low: mean - NINETY * deviation,
        high: mean + NINETY * deviation,
        n,
    };
    let (before, width) = match prior {
        Prior::Normal { mean, deviation } => (mean, deviation),
        #[cfg(test)]
        Prior::Cauchy { .. } | Prior::Flat => (0.0, f64::INFINITY),
    };
    Effect {
        idx,
        prior: around(before, width, 0),
        posterior: around(mode, deviation, n),
        sure: Normal::standard().cdf(mode.abs() / deviation),
        repeats_prior: deviation > AS_WIDE * width && (mode - before).abs() < AS_FAR * width,
    }
}

/// What is believed beforehand for a standard deviation of a factor in this record. Jams: +0.5 (0.4) a doubling of the
/// dose, +0.5 (0.5) for 20 K of restart deficit; strings: +0.4 (0.4) for 10 K of idle temperature. These are proposals
/// from the physics, without a source.
fn prior(mode: FailureMode, placed: &Placed) -> Prior {
    let doubling = std::f64::consts::LN_2;
    let told = match (mode, placed.measure().name) {
        (FailureMode::Jam | FailureMode::UnderExtrusion, "dose_max") => Some((0.5 / doubling, 0.4 / doubling)),
        (FailureMode::Jam | FailureMode::UnderExtrusion, "restart_deficit") => Some((0.5 / 20.0, 0.5 / 20.0)),
        (FailureMode::Stringing | FailureMode::Blob, "idle_mean") => Some((0.04, 0.04)),
        _ => None,
    };
    let (mean, deviation) = match (told, mode.expects(placed.measure().name)) {
        (Some((mean, deviation)), _) => ((mean * placed.deviation).min(FAR), (deviation * placed.deviation).min(FAR)),
        (None, Expect::More) => (EXPECTED, DEVIATION),
        (None, Expect::Less) => (-EXPECTED, DEVIATION),
        (None, Expect::Either) => (0.0, DEVIATION),
    };
    Prior::Normal { mean, deviation }
}

/// The mean of rows of that width.
pub(super) fn mean_row(rows: &[f64], width: usize) -> Vec<f64> {
    let mut mean = vec![0.0; width];
    for row in rows.chunks_exact(width) {
        mean.iter_mut().zip(row).for_each(|(mean, x)| *mean += x);
    }
    let n = count(rows.len() / width);
    mean.into_iter().map(|sum| sum / n).collect()
}

/// The regression on the whole record.
pub(super) struct Fitted {
    joint: Joint,
    posterior: Posterior,
    n: usize,
}

impl Fitted {
    pub(super) fn of(mode: FailureMode, ahead: &Ahead) -> Result<Self, Refusal> {
        let (runs, happened) = ahead.known();
        let joint = Joint::of(mode, &runs)?;
        let problem = joint.problem(&happened, &ahead.weights);
        #[cfg(feature = "fits")]
        super::fits::note(&problem);
        let posterior = problem.fit(None)?;
        Ok(Self { joint, posterior, n: runs.len() })
    }

    /// What is believed of each factor afterwards.
    pub(super) fn effects(&self) -> Vec<Effect> {
        self.joint.effects(&self.posterior, self.n)
    }

    /// Standard deviation of a run's log-hazard, where any factor may matter.
    pub(super) fn spread(&self, run: &Numbers) -> f64 {
        self.posterior.spread(&self.joint.row(run))
    }

    /// Runs as rows, one after the other.
    pub(super) fn rows(&self, runs: &[Numbers]) -> Vec<f64> {
        runs.iter().flat_map(|run| self.joint.row(run)).collect()
    }

    /// The regression's belief.
    pub(super) const fn posterior(&self) -> &Posterior {
        &self.posterior
    }

    /// How likely it is that a direction moves no log-hazard, where that and what was believed of it beforehand were
    /// as likely: the density of the belief at nought, afterwards over beforehand (Savage and Dickey's ratio).
    pub(super) fn idles(&self, direction: &[f64]) -> f64 {
        let (mut mean, mut variance) = (0.0, 0.0);
        for (prior, moved) in self.joint.priors.iter().zip(direction) {
            match *prior {
                Prior::Normal { mean: own, deviation } => {
                    mean += moved * own;
                    variance += (moved * deviation).powi(2);
                }
                #[cfg(test)]
                Prior::Cauchy { .. } | Prior::Flat => {}
            }
        }
        let log_density = |mean: f64, deviation: f64| -0.5 * (mean / deviation).powi(2) - deviation.ln();
        let after = log_density(dot(direction, &self.posterior.mode), self.posterior.spread(direction));
        1.0 / (1.0 + (log_density(mean, variance.sqrt()) - after).exp())
    }
}
