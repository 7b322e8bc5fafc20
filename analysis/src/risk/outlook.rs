//! Forecasts a run that has not happened, with an interval. Owns how what the members of the mixture believe becomes
//! one interval; the members, their weights and their beliefs are the forward account's.

use super::fit::STUCK;
use super::forward::{Ahead, Voice};
use super::learn::factors;
use super::run::{Features, Told, ToolRun};
use crate::estimate::{Estimate, Refusal};
use statrs::distribution::{ContinuousCDF, Normal};

/// What lies beyond each end of a 90 % interval.
const TAIL: f64 = 0.05;
/// No belief reaches further than so many of its standard errors.
const FAR: f64 = 8.0;
/// Halvings of the stretch in which an end is looked for: to its last bit.
const HALVINGS: usize = 60;

/// The probability that `next`, a run after all that was told, has the failure mode, with a 90 % interval for it. `n`
/// counts the runs whose outcome is known.
///
/// The value is the one that [`super::learn_told`] tells for a run added at the end. Each member of its mixture
/// believes in Normal log-odds: a fit around its forecast, with the variance x' V x from the fit's covariance (delta
/// method), the running rate around itself, with that of a Beta distribution's log-odds; none of them narrower than
/// the fit on all factors. The interval's ends are the 5 % and 95 % quantiles of these beliefs mixed by weight, so that
/// members which disagree widen it. In simulated worlds it holds the truth nine times in ten where factors matter and
/// the record is long, and more often where it is short or nothing matters.
///
/// # Errors
/// Where no model could be tried, or the one on all factors was not fitted: what the factors of `learn_told` were refused for.
pub fn forecast(runs: &[ToolRun], told: &[Told], next: &Features) -> Result<Estimate, Refusal> {
    one(&Ahead::of(runs, told), next)
}

/// [`forecast`] for each of several runs, any of which may be the next one; goes through the record once for all.
#[must_use]
pub fn forecasts(runs: &[ToolRun], told: &[Told], next: &[Features]) -> Vec<Result<Estimate, Refusal>> {
    let ahead = Ahead::of(runs, told);
    next.iter().map(|next| one(&ahead, next)).collect()
}

fn one(ahead: &Ahead<'_>, next: &Features) -> Result<Estimate, Refusal> {
    let Some(voices) = ahead.voices(next) else {
        return Err(factors(&ahead.past).err().unwrap_or(STUCK));
    };
    let value: f64 = voices.iter().map(|voice| voice.weight * voice.probability).sum();
    let (low, high) = (quantile(&voices, TAIL), quantile(&voices, 1.0 - TAIL));
    // A mean can lie outside of the middle 90 % of what it is the mean of, where one far belief weighs little.
    Ok(Estimate { value, low: low.min(value), high: high.max(value), n: ahead.past.runs.len() })
}

/// The probability that the mixed beliefs put a share of `below` under.
fn quantile(voices: &[Voice], below: f64) -> f64 {
    let normal = Normal::standard();
    let share = |at: f64| -> f64 {
        voices.iter().map(|voice| voice.weight * normal.cdf((at - voice.log_odds) / voice.error)).sum()
    };
    let ends = voices.iter().map(|voice| (voice.log_odds - FAR * voice.error, voice.log_odds + FAR * voice.error));
    let (mut low, mut high) =
        ends.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), (from, to)| (low.min(from), high.max(to)));
    for _ in 0..HALVINGS {
        let middle = f64::midpoint(low, high);
        if share(middle) < below { low = middle } else { high = middle }
    }
    1.0 / (1.0 + (-f64::midpoint(low, high)).exp())
}
