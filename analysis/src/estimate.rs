//! Estimates with their intervals, and refusals where there is no number to give.
//! Owns the exact intervals of a proportion and of a rate; what is estimated is the caller's business.

use statrs::distribution::{Beta, ContinuousCDF, Gamma, Normal};
use thiserror::Error;

/// A number with the interval it could as well have been, and what it rests on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Estimate {
    /// The best single number.
    pub value: f64,
    /// Lower end of the interval.
    pub low: f64,
    /// Upper end of the interval.
    pub high: f64,
    /// How many observations it rests on.
    pub n: usize,
}

/// Why there is no number. A result to store and show, not a failure.
#[derive(Clone, Copy, Debug, PartialEq, Error)]
pub enum Refusal {
    /// Fewer observations than the smallest number that means something.
    #[error("too few observations: {have}, and {need} are needed")]
    TooFew {
        /// Observations there are.
        have: usize,
        /// Observations that would do.
        need: usize,
    },
    /// It never happened.
    #[error("no event yet")]
    NoEvents,
    /// It happened every time, or never did, so nothing tells the two apart.
    #[error("every outcome is the same")]
    OneClassOnly,
    /// Nothing that was recorded differs from run to run.
    #[error("no factor varies in the record")]
    NothingVaries,
    /// Nothing was stepped far enough, one way and the other, to show how it answers.
    #[error("no step: the set point was never lowered and raised far enough")]
    NoStep,
    /// The record says so little of it that its interval would mean nothing.
    #[error("the record says too little of it")]
    TooLoose,
    /// It never comes to that.
    #[error("it never gets there")]
    OutOfReach,
    /// The fit ended away from its optimum.
    #[error("the fit did not converge within {after} iterations")]
    DidNotConverge {
        /// Iterations it was allowed.
        after: u16,
    },
    /// More events than occasions for one.
    #[error("{events} events in {n} occasions cannot be")]
    MoreEventsThanOccasions {
        /// Events told.
        events: usize,
        /// Occasions told.
        n: usize,
    },
    /// No time, length or mass was observed, so there is no rate.
    #[error("nothing was observed: an exposure above zero is needed")]
    NoExposure,
}

/// How often an interval is to hold the truth.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Confidence {
    /// 80 times in 100.
    Percent80,
    /// 90 times in 100.
    Percent90,
    /// 95 times in 100.
    Percent95,
}

impl Confidence {
    /// What lies beyond each end of a two-sided interval.
    pub(crate) const fn tail(self) -> f64 {
        match self {
            Self::Percent80 => 0.1,
            Self::Percent90 => 0.05,
            Self::Percent95 => 0.025,
        }
    }
}

/// A count as a number to reckon with.
#[expect(clippy::as_conversions, clippy::cast_precision_loss, reason = "no record holds 2^53 of anything")]
#[must_use]
pub const fn count(n: usize) -> f64 {
    n as f64
}

/// The share of occasions on which it happened, with the exact interval of Clopper and Pearson, Biometrika 26
/// (1934) 404: the ends are the quantiles of Beta(x, n - x + 1) and Beta(x + 1, n - x).
///
/// # Errors
/// Without an occasion, or with more events than occasions.
pub fn rate(events: usize, n: usize, confidence: Confidence) -> Result<Estimate, Refusal> {
    if n == 0 {
        return Err(Refusal::TooFew { have: 0, need: 1 });
    }
    if events > n {
        return Err(Refusal::MoreEventsThanOccasions { events, n });
    }
    let (happened, spared) = (count(events), count(n - events));
    let low = if events == 0 { 0.0 } else { beta_quantile(happened, spared + 1.0, confidence.tail()) };
    let high = if events == n { 1.0 } else { beta_quantile(happened + 1.0, spared, 1.0 - confidence.tail()) };
    Ok(Estimate { value: happened / count(n), low, high, n })
}

/// Events for each unit of exposure (hours, prints, metres), with the exact interval of Garwood, Biometrika 28
/// (1936) 437: the ends are the quantiles of Gamma(x) and Gamma(x + 1) over the exposure. `n` is the number of events.
///
/// # Errors
/// Without exposure.
pub fn event_rate(events: usize, exposure: f64, confidence: Confidence) -> Result<Estimate, Refusal> {
    if !exposure.is_finite() || exposure <= 0.0 {
        return Err(Refusal::NoExposure);
    }
    let happened = count(events);
    let low = if events == 0 { 0.0 } else { gamma_quantile(happened, confidence.tail()) };
    let high = gamma_quantile(happened + 1.0, 1.0 - confidence.tail());
    Ok(Estimate { value: happened / exposure, low: low / exposure, high: high / exposure, n: events })
}

