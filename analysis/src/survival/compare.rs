//! Whether two groups of parts last alike: the log-rank test of Mantel, Cancer Chemotherapy Reports 50 (1966) 163.

use super::life::{Life, at_risk_and_failed, failure_ages};
use crate::estimate::{Refusal, count};
use statrs::distribution::{ChiSquared, ContinuousCDF};

/// What the test found of the first group.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LogRank {
    /// Failures seen in it.
    pub observed: usize,
    /// Failures expected in it if both groups lasted alike.
    pub expected: f64,
    /// Variance of the failures seen, by the hypergeometric law.
    pub variance: f64,
    /// `(observed - expected)^2 / variance`, on one degree of freedom.
    pub chi_square: f64,
    /// How often chance alone would part them so far or further.
    pub p: f64,
}

/// Compares two groups.
///
/// # Errors
/// If nothing failed, or no part of one group was ever followed beside one of the other when one failed.
pub fn log_rank(one: &[Life], other: &[Life]) -> Result<LogRank, Refusal> {
    let ages = failure_ages(one.iter().chain(other));
    if ages.is_empty() {
        return Err(Refusal::NoEvents);
    }
    let (mut observed, mut expected, mut variance) = (0, 0.0, 0.0);
    for age in ages {
        let ((one_n, one_d), (other_n, other_d)) = (at_risk_and_failed(one, age), at_risk_and_failed(other, age));
        let (n, d) = (count(one_n + other_n), count(one_d + other_d));
        let share = count(one_n) / n;
        observed += one_d;
        expected += d * share;
        if n > 1.0 {
            variance += d * share * (1.0 - share) * (n - d) / (n - 1.0);
        }
    }
    if variance <= 0.0 {
        return Err(Refusal::OneClassOnly);
    }
    let chi_square = (count(observed) - expected).powi(2) / variance;
    Ok(LogRank { observed, expected, variance, chi_square, p: beyond(chi_square) })
}

#[expect(clippy::expect_used, reason = "one degree of freedom is above zero")]
fn beyond(chi_square: f64) -> f64 {
    ChiSquared::new(1.0).expect("one degree of freedom").sf(chi_square)
}
