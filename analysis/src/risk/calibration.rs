//! Whether what was forecast at some percent happened in that percent: the reliability diagram, the calibration line and
//! the parts of the Brier score. Forecasts are probabilities, paired with outcomes by position.

use crate::estimate::{Confidence, Estimate, Refusal, count, rate};

/// Steps that a fit may take; a line needs some six.
const ITERATIONS: u16 = 30;
/// A fit has arrived when its next step is shorter than this.
const SHORT: f64 = 1e-10;
/// No step is longer, so that a bad start does not throw it off.
const LONG: f64 = 2.0;
/// Half-width of a 90 % interval in standard errors.
const NINETY: f64 = 1.644_854;

/// The forecasts between two bounds, and what came of them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reliability {
    /// Lowest forecast that belongs here.
    pub low: f64,
    /// The first that no longer does, except that 1 belongs to the last one.
    pub high: f64,
    /// Forecasts in it.
    pub n: usize,
    /// Their mean.
    pub mean_forecast: f64,
    /// Share of them in which it happened, with its exact 90 % interval.
    pub observed: Estimate,
}

/// The reliability diagram: `bins` equal bins, rising; those without a forecast are left out.
#[must_use]
pub fn reliability(forecasts: &[f64], happened: &[bool], bins: usize) -> Vec<Reliability> {
    let edge = |bin: usize| count(bin) / count(bins);
    let bin = |bin: usize| {
        let inside = |forecast: f64| forecast >= edge(bin) && (forecast < edge(bin + 1) || bin + 1 == bins);
        let held: Vec<(f64, bool)> =
            forecasts.iter().copied().zip(happened.iter().copied()).filter(|(forecast, _)| inside(*forecast)).collect();
        let events = held.iter().filter(|(_, yes)| *yes).count();
        let observed = rate(events, held.len(), Confidence::Percent90).ok()?;
        let mean_forecast = held.iter().map(|(forecast, _)| forecast).sum::<f64>() / count(held.len());
        Some(Reliability { low: edge(bin), high: edge(bin + 1), n: held.len(), mean_forecast, observed })
    };
    (0..bins).filter_map(bin).collect()
}

/// The Brier score in three parts: reliability - resolution + uncertainty (Murphy, Journal of Applied Meteorology 12
/// (1973) 595). Exact where the forecasts within each bin are equal.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BrierParts {
    /// Mean squared gap between what was forecast and what happened: less is better.
    pub reliability: f64,
    /// Mean squared distance of the bins' shares from the share of all: more is better.
    pub resolution: f64,
    /// Mean squared error of always forecasting the share of all.
    pub uncertainty: f64,
}

impl BrierParts {
    /// The parts, over the bins of a reliability diagram; `None` without a forecast.
    #[must_use]
    pub fn of(bins: &[Reliability]) -> Option<Self> {
        let n = count(bins.iter().map(|bin| bin.n).sum());
        let mean = |of: &dyn Fn(&Reliability) -> f64| bins.iter().map(|bin| count(bin.n) * of(bin)).sum::<f64>() / n;
        let share = mean(&|bin| bin.observed.value);
        (n > 0.0).then(|| Self {
            reliability: mean(&|bin| (bin.mean_forecast - bin.observed.value).powi(2)),
            resolution: mean(&|bin| (bin.observed.value - share).powi(2)),
            uncertainty: share * (1.0 - share),
        })
    }

    /// The score that they make up.
    #[must_use]
    pub const fn score(&self) -> f64 {
        self.reliability - self.resolution + self.uncertainty
    }

    /// Share of the uncertainty that the forecasts take away; `None` where every outcome is the same.
    #[must_use]
    pub fn skill(&self) -> Option<f64> {
        (self.uncertainty > 0.0).then(|| (self.resolution - self.reliability) / self.uncertainty)
    }
}

/// The line of what happened over what was forecast, both in log-odds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Calibration {
    /// 1 is right; under 1, the forecasts are further apart than they should be. With its 90 % interval.
    pub slope: Estimate,
    /// Log-odds of what a forecast of one half came to.
    pub intercept: Estimate,
    /// By how much the log-odds of all forecasts are too low, the slope held at 1: 0 is right. With its 90 % interval.
    pub in_the_large: Estimate,
}