#[expect(clippy::expect_used, reason = "both shapes are at least one by the callers' case split")]
fn beta_quantile(a: f64, b: f64, at: f64) -> f64 {
    Beta::new(a, b).expect("shapes above zero").inverse_cdf(at)
}

#[expect(clippy::expect_used, reason = "the shape is at least one by the callers' case split")]
fn gamma_quantile(shape: f64, at: f64) -> f64 {
    Gamma::new(shape, 1.0).expect("a shape above zero").inverse_cdf(at)
}

/// How many standard deviations above its mean a normal quantity lies below so often; `below` is between 0 and 1.
#[must_use]
pub fn deviations(below: f64) -> f64 {
    Normal::standard().inverse_cdf(below)
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;

    /// Clopper-Pearson 95 %: the first four are the examples of Newcombe, Statistics in Medicine 17 (1998) 857,
    /// table I; the others were computed with scipy 1.17.1.
    const PROPORTIONS: [(usize, usize, f64, f64); 8] = [
        (81, 263, 0.252_737, 0.367_622),
        (15, 148, 0.057_844, 0.161_650),
        (0, 20, 0.0, 0.168_433),
        (1, 29, 0.000_873, 0.177_644),
        (5, 10, 0.187_086, 0.812_914),
        (2, 20, 0.012_349, 0.316_983),
        (7, 50, 0.058_192, 0.267_396),
        (10, 10, 0.691_503, 1.0),
    ];

    /// Poisson 95 %: 137 in 24.19893 as printed by R's `poisson.test` example; the others with scipy 1.17.1.
    const RATES: [(usize, f64, f64, f64); 8] = [
        (137, 24.198_93, 4.753_125, 6.692_709),
        (0, 1.0, 0.0, 3.688_879),
        (1, 1.0, 0.025_318, 5.571_643),
        (3, 1.0, 0.618_672, 8.767_273),
        (5, 1.0, 1.623_486, 11.668_332),
        (10, 1.0, 4.795_389, 18.390_356),
        (0, 250.0, 0.0, 0.014_755_5),
        (3, 400.0, 0.001_546_68, 0.021_918_18),
    ];

    #[test]
    fn proportion_interval_agrees_with_the_published_tables() {
        for (events, n, low, high) in PROPORTIONS {
            let found = rate(events, n, Confidence::Percent95).unwrap();
            assert!((found.low - low).abs() < 1e-6, "{events}/{n}: {found:?} against {low}");
            assert!((found.high - high).abs() < 1e-6, "{events}/{n}: {found:?} against {high}");
        }
    }

    #[test]
    fn rate_interval_agrees_with_the_published_tables() {
        for (events, exposure, low, high) in RATES {
            let found = event_rate(events, exposure, Confidence::Percent95).unwrap();
            assert!((found.low - low).abs() < 1e-6, "{events} in {exposure}: {found:?} against {low}");
            assert!((found.high - high).abs() < 1e-6, "{events} in {exposure}: {found:?} against {high}");
        }
    }

    /// The exact interval never covers less often than it says, at any true rate: summed over all outcomes.
    #[test]
    fn proportion_interval_covers_at_least_as_often_as_it_says() {
        let n = 30;
        for truth in [0.02_f64, 0.1, 0.3, 0.5] {
            let mut chance = (1.0 - truth).powi(30);
            let mut covered = 0.0;
            for events in 0..=n {
                let found = rate(events, n, Confidence::Percent90).unwrap();
                if (found.low..=found.high).contains(&truth) {
                    covered += chance;
                }
                chance *= count(n - events) / count(events + 1) * truth / (1.0 - truth);
            }
            assert!(covered >= 0.9, "{truth}: {covered}");
        }
    }

    #[test]
    fn no_occasion_is_refused_not_called_zero() {
        assert_eq!(rate(0, 0, Confidence::Percent90), Err(Refusal::TooFew { have: 0, need: 1 }));
        assert_eq!(rate(3, 2, Confidence::Percent90), Err(Refusal::MoreEventsThanOccasions { events: 3, n: 2 }));
        assert_eq!(event_rate(0, 0.0, Confidence::Percent90), Err(Refusal::NoExposure));
        let said = Refusal::TooFew { have: 3, need: 5 }.to_string();
        assert_eq!(said, "too few observations: 3, and 5 are needed");
    }
}
