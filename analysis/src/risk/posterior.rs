//! One regression of a failure mode: what is believed of its coefficients before and after the record. Owns the
//! likelihood, the posterior's mode, its Laplace approximation and its draws; what a column means is the caller's.
//!
//! A run fails with probability `1 - exp(-H)`, `H = exp(b0 + b · x)`: hazards that add up over a run, so that a share
//! of a run is exposed to that share of H (complementary log-log link). The logistic link is for what is compared with
//! published logistic fits.

use crate::estimate::Refusal;
use nalgebra::{Cholesky, DMatrix, DVector, Dyn};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{ChiSquared, Distribution, StandardNormal};

/// Newton steps that a fit may take; a fit of this size needs some six.
const ITERATIONS: u16 = 60;
/// What a fit says that ended elsewhere than at its optimum.
pub(super) const STUCK: Refusal = Refusal::DidNotConverge { after: ITERATIONS };
/// Halvings of a step that would lead downhill.
const HALVINGS: usize = 40;
/// A step that promises less than this, nats, is the last one.
const CLOSE: f64 = 1e-6;
/// A log-hazard beyond which a run fails for certain, to the last bit.
const CERTAIN: f64 = 30.0;
/// Degrees of freedom of the draws' Student distribution: tails heavier than the posterior's.
const FREEDOM: f64 = 7.0;

/// How a linear predictor becomes a probability.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Link {
    /// Complementary log-log: the predictor is a log-hazard.
    Hazard,
    /// Logistic: the predictor is a log-odds.
    #[cfg(test)]
    Odds,
}

/// What is believed of a coefficient beforehand.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Prior {
    /// Normal.
    Normal { mean: f64, deviation: f64 },
    /// Cauchy around nought: Gelman et al., Annals of Applied Statistics 2 (2008) 1360.
    #[cfg(test)]
    Cauchy { scale: f64 },
    /// Nothing.
    #[cfg(test)]
    Flat,
}

/// Observations in rows that begin with a one, and what is believed of their coefficients.
#[derive(Debug)]
pub(super) struct Problem<'a> {
    pub(super) link: Link,
    /// Row after row.
    pub(super) rows: &'a [f64],
    pub(super) happened: &'a [bool],
    /// How much each observation counts: less than one where it tells less.
    pub(super) weights: &'a [f64],
    pub(super) priors: &'a [Prior],
}

/// What is believed of the coefficients afterwards: Normal around the mode with the curvature there (Laplace).
#[derive(Clone, Debug)]
pub(super) struct Posterior {
    pub(super) mode: Vec<f64>,
    /// Of the information.
    root: Cholesky<f64, Dyn>,
    /// Logarithm of the record's probability under this regression and its priors.
    pub(super) log_evidence: f64,
}

struct Derivatives {
    value: f64,
    gradient: DVector<f64>,
    information: DMatrix<f64>,
}

impl Link {
    /// Log-likelihood of an observation at a predictor, its slope, and minus its curvature.
    fn at(self, predictor: f64, happened: bool) -> (f64, f64, f64) {
        match self {
            Self::Hazard => {
                let hazard = predictor.min(CERTAIN).exp();
                if !happened {
                    return (-hazard, -hazard, hazard);
                }
                // With g = H / (e^H - 1): d ln(1 - e^-H) = g, and its slope is g (1 - H - g).
                let missed = -(-hazard).exp_m1();
                let slope = if hazard > 700.0 { 0.0 } else { hazard / hazard.exp_m1() };
                (missed.max(f64::MIN_POSITIVE).ln(), slope, -slope * (1.0 - hazard - slope))
            }
            #[cfg(test)]
            Self::Odds => {
                let probability = 1.0 / (1.0 + (-predictor).exp());
                let told = if happened { predictor } else { -predictor };
                let value = -(-told).exp().ln_1p();
                (value, if happened { 1.0 } else { 0.0 } - probability, probability * (1.0 - probability))
            }
        }
    }
}

