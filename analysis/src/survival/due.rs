//! From use to days: how much a tool wears a day, and how many days what is left comes to.

use crate::estimate::{Confidence, Estimate, Refusal, count};
use statrs::distribution::{ContinuousCDF, StudentsT};

/// With fewer days no week was seen whole, and weekends differ.
const DAYS_LEAST: usize = 7;

/// Wear of a day, from that of past whole days, idle ones among them: the mean and its interval by Student's t on the
/// relative error, symmetric in the logarithm so that it stays above nought. `n` counts days.
///
/// # Errors
/// With fewer than seven days, or if there was no wear in them.
pub fn wear_a_day(days: &[f64], confidence: Confidence) -> Result<Estimate, Refusal> {
    let n = days.len();
    if n < DAYS_LEAST {
        return Err(Refusal::TooFew { have: n, need: DAYS_LEAST });
    }
    let mean = days.iter().sum::<f64>() / count(n);
    if !mean.is_finite() || mean <= 0.0 {
        return Err(Refusal::NoExposure);
    }
    let variance = days.iter().map(|day| (day - mean).powi(2)).sum::<f64>() / count(n - 1);
    let relative_error = (variance / count(n)).sqrt() / mean;
    let factor = (students_t(n - 1, confidence) * relative_error).exp();
    Ok(Estimate { value: mean, low: mean / factor, high: mean * factor, n })
}

#[expect(clippy::expect_used, reason = "the caller has at least seven days")]
fn students_t(freedom: usize, confidence: Confidence) -> f64 {
    StudentsT::new(0.0, 1.0, count(freedom)).expect("degrees of freedom").inverse_cdf(1.0 - confidence.tail())
}

/// Days that a remaining use lasts at a wear a day. The two errors are independent, so their logarithms' half-widths
/// add as squares. `n` is that of the use.
#[must_use]
pub fn days_left(remaining: &Estimate, a_day: &Estimate) -> Estimate {
    let value = remaining.value / a_day.value;
    let half = |one: f64, other: f64| one.ln().hypot(other.ln()).exp();
    let sooner = half(remaining.value / remaining.low, a_day.high / a_day.value);
    let later = half(remaining.high / remaining.value, a_day.value / a_day.low);
    Estimate { value, low: value / sooner, high: value * later, n: remaining.n }
}
