//! What the record says of one factor by itself, without any belief beforehand: Firth's logistic regression (Biometrika
//! 80 (1993) 27). Owns that fit and its interval; it is shown beside what is believed, and decides nothing.
//!
//! Half of the logarithm of the information's determinant is added to the log-likelihood (Jeffreys' prior), which takes
//! away the first-order bias of the plain estimate and gives a finite answer where the factor parts the record cleanly.
//! Standard errors are those of the information at the solution.

use crate::estimate::{Estimate, Refusal, count};

/// Steps that a fit may take, and when it is there.
const ITERATIONS: u16 = 200;
const CLOSE: f64 = 1e-9;
/// No step changes a coefficient by more than this.
const STEP_MAX: f64 = 5.0;
const STUCK: Refusal = Refusal::DidNotConverge { after: ITERATIONS };

/// Intercept and slope, log-odds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Alone {
    pub(super) intercept: f64,
    pub(super) slope: f64,
    /// Variances of both and their covariance, from the information.
    variances: [f64; 2],
}

impl Alone {
    /// Fits the odds of `happened` to one column; `weights` as in the other fits.
    pub(super) fn of(column: &[f64], happened: &[bool], weights: &[f64]) -> Result<Self, Refusal> {
        let (mut intercept, mut slope) = (0.0, 0.0);
        for _ in 0..ITERATIONS {
            let information = Information::at(column, weights, intercept, slope);
            let inverse = information.inverse().ok_or(STUCK)?;
            // The score is that of the likelihood with h (1/2 - p) added, h the leverage of each run.
            let (mut score, mut score_slope) = (0.0, 0.0);
            for ((x, yes), weight) in column.iter().zip(happened).zip(weights) {
                let p = probability(intercept + slope * x);
                let leverage = weight * p * (1.0 - p) * (inverse[0] + 2.0 * x * inverse[1] + x * x * inverse[2]);
                let miss = weight * (if *yes { 1.0 } else { 0.0 } - p) + leverage * (0.5 - p);
                score += miss;
                score_slope += miss * x;
            }
            let step = [inverse[0] * score + inverse[1] * score_slope, inverse[1] * score + inverse[2] * score_slope];
            intercept += step[0].clamp(-STEP_MAX, STEP_MAX);
            slope += step[1].clamp(-STEP_MAX, STEP_MAX);
            if step[0].abs().max(step[1].abs()) < CLOSE {
                return Ok(Self { intercept, slope, variances: [inverse[0], inverse[2]] });
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
        (determinant > 1e-12 * count(1) * plain * second)
            .then(|| [second / determinant, -first / determinant, plain / determinant])
    }
}