impl Prior {
    /// Log-density, its slope and minus its curvature at a coefficient.
    fn at(self, coefficient: f64) -> (f64, f64, f64) {
        match self {
            Self::Normal { mean, deviation } => {
                let z = (coefficient - mean) / deviation;
                let scale = deviation.ln() + 0.5 * std::f64::consts::TAU.ln();
                (-0.5 * z * z - scale, -z / deviation, 1.0 / (deviation * deviation))
            }
            // The curvature is that of the parabola that touches from below, which never turns the other way.
            #[cfg(test)]
            Self::Cauchy { scale } => {
                let square = scale * scale + coefficient * coefficient;
                ((scale / (std::f64::consts::PI * square)).ln(), -2.0 * coefficient / square, 2.0 / square)
            }
            #[cfg(test)]
            Self::Flat => (0.0, 0.0, 0.0),
        }
    }
}

impl Problem<'_> {
    fn width(&self) -> usize {
        self.priors.len()
    }

    /// Logarithm of likelihood times prior.
    fn value(&self, at: &[f64]) -> f64 {
        let each = self.rows.chunks_exact(self.width()).zip(self.happened).zip(self.weights);
        let likelihood: f64 = each.map(|((row, yes), weight)| weight * self.link.at(dot(row, at), *yes).0).sum();
        likelihood + self.priors.iter().zip(at).map(|(prior, coefficient)| prior.at(*coefficient).0).sum::<f64>()
    }

    fn derivatives(&self, at: &[f64]) -> Derivatives {
        let width = self.width();
        let (mut value, mut gradient, mut information) = (0.0, vec![0.0; width], vec![0.0; width * width]);
        for ((row, yes), weight) in self.rows.chunks_exact(width).zip(self.happened).zip(self.weights) {
            let (point, slope, curvature) = self.link.at(dot(row, at), *yes);
            value += weight * point;
            let (slope, curvature) = (weight * slope, weight * curvature);
            for (k, x) in row.iter().enumerate() {
                gradient[k] += slope * x;
                let bent = curvature * x;
                // The lower triangle, by column: what the factorisation reads.
                let line = &mut information[k * width..=k * width + k];
                for (cell, other) in line.iter_mut().zip(row) {
                    *cell += bent * other;
                }
            }
        }
        for (k, (prior, coefficient)) in self.priors.iter().zip(at).enumerate() {
            let (point, slope, curvature) = prior.at(*coefficient);
            value += point;
            gradient[k] += slope;
            information[k * width + k] += curvature;
        }
        let information = DMatrix::from_fn(width, width, |i, j| information[i.max(j) * width + i.min(j)]);
        Derivatives { value, gradient: DVector::from_vec(gradient), information }
    }

    /// Finds the posterior's mode by Newton's method from `start`, or from nought.
    ///
    /// # Errors
    /// Where it does not converge, or the curvature there leaves a direction open.
    pub(super) fn fit(&self, start: Option<&[f64]>) -> Result<Posterior, Refusal> {
        let mut at: Vec<f64> = match start {
            Some(start) if start.len() == self.width() => start.to_vec(),
            Some(_) | None => self.priors.iter().map(|prior| prior.center()).collect(),
        };
        let mut here = self.derivatives(&at);
        for _ in 0..ITERATIONS {
            let root = Cholesky::new(here.information.clone()).ok_or(STUCK)?;
            let step = root.solve(&here.gradient);
            let promised = step.dot(&here.gradient);
            if promised < CLOSE {
                // The step that is left squares what is missing.
                at.iter_mut().zip(step.iter()).for_each(|(at, step)| *at += step);
                return self.laplace(at, root, here.value + 0.5 * promised);
            }
            (at, here) = self.uphill(&at, &step, here.value, promised).ok_or(STUCK)?;
        }
        Err(STUCK)
    }

    fn laplace(&self, mode: Vec<f64>, root: Cholesky<f64, Dyn>, value: f64) -> Result<Posterior, Refusal> {
        let width = self.width();
        // ln |information| is twice the sum of the logarithms on the root's diagonal.
        let half_log_determinant: f64 = (0..width).map(|k| root.l_dirty()[(k, k)].ln()).sum();
        let log_evidence =
            value + 0.5 * crate::estimate::count(width) * std::f64::consts::TAU.ln() - half_log_determinant;
        log_evidence.is_finite().then_some(Posterior { mode, root, log_evidence }).ok_or(STUCK)
    }

    /// The longest halving of `step` that leads uphill by a part of what it promised.
    fn uphill(&self, from: &[f64], step: &DVector<f64>, value: f64, promised: f64) -> Option<(Vec<f64>, Derivatives)> {
        let mut share = 1.0;
        for _ in 0..HALVINGS {
            let at: Vec<f64> = from.iter().zip(step.iter()).map(|(from, step)| from + share * step).collect();
            let reached = self.derivatives(&at);
            // Near the top the gain is lost among the digits of the value.
            if reached.value >= value + 1e-4 * share * promised - 1e-12 * value.abs() {
                return Some((at, reached));
            }
            share *= 0.5;
        }
        None
    }

    /// Draws from the posterior itself, with the weight of each: Student draws around the mode, weighted by how much
    /// more or less likely they are under the posterior (importance sampling). The same seed draws the same.
    pub(super) fn draws(&self, around: &Posterior, n: usize, seed: u64) -> Vec<Draw> {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let width = self.width();
        let Ok(chi) = ChiSquared::new(FREEDOM) else { return Vec::new() };
        let mut draws: Vec<(Vec<f64>, f64)> = Vec::with_capacity(n);
        for _ in 0..n {
            let normal = DVector::from_fn(width, |_, _| StandardNormal.sample(&mut rng));
            let square: f64 = normal.norm_squared();
            let stretch = (FREEDOM / chi.sample(&mut rng)).sqrt();
            // With information = L Lᵀ, L⁻ᵀ z has its inverse as covariance.
            let Some(away) = around.root.l_dirty().tr_solve_lower_triangular(&normal) else { continue };
            let at: Vec<f64> = around.mode.iter().zip(away.iter()).map(|(mode, away)| mode + stretch * away).collect();
            let freedom = crate::estimate::count(width) + FREEDOM;
            let proposed = -0.5 * freedom * (square * stretch * stretch / FREEDOM).ln_1p();
            let log_weight = self.value(&at) - proposed;
            draws.push((at, log_weight));
        }
        let top = draws.iter().map(|(_, weight)| *weight).fold(f64::NEG_INFINITY, f64::max);
        let sum: f64 = draws.iter().map(|(_, weight)| (weight - top).exp()).sum();
        draws.into_iter().map(|(at, weight)| Draw { at, weight: (weight - top).exp() / sum }).collect()
    }
}

