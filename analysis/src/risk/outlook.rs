//! Forecasts a run that has not happened, with an interval. Owns how what the explanations believe becomes one
//! interval; the explanations, their weights and their beliefs are the mixture's.

use super::effects::Fitted;
use super::forward::Ahead;
use super::measure::numbers;
use super::mixture::Voice;
use super::posterior::STUCK;
use super::run::Features;
use crate::estimate::{Estimate, Refusal};
use statrs::distribution::{ContinuousCDF, Normal};

/// What lies beyond each end of a 90 % interval.
const TAIL: f64 = 0.05;
/// No belief reaches further than so many of its standard deviations.
const FAR: f64 = 8.0;
/// Halvings of the stretch in which an end is looked for: to its last bit.
const HALVINGS: usize = 60;

/// The probability that `next` has the failure mode, with a 90 % interval for it. `n` counts the runs whose outcome is
/// known.
///
/// Each explanation believes in a Normal log-hazard, from its coefficients' posterior. One on few factors is as sure as
/// if it knew that the others do not matter, and it does not: no belief is taken as narrower than that of the
/// regression on all of them. The interval's ends are the 5 % and 95 % quantiles of these beliefs mixed by weight, so
/// that explanations which disagree widen it.
pub(super) fn outlook(ahead: &Ahead, fitted: &Fitted, next: &Features) -> Result<Estimate, Refusal> {
    let run = numbers(next);
    let mut voices = ahead.mixture.as_ref().map(|mixture| mixture.voices(&run)).ok_or(STUCK)?;
    let value: f64 = voices.iter().map(|voice| voice.weight * voice.probability).sum();
    let least = fitted.spread(&run);
    for voice in &mut voices {
        voice.spread = voice.spread.max(least);
    }
    let (low, high) = (quantile(&voices, TAIL), quantile(&voices, 1.0 - TAIL));
    // A mean can lie outside of the middle 90 % of what it is the mean of, where one far belief weighs little.
    Ok(Estimate { value, low: low.min(value), high: high.max(value), n: ahead.past.n })
}

/// The probability that the mixed beliefs put a share of `below` under.
fn quantile(voices: &[Voice], below: f64) -> f64 {
    let normal = Normal::standard();
    let share = |at: f64| -> f64 {
        voices.iter().map(|voice| voice.weight * normal.cdf((at - voice.log_hazard) / voice.spread)).sum()
    };
    let ends =
        voices.iter().map(|voice| (voice.log_hazard - FAR * voice.spread, voice.log_hazard + FAR * voice.spread));
    let (mut low, mut high) =
        ends.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), (from, to)| (low.min(from), high.max(to)));
    for _ in 0..HALVINGS {
        let middle = f64::midpoint(low, high);
        if share(middle) < below { low = middle } else { high = middle }
    }
    -(-f64::midpoint(low, high).exp()).exp_m1()
}