/// The calibration line by maximum likelihood (Cox, Biometrika 45 (1958) 562); intervals by its information (Wald).
///
/// # Errors
/// With one kind of outcome, forecasts that are all the same, or forecasts that part the outcomes without a fault, so
/// that no slope would be steep enough.
pub fn calibration(forecasts: &[f64], happened: &[bool]) -> Result<Calibration, Refusal> {
    let pairs: Vec<(f64, bool)> =
        forecasts.iter().zip(happened).map(|(forecast, yes)| (log_odds(*forecast), *yes)).collect();
    let events = pairs.iter().filter(|(_, yes)| *yes).count();
    match events {
        _ if pairs.is_empty() => return Err(Refusal::TooFew { have: 0, need: 1 }),
        0 => return Err(Refusal::NoEvents),
        _ if events == pairs.len() => return Err(Refusal::OneClassOnly),
        _ => {}
    }
    let apart = |a: f64, b: f64| (a - b).abs() > 1e-12;
    if pairs.iter().all(|(odds, _)| !apart(*odds, pairs[0].0)) {
        return Err(Refusal::NothingVaries);
    }
    let estimate = |value: f64, variance: f64| {
        let reach = NINETY * variance.sqrt();
        Estimate { value, low: value - reach, high: value + reach, n: pairs.len() }
    };
    let line = Newton::run(&pairs, [0.0, 1.0], [true, true])?;
    let large = Newton::run(&pairs, [0.0, 1.0], [true, false])?;
    Ok(Calibration {
        slope: estimate(line.at[1], line.variances[1]),
        intercept: estimate(line.at[0], line.variances[0]),
        in_the_large: estimate(large.at[0], large.variances[0]),
    })
}

/// Log-odds; a rounded certainty counts as the smallest step from it.
fn log_odds(forecast: f64) -> f64 {
    let held = forecast.clamp(f64::EPSILON, 1.0 - f64::EPSILON);
    (held / (1.0 - held)).ln()
}

/// A logistic line at its maximum likelihood, and the variances of its intercept and slope.
struct Newton {
    at: [f64; 2],
    variances: [f64; 2],
}

impl Newton {
    /// Newton's iteration from `start`; what is not `free` stays there.
    fn run(pairs: &[(f64, bool)], start: [f64; 2], free: [bool; 2]) -> Result<Self, Refusal> {
        let stuck = Refusal::DidNotConverge { after: ITERATIONS };
        let mut at = start;
        for _ in 0..ITERATIONS {
            let (mut slope, mut information) = ([0.0; 2], [0.0; 3]);
            for (odds, yes) in pairs {
                let p = 1.0 / (1.0 + (-at[0] - at[1] * odds).exp());
                let miss = if *yes { 1.0 - p } else { -p };
                slope = [slope[0] + miss, slope[1] + miss * odds];
                for (sum, power) in information.iter_mut().zip([1.0, *odds, odds * odds]) {
                    *sum += p * (1.0 - p) * power;
                }
            }
            let [a, b, c] = information;
            // Of a 2 by 2 matrix, or of its corner where the slope is held.
            let [ia, ib, ic] = match free {
                [true, true] => {
                    let root = a * c - b * b;
                    [c / root, -b / root, a / root]
                }
                _ => [1.0 / a, 0.0, 0.0],
            };
            let step = [ia * slope[0] + ib * slope[1], ib * slope[0] + ic * slope[1]];
            let longest = step[0].abs().max(step[1].abs());
            if !longest.is_finite() {
                return Err(stuck);
            }
            let part = (LONG / longest).min(1.0);
            at = [at[0] + part * step[0], at[1] + part * step[1]];
            if longest < SHORT {
                return Ok(Self { at, variances: [ia, ic] });
            }
        }
        Err(stuck)
    }
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::super::score::tests::{FORECASTS, OUTCOMES};
    use super::super::score::{brier, calibration_error};
    use super::*;
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    fn near(found: f64, right: f64) {
        assert!((found - right).abs() < 5e-8, "{found} against {right}");
    }

    /// Nine forecasts in three bins: scikit-learn 1.9.1.
    #[test]
    fn diagram_agrees_with_another_library() {
        let forecasts = [0.1, 0.2, 0.3, 0.4, 0.65, 0.7, 0.8, 0.9, 1.0];
        let happened = [0, 0, 0, 0, 1, 1, 1, 1, 1].map(|yes| yes == 1);
        let found = reliability(&forecasts, &happened, 3);
        assert_eq!(found.iter().map(|bin| bin.n).collect::<Vec<_>>(), [3, 2, 4]);
        for (bin, (mean, observed)) in found.iter().zip([(0.2, 0.0), (0.525, 0.5), (0.85, 1.0)]) {
            near(bin.mean_forecast, mean);
            near(bin.observed.value, observed);
        }
        near(calibration_error(&forecasts, &happened, 3).unwrap(), 0.138_888_9);
    }

