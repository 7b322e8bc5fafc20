//! Gathers a figure over a job into its spread, in bounded memory.

use super::outline::Spread;
use dwell_analysis::estimate::count;

/// Different values, to a hundredth, of which the count is kept; those that come later have none.
const KINDS_MAX: usize = 256;

/// A spread under way.
#[derive(Clone, Debug, Default)]
pub(super) struct Tally {
    n: u64,
    sum: f64,
    range: Option<(f64, f64)>,
    /// Hundredths, and how often; the last one seen is at the front, as it is often the next one too.
    kinds: Vec<(i64, u64)>,
}

impl Tally {
    pub(super) fn add(&mut self, value: f64) {
        self.n += 1;
        self.sum += value;
        self.range = Some(self.range.map_or((value, value), |(min, max)| (min.min(value), max.max(value))));
        let kind = hundredths(value);
        match self.kinds.iter().position(|(held, _)| *held == kind) {
            Some(at) => {
                if let Some((_, n)) = self.kinds.get_mut(at) {
                    *n += 1;
                }
                self.kinds.swap(0, at);
            }
            None if self.kinds.len() < KINDS_MAX => self.kinds.push((kind, 1)),
            None => {}
        }
    }

    /// The most common value; of equals the least.
    pub(super) fn mode(&self) -> Option<f64> {
        self.most().map(|(kind, _)| value(kind))
    }

    fn most(&self) -> Option<(i64, u64)> {
        self.kinds.iter().copied().max_by_key(|(kind, n)| (*n, std::cmp::Reverse(*kind)))
    }

    pub(super) fn spread(&self) -> Spread {
        let n = usize::try_from(self.n).unwrap_or(usize::MAX);
        let share = |times: u64| count(usize::try_from(times).unwrap_or(usize::MAX)) / count(n);
        Spread {
            n: self.n,
            min: self.range.map(|(min, _)| min),
            mode: self.mode(),
            max: self.range.map(|(_, max)| max),
            mode_share: self.most().map(|(_, times)| share(times)),
            mean: (self.n > 0).then(|| self.sum / count(n)),
        }
    }

    pub(super) fn clear(&mut self) {
        self.n = 0;
        self.sum = 0.0;
        self.range = None;
        self.kinds.clear();
    }
}

#[expect(clippy::as_conversions, clippy::cast_possible_truncation, reason = "float-to-int casts saturate")]
fn hundredths(value: f64) -> i64 {
    (value * 100.0).round() as i64
}

#[expect(clippy::as_conversions, clippy::cast_precision_loss, reason = "it was made from an f64")]
fn value(hundredths: i64) -> f64 {
    hundredths as f64 / 100.0
}
