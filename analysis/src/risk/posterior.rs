//! One regression of a failure mode: what is believed of its coefficients before and after the record. Owns the
//! likelihood, the posterior's mode and its Laplace approximation; what a column means is the caller's.
//!
//! A run fails with probability `1 - exp(-H)`, `H = exp(b0 + b · x)`: hazards that add up over a run, so that a share
//! of a run is exposed to that share of H (complementary log-log link). The logistic link is for what is compared with
//! published logistic fits.

use crate::estimate::Refusal;
use nalgebra::{Cholesky, DMatrix, DVector, Dyn};

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
        HERMITE.iter().map(|(node, weight)| weight * chance(center + spread * node)).sum()
    }

    /// Coefficients as they may be.
    pub(super) fn draw(&self, normal: impl FnMut() -> f64) -> Vec<f64> {
        self.mode.iter().zip(self.deviate(normal)).map(|(mode, away)| mode + away).collect()
    }

    /// How far coefficients may be from the mode: `L^-T z` with `z` standard normal and `L` the root of the information,
    /// so that they vary by its inverse.
    pub(super) fn deviate(&self, mut normal: impl FnMut() -> f64) -> Vec<f64> {
        let mut away = DVector::from_fn(self.mode.len(), |_, _| normal());
        self.root.l_dirty().tr_solve_lower_triangular_mut(&mut away);
        away.as_slice().to_vec()
    }

    /// Standard deviation of a coefficient.
    pub(super) fn deviation(&self, at: usize) -> f64 {
        let mut unit = vec![0.0; self.mode.len()];
        unit[at] = 1.0;
        self.spread(&unit)
    }
}

/// Probability that a run of this log-hazard fails.
pub(super) fn chance(log_hazard: f64) -> f64 {
    -(-log_hazard.min(CERTAIN).exp()).exp_m1()
}

pub(super) fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

#[cfg(test)]
#[expect(clippy::unwrap_used, clippy::print_stdout, reason = "a test may stop, and says what it measured")]
mod tests;
