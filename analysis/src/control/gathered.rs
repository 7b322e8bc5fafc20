//! What quiet readings tell of a baseline that was learned from fewer: sums alone, however many they are. Owns the sums;
//! which readings are quiet is `drift`'s business.

use super::baseline::{Baseline, unsure};
use crate::estimate::count;

/// Sums over quiet readings, each with the one before it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Gathered {
    n: usize,
    /// Of squares of the deviation before, of its products with the present one, and of squares of that.
    sums: [f64; 3],
    /// Readings a block: about the root of four times as many as the old baseline had.
    long: usize,
    block: f64,
    /// Of squares of the blocks' means, in standard deviations of what a reading brings.
    blocks: f64,
}

impl Gathered {
    /// Nothing yet, to renew this baseline.
    pub(super) fn new(old: &Baseline) -> Self {
        Self { n: 0, sums: [0.0; 3], long: 2 * old.n.isqrt(), block: 0.0, blocks: 0.0 }
    }

    /// Readings so far.
    pub(super) const fn n(&self) -> usize {
        self.n
    }

    /// Takes in a deviation, the one before it, and what it brought in standard deviations.
    pub(super) fn push(&mut self, deviation: f64, before: f64, news: f64) {
        self.n += 1;
        for (sum, square) in self.sums.iter_mut().zip([before * before, before * deviation, deviation * deviation]) {
            *sum += square;
        }
        self.block += news;
        if self.n.is_multiple_of(self.long) {
            let mean = self.block / count(self.long);
            self.blocks += mean * mean;
            self.block = 0.0;
        }
    }

    /// The baseline as these readings have it, but for its level. Its spread is again the larger of what single readings
    /// bring and of what their blocks' means say.
    pub(super) fn renewed(&self, old: &Baseline) -> Baseline {
        let [before, product, now] = self.sums;
        let blocks = self.n / self.long;
        if before <= 0.0 || blocks == 0 {
            return *old;
        }
        let correlation = Baseline::correlation_of(product / before, self.n);
        let alone = (now - 2.0 * correlation * product + correlation * correlation * before) / count(self.n);
        let swing = count(self.long) * self.blocks / count(blocks);
        let in_sum = swing.sqrt() * old.innovation / (1.0 - old.correlation) * (1.0 - correlation);
        let innovation = alone.max(0.0).sqrt().max(in_sum) * unsure(correlation, self.n);
        if innovation > 0.0 { Baseline { correlation, innovation, n: self.n, ..*old } } else { *old }
    }
}