    #[test]
    fn a_bin_without_a_forecast_is_no_bin() {
        let found = reliability(&[0.05, 1.0], &[false, true], 10);
        assert_eq!(found.iter().map(|bin| (bin.low, bin.high)).collect::<Vec<_>>(), [(0.0, 0.1), (0.9, 1.0)]);
        assert_eq!(reliability(&[], &[], 10), []);
        assert_eq!(BrierParts::of(&[]), None);
    }

    /// Slope and intercept: scikit-learn 1.9.1 without a penalty; standard errors from the information at its fit.
    #[test]
    fn line_agrees_with_another_library() {
        let found = calibration(&FORECASTS, &OUTCOMES.map(|yes| yes == 1)).unwrap();
        near(found.slope.value, 1.292_824_3);
        near(found.intercept.value, 0.589_194_7);
        near(found.in_the_large.value, 0.407_192_6);
        let error = |of: Estimate| (of.high - of.low) / (2.0 * 1.644_854);
        assert!(
            (error(found.slope) - 0.615_419_96).abs() < 1e-6 && (error(found.intercept) - 0.673_495_69).abs() < 1e-6
        );
    }

    /// Forecasts in groups: the parts are exact. Forecasts that differ within bins: they are not, by a known gap.
    #[test]
    fn parts_make_up_the_score_where_each_bin_holds_one_forecast() {
        let groups = [(0.1, 10, 1), (0.3, 5, 1), (0.5, 4, 2), (0.8, 6, 5)];
        let (mut forecasts, mut happened) = (Vec::new(), Vec::new());
        for (forecast, size, events) in groups {
            forecasts.extend(std::iter::repeat_n(forecast, size));
            happened.extend((0..size).map(|run| run < events));
        }
        let parts = BrierParts::of(&reliability(&forecasts, &happened, 5)).unwrap();
        near(parts.reliability, 0.002_266_666_7);
        near(parts.resolution, 0.089_066_666_7);
        near(parts.uncertainty, 0.2304);
        near(parts.skill().unwrap(), 0.376_736_1);
        near(parts.score(), brier(&forecasts, &happened).unwrap());
        let mixed = BrierParts::of(&reliability(&FORECASTS, &OUTCOMES.map(|yes| yes == 1), 5)).unwrap();
        near(mixed.score(), 0.172_472_5);
        assert_eq!(BrierParts::of(&reliability(&[0.2, 0.4], &[true, true], 5)).unwrap().skill(), None);
    }

    #[test]
    fn forecasts_that_are_too_sure_have_a_flat_line_and_too_low_ones_a_high_one() {
        let mut rng = ChaCha8Rng::seed_from_u64(8);
        let odds: Vec<f64> = (0..4000).map(|_| rng.random_range(-3.0..3.0)).collect();
        let p = |odds: f64| 1.0 / (1.0 + (-odds).exp());
        let happened: Vec<bool> = odds.iter().map(|odds| rng.random_bool(p(*odds))).collect();
        let told = |of: fn(f64) -> f64| odds.iter().map(|odds| p(of(*odds))).collect::<Vec<f64>>();
        let right = calibration(&told(|odds| odds), &happened).unwrap();
        assert!(right.slope.low < 1.0 && 1.0 < right.slope.high, "{right:?}");
        assert!(right.in_the_large.low < 0.0 && 0.0 < right.in_the_large.high, "{right:?}");
        let sure = calibration(&told(|odds| 2.0 * odds), &happened).unwrap();
        assert!(sure.slope.high < 0.6, "{sure:?}");
        let timid = calibration(&told(|odds| odds / 8.0), &happened).unwrap();
        near(timid.slope.value, 8.0 * right.slope.value);
        let low = calibration(&told(|odds| odds - 1.0), &happened).unwrap();
        assert!(low.in_the_large.low > 0.8 && low.in_the_large.high < 1.2, "{low:?}");
    }

    #[test]
    fn a_line_that_nothing_settles_is_refused() {
        assert_eq!(calibration(&[], &[]), Err(Refusal::TooFew { have: 0, need: 1 }));
        assert_eq!(calibration(&[0.2, 0.4], &[false, false]), Err(Refusal::NoEvents));
        assert_eq!(calibration(&[0.2, 0.4], &[true, true]), Err(Refusal::OneClassOnly));
        assert_eq!(calibration(&[0.3; 4], &[true, false, false, false]), Err(Refusal::NothingVaries));
        let parted = calibration(&[0.1, 0.2, 0.3, 0.8, 0.9], &[false, false, false, true, true]);
        assert_eq!(parted, Err(Refusal::DidNotConverge { after: 30 }));
    }
}
