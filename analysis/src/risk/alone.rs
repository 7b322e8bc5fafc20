//! What the record says of one factor by itself, without any belief beforehand: Firth's logistic regression (Biometrika
//! 80 (1993) 27). Owns that fit and its interval; it is shown beside what is believed, and decides nothing.
//!
//! Half of the logarithm of the information's determinant is added to the log-likelihood (Jeffreys' prior), which takes
//! away the first-order bias of the plain estimate and gives a finite answer where the factor parts the record cleanly.
//! Standard errors are those of the information at the solution.

use crate::estimate::{Estimate, Refusal};

/// Steps that a fit may take, and when it is there.
const ITERATIONS: u16 = 200;
const CLOSE: f64 = 1e-9;
/// No step changes a coefficient by more than this.
const STEP_MAX: f64 = 2.0;
const STUCK: Refusal = Refusal::DidNotConverge { after: ITERATIONS };

/// Intercept and slope, log-odds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Alone {
    pub(super) intercept: f64,
    pub(super) slope: f64,
    /// Of both, from the information.
    variances: [f64; 2],
}

impl Alone {
    /// Fits the odds of `happened` to one column; `weights` as in the other fits.
    pub(super) fn of(column: &[f64], happened: &[bool], weights: &[f64]) -> Result<Self, Refusal> {
        let n: f64 = weights.iter().sum();
        let mean = column.iter().zip(weights).map(|(x, weight)| weight * x).sum::<f64>() / n;
        let variance = column.iter().zip(weights).map(|(x, weight)| weight * (x - mean).powi(2)).sum::<f64>() / n;
        let deviation = variance.sqrt();
        if deviation.is_nan() || deviation <= 0.0 {
            return Err(Refusal::NothingVaries);
        }
        // Around its mean and in its deviations the steps are short and the two coefficients nearly apart.
        let scaled: Vec<f64> = column.iter().map(|x| (x - mean) / deviation).collect();
        let (mut level, mut slope) = (0.0, 0.0);
        for _ in 0..ITERATIONS {
            let inverse = Information::at(&scaled, weights, level, slope).inverse().ok_or(STUCK)?;
            let [score, score_slope] = score(&scaled, happened, weights, (level, slope), inverse);
            let step = [inverse[0] * score + inverse[1] * score_slope, inverse[1] * score + inverse[2] * score_slope];
            level += step[0].clamp(-STEP_MAX, STEP_MAX);
            slope += step[1].clamp(-STEP_MAX, STEP_MAX);
            if step[0].abs().max(step[1].abs()) < CLOSE {
                let at = mean / deviation;
                let of_intercept = inverse[0] - 2.0 * at * inverse[1] + at * at * inverse[2];
                let variances = [of_intercept, inverse[2] / variance];
                return Ok(Self { intercept: level - slope * at, slope: slope / deviation, variances });
            }
        }
        Err(STUCK)
    }

    /// The slope with its 90 % interval.
    pub(super) fn estimate(&self, n: usize) -> Estimate {
        let half = super::effects::NINETY * self.variances[1].sqrt();
        Estimate { value: self.slope, low: self.slope - half, high: self.slope + half, n }
    }

    #[cfg(test)]
    pub(super) fn errors(&self) -> [f64; 2] {
        self.variances.map(f64::sqrt)
    }
}

/// The score of the likelihood with h (1/2 - p) added for each run, h its leverage.
fn score(column: &[f64], happened: &[bool], weights: &[f64], at: (f64, f64), inverse: [f64; 3]) -> [f64; 2] {
    let each = column.iter().zip(happened).zip(weights);
    each.fold([0.0; 2], |[plain, slope], ((x, yes), weight)| {
        let p = probability(at.0 + at.1 * x);
        let leverage = weight * p * (1.0 - p) * (inverse[0] + 2.0 * x * inverse[1] + x * x * inverse[2]);
        let miss = weight * (if *yes { 1.0 } else { 0.0 } - p) + leverage * (0.5 - p);
        [plain + miss, slope + miss * x]
    })
}

fn probability(log_odds: f64) -> f64 {
    1.0 / (1.0 + (-log_odds).exp())
}

/// Sums of w, w x and w x², with w = p (1 - p).
struct Information([f64; 3]);

impl Information {
    fn at(column: &[f64], weights: &[f64], intercept: f64, slope: f64) -> Self {
        let sums = column.iter().zip(weights).fold([0.0; 3], |[plain, first, second], (x, weight)| {
            let p = probability(intercept + slope * x);
            let w = weight * p * (1.0 - p);
            [plain + w, first + w * x, second + w * x * x]
        });
        Self(sums)
    }

    /// Variance, covariance, variance.
    fn inverse(&self) -> Option<[f64; 3]> {
        let [plain, first, second] = self.0;
        let determinant = plain * second - first * first;
        (determinant > 1e-12 * plain * second)
            .then(|| [second / determinant, -first / determinant, plain / determinant])
    }
}
