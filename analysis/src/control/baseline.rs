//! What is normal of a series, learned from its first readings: level, spread, how much of a deviation is left a reading
//! later, and the sensor's step. Owns that; whether a later reading is normal is `drift`'s business.

use super::blocks::Blocks;
use crate::estimate::{Refusal, count};
use crate::units::Seconds;

/// What lies further out than so many standard deviations counts as lying there, so that single wild readings weigh little.
pub(super) const WILD: f64 = 4.0;

/// The median distance from the median times this is the standard deviation of normal values.
const NORMAL_BY_MEDIAN: f64 = 1.4826;

/// Two neighbouring values of a sensor, however often it changes between them, have a standard deviation of half a step at
/// the most; noise of half a step, with the steps' own, has 0.577. In between lies this: from here on the flicker is noise
/// enough for means to see less than a step, below it a shift hides within one.
const FLICKER_LEAST: f64 = 0.54;

/// How many standard errors what was learned may be off: few readings tell too little of how their sums vary.
const ERRORS: f64 = 2.0;

/// More than this is left of a deviation only of a series that hardly has a level.
const CORRELATION_MOST: f64 = 0.999;

/// The fewest readings from which a spread and a correlation are worth anything (a tenth each, 1 / sqrt(n)).
const READINGS_LEAST: usize = 100;

/// A reading of a series.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reading {
    /// In the series' unit.
    pub value: f64,
    /// Since the reading before it.
    pub after: Seconds,
}

/// What is normal of a series: a level, around which deviations fade by a first-order process.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Baseline {
    /// The level, in the series' unit.
    pub level: f64,
    /// Standard deviation of what a reading brings that the one before did not tell, in the series' unit; widened by what
    /// its sums vary more than those of independent values would, and by what is unsure of it.
    pub innovation: f64,
    /// What is left of a deviation after `interval`, 0 to 1.
    pub correlation: f64,
    /// Usual time between two readings.
    pub interval: Seconds,
    /// The sensor's step, in the series' unit.
    pub step: f64,
    /// Whether the sensor's step is too coarse for its flicker: a shift of less than a step can't be told then.
    pub is_coarse: bool,
    /// How many readings it rests on.
    pub n: usize,
}

impl Baseline {
    /// Learns from readings, of which `need` (at least 100) have to be numbers; the sensor's step is the least difference
    /// between two of them if it is not told.
    ///
    /// # Errors
    /// With too few readings, without time between them, and if all are the same and no step is told: how far they could
    /// have been apart is not known then.
    pub fn learn(readings: &[Reading], need: usize, step: Option<f64>) -> Result<Self, Refusal> {
        let need = need.max(READINGS_LEAST);
        let usable: Vec<Reading> = readings.iter().filter(|reading| reading.value.is_finite()).copied().collect();
        if usable.len() < need {
            return Err(Refusal::TooFew { have: usable.len(), need });
        }
        let values: Vec<f64> = usable.iter().map(|reading| reading.value).collect();
        let step = step.or_else(|| least_difference(&values)).ok_or(Refusal::NothingVaries)?;
        let interval = interval(&usable)?;
        let middle = median(&values);
        let tamed = tame(&values.iter().map(|value| value - middle).collect::<Vec<f64>>(), step);
        let level = middle + mean(&tamed);
        let deviations: Vec<f64> = tamed.iter().map(|deviation| deviation - (level - middle)).collect();
        let pairs: Vec<(f64, f64)> = (1..deviations.len())
            .filter(|&idx| follows(usable[idx].after, interval))
            .map(|idx| (deviations[idx - 1], deviations[idx]))
            .collect();
        let (correlation, n) = (correlation(&pairs), usable.len());
        let brought: Vec<f64> = pairs.iter().map(|(before, now)| now - correlation * before).collect();
        let brought = tame(&brought, step);
        let is_coarse = variance(&brought).sqrt() < FLICKER_LEAST * step;
        let floor = if is_coarse { step / 2.0 } else { 0.0 };
        let innovation = Blocks::of(&brought).most().sqrt().max(floor) * unsure(correlation, n, ERRORS);
        if innovation <= 0.0 {
            return Err(Refusal::NothingVaries);
        }
        Ok(Self { level, innovation, correlation, interval: Seconds::new(interval), step, is_coarse, n })
    }

