//! Scores of probabilities against what happened. Owns their definitions; which forecasts to score is the caller's.
//! Forecasts and outcomes are paired by position; an empty pairing has no score.

use super::calibration::reliability;
use crate::estimate::count;

/// How good forward-only forecasts were, next to the running rate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Skill {
    /// Runs forecast by a model, and then known.
    pub n: usize,
    /// Mean log loss of the forecasts, nats.
    pub log_loss: f64,
    /// Mean log loss of the running rate.
    pub log_loss_base: f64,
    /// Mean squared error of the forecasts.
    pub brier: f64,
    /// Mean squared error of the running rate.
    pub brier_base: f64,
    /// Chance that a failed run was given a higher risk than a clean one; `None` without both.
    pub auc: Option<f64>,
    /// Mean gap between forecast and observed shares, over ten bins.
    pub ece: f64,
    /// Weight of evidence against the running rate, nats; see [`super::State`].
    pub evidence: f64,
}

/// The surprise of an outcome of which `forecast` was the probability, nats.
pub(super) fn surprise(forecast: f64, happened: bool) -> f64 {
    // A forecast is never certain, but a rounded one could be; the smallest step from certainty bounds the loss.
    let told = if happened { forecast } else { 1.0 - forecast };
    -told.max(f64::EPSILON).ln()
}

/// Mean log loss, nats.
#[must_use]
pub fn log_loss(forecasts: &[f64], happened: &[bool]) -> Option<f64> {
    mean(forecasts, happened, surprise)
}

/// Brier score: the mean squared error of the probabilities.
#[must_use]
pub fn brier(forecasts: &[f64], happened: &[bool]) -> Option<f64> {
    mean(forecasts, happened, |forecast, yes| (forecast - if yes { 1.0 } else { 0.0 }).powi(2))
}

fn mean(forecasts: &[f64], happened: &[bool], loss: impl Fn(f64, bool) -> f64) -> Option<f64> {
    let n = forecasts.len().min(happened.len());
    let sum: f64 = forecasts.iter().zip(happened).map(|(forecast, yes)| loss(*forecast, *yes)).sum();
    (n > 0).then(|| sum / count(n))
}

/// Area under the receiver operating characteristic, by ranks with ties at their mean (Mann-Whitney); `None` unless
/// there are both outcomes.
#[must_use]
pub fn area_under_curve(forecasts: &[f64], happened: &[bool]) -> Option<f64> {
    let mut pairs: Vec<(f64, bool)> = forecasts.iter().copied().zip(happened.iter().copied()).collect();
    pairs.sort_by(|a, b| a.0.total_cmp(&b.0));
    let events = pairs.iter().filter(|(_, yes)| *yes).count();
    if events == 0 || events == pairs.len() {
        return None;
    }
    let mut ranks = 0.0;
    let mut passed = 0;
    for tied in pairs.chunk_by(|a, b| a.0.total_cmp(&b.0).is_eq()) {
        let rank = count(passed) + f64::midpoint(count(tied.len()), 1.0);
        ranks += rank * count(tied.iter().filter(|(_, yes)| *yes).count());
        passed += tied.len();
    }
    let events_n = count(events);
    Some((ranks - events_n * (events_n + 1.0) / 2.0) / (events_n * count(pairs.len() - events)))
}

/// Expected calibration error: the gap between mean forecast and observed share in each of `bins` equal bins, weighted
/// by how many fell into it. Bins are closed below and open above, the last one closed.
#[must_use]
pub fn calibration_error(forecasts: &[f64], happened: &[bool], bins: usize) -> Option<f64> {
    let bins = reliability(forecasts, happened, bins);
    let n: usize = bins.iter().map(|bin| bin.n).sum();
    let gap: f64 = bins.iter().map(|bin| count(bin.n) * (bin.mean_forecast - bin.observed.value).abs()).sum();
    (n > 0).then(|| gap / count(n))
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
pub(super) mod tests {
    use super::*;

    /// Twenty forecasts and outcomes, scored with scikit-learn 1.9.1.
    pub(in super::super) const FORECASTS: [f64; 20] = [
        0.05, 0.1, 0.12, 0.15, 0.18, 0.22, 0.25, 0.3, 0.35, 0.42, 0.45, 0.55, 0.58, 0.62, 0.7, 0.38, 0.08, 0.28, 0.82,
        0.95,
    ];
    pub(in super::super) const OUTCOMES: [u8; 20] = [0, 0, 0, 1, 0, 0, 1, 0, 1, 0, 1, 1, 0, 1, 1, 0, 0, 0, 1, 1];

    fn near(found: Option<f64>, right: f64) {
        let found = found.unwrap();
        assert!((found - right).abs() < 5e-8, "{found} against {right}");
    }

    #[test]
    fn scores_agree_with_the_examples_of_a_library() {
        // The first three stand in the documentation of scikit-learn.
        near(brier(&[0.1, 0.9, 0.8, 0.3], &[false, true, true, false]), 0.0375);
        near(area_under_curve(&[0.1, 0.4, 0.35, 0.8], &[false, false, true, true]), 0.75);
        near(log_loss(&[0.9, 0.9, 0.8, 0.65], &[true; 4]), 0.216_161_874_7);
        let happened = OUTCOMES.map(|yes| yes == 1);
        near(brier(&FORECASTS, &happened), 0.171_075);
        near(log_loss(&FORECASTS, &happened), 0.510_212_989_4);
        near(area_under_curve(&FORECASTS, &happened), 0.828_282_8);
        near(calibration_error(&FORECASTS, &happened, 5), 0.0725);
        // A library whose edges are k times 0.1 in binary says 0.1035 here: its third edge lies just above 0.3.
        near(calibration_error(&FORECASTS, &happened, 10), 0.1015);
    }

    /// Forecasts in groups, so that nearly every pair is tied: scikit-learn 1.9.1.
    #[test]
    fn ties_count_half() {
        let groups = [(0.1, 10, 1), (0.3, 5, 1), (0.5, 4, 2), (0.8, 6, 5)];
        let (mut forecasts, mut happened) = (Vec::new(), Vec::new());
        for (forecast, size, events) in groups {
            forecasts.extend(std::iter::repeat_n(forecast, size));
            happened.extend((0..size).map(|run| run < events));
        }
        near(area_under_curve(&forecasts, &happened), 0.840_277_8);
        near(brier(&forecasts, &happened), 0.1436);
    }

    #[test]
    fn nothing_to_score_has_no_score() {
        assert_eq!(log_loss(&[], &[]), None);
        assert_eq!(area_under_curve(&[0.2, 0.9], &[true, true]), None);
        assert_eq!(calibration_error(&[], &[], 10), None);
    }
}
