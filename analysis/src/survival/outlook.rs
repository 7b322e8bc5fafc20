//! What weighed laws say of one part in use: how long it may still last, and up to which age it may be kept. Owns the
//! mixture over laws; where their weights are from is `posterior`'s.

use crate::estimate::{Confidence, Estimate};
use crate::units::Probability;

/// Doublings in the search for an age, and halvings between one and its double: to 1e-7 of it.
const DOUBLINGS: u16 = 200;
const HALVINGS: u16 = 23;

/// A Weibull law and how much it counts; the hazard is `e^(shape (ln age - ln scale))`.
#[derive(Clone, Copy, Debug)]
pub(super) struct WeighedLaw {
    pub(super) shape: f64,
    pub(super) ln_scale: f64,
    pub(super) weight: f64,
}

impl WeighedLaw {
    pub(super) fn hazard(&self, ln_age: f64) -> f64 {
        (self.shape * (ln_age - self.ln_scale)).exp()
    }
}

/// One part's prospects.
#[derive(Clone, Debug)]
pub struct Outlook {
    /// Each with its hazard up to the part's age.
    laws: Vec<(WeighedLaw, f64)>,
    age: f64,
    n: usize,
}

impl Outlook {
    pub(super) fn new(laws: Vec<WeighedLaw>, age: f64, n: usize) -> Self {
        let age = age.max(0.0);
        Self { laws: laws.into_iter().map(|law| (law, law.hazard(age.ln()))).collect(), age, n }
    }

    /// The chance that it fails within so much more use, having lasted so far.
    #[must_use]
    pub fn fails_within(&self, more: f64) -> f64 {
        let ln_age = (self.age + more).ln();
        self.laws.iter().map(|(law, lasted)| -law.weight * (lasted - law.hazard(ln_age)).exp_m1()).sum()
    }

    /// What it still lasts, in the unit of lives: median and interval of the part itself, not of a mean.
    #[must_use]
    pub fn remaining(&self, confidence: Confidence) -> Estimate {
        let at = |share: f64| reached(share, |more| self.fails_within(more));
        Estimate { value: at(0.5), low: at(confidence.tail()), high: at(1.0 - confidence.tail()), n: self.n }
    }

    /// The age up to which a part like it, from new on, fails with no more than the accepted chance. For a part that is
    /// older already it lies behind; that it lasted so long is among what the laws were weighed by.
    #[must_use]
    pub fn age_limit(&self, accepted: Probability) -> f64 {
        let failed = |age: f64| {
            let ln_age = age.ln();
            self.laws.iter().map(|(law, _)| -law.weight * (-law.hazard(ln_age)).exp_m1()).sum()
        };
        reached(accepted.get(), failed)
    }
}

/// Where a chance that grows from nought reaches a share: the last place found under it.
fn reached(share: f64, chance: impl Fn(f64) -> f64) -> f64 {
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..DOUBLINGS {
        if chance(high) >= share {
            break;
        }
        (low, high) = (high, 2.0 * high);
    }
    for _ in 0..HALVINGS {
        let middle = f64::midpoint(low, high);
        if chance(middle) < share { low = middle } else { high = middle }
    }
    low
}
