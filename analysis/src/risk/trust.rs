//! How far the explanations are trusted against the plain running rate: each by how well it forecast so far. Owns that
//! weight, so that forecasts can't fall far behind the running rate however many factors there are.

use super::score::surprise;

/// The explanations' share beforehand. Where each outcome is heard before the next forecast, forecasts fall behind the
/// running rate by ln 4 nats at most over a whole record, and behind the explanations by ln 4/3; words that come late
/// cost more.
const SHARE: f64 = 0.75;

/// The logarithms of both weights.
#[derive(Clone, Copy, Debug)]
pub(super) struct Trust {
    explained: f64,
    plain: f64,
}

impl Trust {
    pub(super) fn new() -> Self {
        Self { explained: SHARE.ln(), plain: (1.0 - SHARE).ln() }
    }

    /// Either loses weight by how much an outcome surprised it (Bayes' rule).
    pub(super) fn learn(&mut self, explained: f64, plain: f64, happened: bool) {
        self.explained -= surprise(explained, happened);
        self.plain -= surprise(plain, happened);
    }

    /// The share of the explanations.
    pub(super) fn share(&self) -> f64 {
        1.0 / (1.0 + (self.plain - self.explained).exp())
    }

    /// Both forecasts by their weights.
    pub(super) fn mix(&self, explained: f64, plain: f64) -> f64 {
        let share = self.share();
        share * explained + (1.0 - share) * plain
    }
}
