//! The Weibull law under which recorded lives are likeliest. Owns the search, standard errors and limits.
//!
//! For a shape k the likeliest scale is `(sum (x^k - entry^k) / failures)^(1/k)`, so that one root remains to be found:
//! `1/k + mean ln x over failures - sum' / sum = 0`, `sum'` being the sum's derivative by k. Without late entry it is
//! the only one. Standard errors are from the observed information in (ln shape, ln scale), limits symmetric there.

use super::life::{Life, Record};
use super::weibull::Weibull;
use crate::estimate::{Confidence, Estimate, Refusal, count};
use statrs::distribution::{ContinuousCDF, Normal};

/// ln of the shapes between which the root is looked for: 0.02 to 150.
const LN_SHAPES: (f64, f64) = (-4.0, 5.0);
/// Halvings of the bracket: its width falls to 1e-15 of ln shape.
const ITERATIONS: u16 = 54;
/// Failures without which shape and scale are not two things.
const FAILURES_LEAST: usize = 2;

/// The likeliest law and how well it is known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fit {
    /// The law.
    pub law: Weibull,
    /// Standard error of ln shape.
    pub ln_shape_error: f64,
    /// Standard error of ln scale.
    pub ln_scale_error: f64,
    /// Log-likelihood there.
    pub ln_likelihood: f64,
    /// Lives it rests on.
    pub n: usize,
    /// Those that ended in failure.
    pub failures: usize,
}

/// Fits the law to lives.
///
/// # Errors
/// With fewer than two failures, or where they give no finite shape: all at one age, with nothing that lasted longer.
pub fn fit(lives: &[Life]) -> Result<Fit, Refusal> {
    let record = Record::of(lives);
    if record.failures == 0 {
        return Err(Refusal::NoEvents);
    }
    if record.failures < FAILURES_LEAST {
        return Err(Refusal::TooFew { have: record.failures, need: FAILURES_LEAST });
    }
    let (mut low, mut high) = LN_SHAPES;
    if slope(&record, low.exp()) <= 0.0 || slope(&record, high.exp()) >= 0.0 {
        return Err(Refusal::DidNotConverge { after: 0 });
    }
    for _ in 0..ITERATIONS {
        let middle = f64::midpoint(low, high);
        if slope(&record, middle.exp()) > 0.0 { low = middle } else { high = middle }
    }
    at_shape(&record, f64::midpoint(low, high).exp()).ok_or(Refusal::DidNotConverge { after: ITERATIONS })
}

/// Slope of the log-likelihood by ln shape, over the failures and the shape, the scale being the likeliest.
fn slope(record: &Record, shape: f64) -> f64 {
    let sums = record.powers(shape).0;
    1.0 / shape + record.sum_ln_failed / count(record.failures) - record.ln_longest - sums[1] / sums[0]
}

fn at_shape(record: &Record, shape: f64) -> Option<Fit> {
    let powers = record.powers(shape);
    let failures = count(record.failures);
    // ln of the scale over the longest life.
    let over_longest = (powers.0[0] / failures).ln() / shape;
    let ln_scale = over_longest + record.ln_longest;
    let [by_shape, by_both, by_scale] = information(record, shape, over_longest);
    let determinant = by_shape * by_scale - by_both * by_both;
    (determinant > 0.0 && by_scale > 0.0).then_some(())?;
    Some(Fit {
        law: Weibull::new(shape, ln_scale.exp())?,
        ln_shape_error: (by_scale / determinant).sqrt(),
        ln_scale_error: (by_shape / determinant).sqrt(),
        ln_likelihood: record.ln_likelihood(shape, &powers, ln_scale),
        n: record.n,
        failures: record.failures,
    })
}

/// Observed information of (ln shape, ln scale): `[shape shape, shape scale, scale scale]`. With `z = k ln(x/l)` and
/// `w = e^z` of exits less entries: `sum (w z + w z^2) - sum z over failures`, `k (D - sum (w + w z))` with its sign
/// turned, `k^2 sum w`.
pub(super) fn information(record: &Record, shape: f64, over_longest: f64) -> [f64; 3] {
    let [s0, s1, s2] = record.powers(shape).0;
    let by = (-shape * over_longest).exp();
    let w0 = by * s0;
    let w1 = by * shape * (s1 - over_longest * s0);
    let w2 = by * shape * shape * (s2 - 2.0 * over_longest * s1 + over_longest * over_longest * s0);
    let failures = count(record.failures);
    let sum_z = shape * (record.sum_ln_failed - failures * (over_longest + record.ln_longest));
    [w1 + w2 - sum_z, shape * (failures - w0 - w1), shape * shape * w0]
}

impl Fit {
    /// The shape with its limits; `n` counts failures.
    #[must_use]
    pub fn shape(&self, confidence: Confidence) -> Estimate {
        self.by_factor(self.law.shape(), self.ln_shape_error, confidence)
    }

    /// The scale with its limits, in the unit of lives; `n` counts failures.
    #[must_use]
    pub fn scale(&self, confidence: Confidence) -> Estimate {
        self.by_factor(self.law.scale(), self.ln_scale_error, confidence)
    }

    fn by_factor(&self, value: f64, ln_error: f64, confidence: Confidence) -> Estimate {
        let factor = (Normal::standard().inverse_cdf(1.0 - confidence.tail()) * ln_error).exp();
        Estimate { value, low: value / factor, high: value * factor, n: self.failures }
    }
}
