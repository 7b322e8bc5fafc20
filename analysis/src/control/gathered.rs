//! What quiet readings tell of a baseline that was learned from fewer: sums alone, however many they are. Owns the sums;
//! which readings are quiet is `drift`'s business.

use super::baseline::{Baseline, unsure};
use super::blocks::Blocks;
use crate::estimate::count;

/// How many standard errors the baseline may be off: of this many readings the most of all sums leans to the safe side itself.
const ERRORS: f64 = 1.0;

/// Sums over quiet readings, each with the one before it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Gathered {
    n: usize,
    /// Of squares of the deviation before, of its products with the present one, and of squares of that.
    sums: [f64; 3],
    /// Of what readings brought, in standard deviations.
    blocks: Blocks,
}

impl Gathered {
    pub(super) fn new() -> Self {
        Self { n: 0, sums: [0.0; 3], blocks: Blocks::new() }
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
        self.blocks.push(news);
    }

    /// The baseline as these readings have it, but for its level. Its spread is again the larger of what single readings
    /// bring and of what their sums say.
    pub(super) fn renewed(&self, old: &Baseline) -> Baseline {
        let [before, product, now] = self.sums;
        if before <= 0.0 {
            return *old;
        }
        let correlation = Baseline::correlation_of(product / before, self.n);
        let alone = (now - 2.0 * correlation * product + correlation * correlation * before) / count(self.n);
        let in_sum = self.blocks.most().sqrt() * old.innovation / (1.0 - old.correlation) * (1.0 - correlation);
        let innovation = alone.max(0.0).sqrt().max(in_sum) * unsure(correlation, self.n, ERRORS);
        if innovation > 0.0 { Baseline { correlation, innovation, n: self.n, ..*old } } else { *old }
    }
}