    /// A correlation estimated from so many readings, with the bias of its estimate, `(1 + 3 rho) / n` (Kendall, Biometrika
    /// 41 (1954) 403), put right. Readings that swing count as independent: their sums vary less, which only makes fewer
    /// false alarms.
    pub(super) fn correlation_of(plain: f64, n: usize) -> f64 {
        (plain + (1.0 + 3.0 * plain) / count(n)).clamp(0.0, CORRELATION_MOST)
    }

    /// Standard deviation of the series around its level, in its unit.
    #[must_use]
    pub fn spread(&self) -> f64 {
        self.innovation / (1.0 - self.correlation * self.correlation).sqrt()
    }

    /// Whether a reading came about as soon after the one before it as usual.
    pub(super) fn follows(&self, after: Seconds) -> bool {
        follows(after, self.interval.get())
    }

    /// A deviation from the level as it counts: less a step where a step may be no more than a hair's breadth.
    pub(super) fn deviation(&self, value: f64) -> f64 {
        let plain = value - self.level;
        if self.is_coarse { plain.signum() * (plain.abs() - self.step).max(0.0) } else { plain }
    }

    /// What a deviation brought beyond what the one before it left after this time, in standard deviations.
    pub(super) fn news(&self, deviation: f64, before: Option<f64>, after: Seconds) -> f64 {
        let steps = (after.get() / self.interval.get()).max(0.0);
        let left = before.map_or(0.0, |_| self.correlation.powf(steps));
        let own = self.spread() * (1.0 - left * left).sqrt();
        // Two readings at one instant bring nothing.
        if own > 0.0 { (deviation - left * before.unwrap_or(0.0)) / own } else { 0.0 }
    }
}

/// Usual time between two readings, s.
fn interval(readings: &[Reading]) -> Result<f64, Refusal> {
    let apart: Vec<f64> = readings.iter().skip(1).map(|reading| reading.after.get()).filter(|&s| s > 0.0).collect();
    if apart.is_empty() { Err(Refusal::NoExposure) } else { Ok(median(&apart)) }
}

/// Pairs over a gap tell nothing of what is left a reading later.
fn follows(after: Seconds, interval: f64) -> bool {
    (0.5..1.5).contains(&(after.get() / interval))
}

/// The least difference between two values that differ; `None` if none do.
fn least_difference(values: &[f64]) -> Option<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let range = sorted.last()? - sorted.first()?;
    // What only the writing of numbers in binary brings is no difference.
    let least = 1e-9 * range;
    sorted.windows(2).map(|two| two[1] - two[0]).filter(|gap| *gap > least).min_by(f64::total_cmp)
}

/// What is left of a deviation a reading later.
fn correlation(pairs: &[(f64, f64)]) -> f64 {
    let squares: f64 = pairs.iter().map(|(before, _)| before * before).sum();
    if squares <= 0.0 {
        return 0.0;
    }
    let products: f64 = pairs.iter().map(|(before, now)| before * now).sum();
    Baseline::correlation_of(products / squares, pairs.len())
}

/// Sums of what readings bring vary as if it were larger by this factor where the correlation is so many standard errors
/// more, `sqrt((1 - rho^2) / n)` each; of independent values it is about that of their spread.
pub(super) fn unsure(correlation: f64, n: usize, errors: f64) -> f64 {
    1.0 + errors * ((1.0 + correlation) / (1.0 - correlation) / count(n)).sqrt()
}

/// The values with what is wild among them drawn in.
fn tame(values: &[f64], step: f64) -> Vec<f64> {
    let far: Vec<f64> = values.iter().map(|value| value.abs()).collect();
    let most = WILD * (NORMAL_BY_MEDIAN * median(&far)).max(step);
    values.iter().map(|value| value.clamp(-most, most)).collect()
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / count(values.len())
}

fn variance(values: &[f64]) -> f64 {
    let mean = mean(values);
    values.iter().map(|value| (value - mean) * (value - mean)).sum::<f64>() / (count(values.len()) - 1.0)
}

/// The median; 0 of nothing.
fn median(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let half = sorted.len() / 2;
    let upper = sorted.get(half).copied().unwrap_or(0.0);
    if sorted.len() % 2 == 1 || half == 0 { upper } else { f64::midpoint(sorted[half - 1], upper) }
}
