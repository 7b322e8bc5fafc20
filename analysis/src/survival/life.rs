//! One part's life, as far as it was followed, and what a likelihood takes from many.

use crate::estimate::count;

/// How a life's record ends.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum End {
    /// The part failed.
    Failed,
    /// It had not failed: it was changed before, or is still in use.
    Censored,
}

/// A part's life in a unit of the caller's (hours of wear, hot hours, heat cycles), followed from one age to another.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Life {
    entry: f64,
    exit: f64,
    end: End,
}

impl Life {
    /// A part followed from the age `entry` on (0 where it was new) to the age `exit`. `None` where that is no stretch
    /// of a life: an age below nought or without end, or nothing that was followed.
    #[must_use]
    pub fn new(entry: f64, exit: f64, end: End) -> Option<Self> {
        (entry >= 0.0 && entry < exit && exit.is_finite()).then_some(Self { entry, exit, end })
    }

    /// The age from which on it was followed.
    #[must_use]
    pub const fn entry(&self) -> f64 {
        self.entry
    }

    /// The age at which its record ends.
    #[must_use]
    pub const fn exit(&self) -> f64 {
        self.exit
    }

    /// Whether it failed then.
    #[must_use]
    pub const fn failed(&self) -> bool {
        matches!(self.end, End::Failed)
    }

    /// Whether it was followed at an age: on (entry, exit].
    pub(super) fn is_at_risk(&self, age: f64) -> bool {
        self.entry < age && age <= self.exit
    }
}

/// The ages at which lives ended in failure, each once, in order.
pub(super) fn failure_ages<'a>(lives: impl Iterator<Item = &'a Life>) -> Vec<f64> {
    let mut ages: Vec<f64> = lives.filter(|life| life.failed()).map(Life::exit).collect();
    ages.sort_by(f64::total_cmp);
    ages.dedup_by(|a, b| a.total_cmp(b).is_eq());
    ages
}

/// How many lives were followed at an age, and how many failed at it.
pub(super) fn at_risk_and_failed(lives: &[Life], age: f64) -> (usize, usize) {
    let followed = || lives.iter().filter(|life| life.is_at_risk(age));
    let failed = followed().filter(|life| life.failed() && life.exit.total_cmp(&age).is_eq()).count();
    (followed().count(), failed)
}

/// Lives as the Weibull likelihood takes them: logs of ages, over the largest.
#[derive(Clone, Debug)]
pub(super) struct Record {
    /// ln of the ages at entry (where not new) with sign -1 and at exit with sign +1, less `ln_longest`.
    ages: Vec<(f64, f64)>,
    /// ln of the largest age.
    pub(super) ln_longest: f64,
    pub(super) n: usize,
    pub(super) failures: usize,
    /// Sum of the logs of the ages at failure.
    pub(super) sum_ln_failed: f64,
}

/// Sums over lives of `x^k (ln x)^j`, j = 0, 1, 2, at exit less at entry, x as a share of the largest age.
#[derive(Clone, Copy, Debug)]
pub(super) struct Powers(pub(super) [f64; 3]);

impl Record {
    pub(super) fn of(lives: &[Life]) -> Self {
        let longest = lives.iter().map(Life::exit).fold(0.0, f64::max);
        let ln_longest = if longest > 0.0 { longest.ln() } else { 0.0 };
        let mut ages = Vec::with_capacity(2 * lives.len());
        for life in lives {
            ages.push((life.exit.ln() - ln_longest, 1.0));
            if life.entry > 0.0 {
                ages.push((life.entry.ln() - ln_longest, -1.0));
            }
        }
        let failed = || lives.iter().filter(|life| life.failed());
        let sum_ln_failed = failed().map(|life| life.exit.ln()).sum();
        Self { ages, ln_longest, n: lives.len(), failures: failed().count(), sum_ln_failed }
    }

    pub(super) fn powers(&self, shape: f64) -> Powers {
        let mut sums = [0.0; 3];
        for (ln_age, sign) in &self.ages {
            let power = sign * (shape * ln_age).exp();
            sums[0] += power;
            sums[1] += power * ln_age;
            sums[2] += power * ln_age * ln_age;
        }
        Powers(sums)
    }

    /// Log-likelihood of a shape (with its powers) and the ln of a scale:
    /// `D ln k + (k-1) sum ln x - D k ln l - sum (x/l)^k + sum (entry/l)^k`, sums of the first kind over failures.
    pub(super) fn ln_likelihood(&self, shape: f64, powers: &Powers, ln_scale: f64) -> f64 {
        let failures = count(self.failures);
        let hazard = powers.0[0] * (-shape * (ln_scale - self.ln_longest)).exp();
        failures * (shape.ln() - shape * ln_scale) + (shape - 1.0) * self.sum_ln_failed - hazard
    }
}