impl Prior {
    fn center(self) -> f64 {
        match self {
            Self::Normal { mean, .. } => mean,
            #[cfg(test)]
            Self::Cauchy { .. } | Self::Flat => 0.0,
        }
    }
}

/// One draw and its weight; the weights of all draws add up to one.
#[derive(Clone, Debug)]
pub(super) struct Draw {
    pub(super) at: Vec<f64>,
    pub(super) weight: f64,
}

/// Nodes and weights of the Gauss-Hermite rule of five points for a standard normal (Abramowitz and Stegun, table
/// 25.10, with x sqrt(2) and w / sqrt(pi)).
const HERMITE: [(f64, f64); 5] = [
    (-2.856_970_013_872_806, 0.011_257_411_327_720_69),
    (-1.355_626_179_974_266, 0.222_075_922_005_612_6),
    (0.0, 0.533_333_333_333_333_3),
    (1.355_626_179_974_266, 0.222_075_922_005_612_6),
    (2.856_970_013_872_806, 0.011_257_411_327_720_69),
];

impl Posterior {
    /// Standard deviation of the predictor of a row.
    pub(super) fn spread(&self, row: &[f64]) -> f64 {
        let mut away = DVector::from_column_slice(row);
        self.root.l_dirty().solve_lower_triangular_mut(&mut away);
        away.norm()
    }

    /// Probability that a run of this row fails, over what is believed of the coefficients.
    pub(super) fn probability(&self, row: &[f64]) -> f64 {
        let (center, spread) = (dot(row, &self.mode), self.spread(row));
        let at = |node: f64| -(-(center + spread * node).min(CERTAIN).exp()).exp_m1();
        HERMITE.iter().map(|(node, weight)| weight * at(*node)).sum()
    }

    /// Standard deviation of a coefficient.
    pub(super) fn deviation(&self, at: usize) -> f64 {
        let mut unit = vec![0.0; self.mode.len()];
        unit[at] = 1.0;
        self.spread(&unit)
    }
}

pub(super) fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

#[cfg(test)]
#[expect(clippy::unwrap_used, clippy::print_stdout, reason = "a test may stop, and says what it measured")]
mod tests;
