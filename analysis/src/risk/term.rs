//! One factor's way into a log-hazard: straight, from a knot on, up to a knot, or as a step. Owns the shapes and where
//! their knots lie; which of them hold is for the record to say.
//!
//! The hazards of a run's waits add up to its own: with `S` a run's summed dose, `H = h0 + a S^p` is, on a logarithmic
//! scale, flat while what lies beneath carries it and rises by `p` from a knot on, where the waits do. So the knotted
//! shapes of a dose are the hazard of single waits beside a background, with the knot and the power for the record to
//! choose.

use super::measure::{Numbers, Placed};
use super::mode::{Expect, FailureMode};
use super::posterior::Prior;
use crate::estimate::count;

/// Shares of the runs under a knot, percent.
const KNOTS: [usize; 8] = [20, 40, 55, 65, 75, 82, 88, 94];
/// A factor of no more different values than this is one that people set: its knots lie between them.
const SETTINGS_MAX: usize = 8;
/// What is believed of a slope for a standard deviation of its column: the log-hazard moves the expected way, by a
/// factor of 1.8, give or take 2; or not known which way. A proposal, no source.
const EXPECTED: f64 = 0.9;
const EXPECTED_DEVIATION: f64 = 0.5;
const EITHER_DEVIATION: f64 = 0.8;

/// A shape over a standardised factor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Bend {
    Straight,
    /// Rises from the knot on.
    Above(f64),
    /// Rises downwards from the knot.
    Below(f64),
    Step(f64),
}

/// A column of the design.
#[derive(Clone, Copy, Debug)]
pub(super) struct Term {
    pub(super) placed: Placed,
    pub(super) bend: Bend,
    /// Which of the factor's shapes it is, the same from one fit to the next.
    pub(super) slot: usize,
    mean: f64,
    deviation: f64,
}

impl Term {
    /// A factor as it is.
    pub(super) const fn straight(placed: Placed) -> Self {
        Self { placed, bend: Bend::Straight, slot: 0, mean: 0.0, deviation: 1.0 }
    }

    /// Every shape of a factor that tells runs apart and can be what the mode expects of it.
    pub(super) fn all(placed: Placed, mode: FailureMode, runs: &[&Numbers]) -> Vec<Self> {
        let known: Vec<f64> =
            runs.iter().filter(|run| !run[placed.idx].is_nan()).map(|run| placed.standard(run)).collect();
        let expects = mode.expects(placed.measure().name);
        let mut terms = vec![Self::straight(placed)];
        let is_departure = placed.measure().scale == super::measure::Scale::Departure;
        let found = knots(known.clone());
        let is_fine = found.len() == KNOTS.len();
        for (slot, knot) in found.into_iter().enumerate().filter(|_| !is_departure) {
            // A bend at one knot is nearly one at the next, other than a step.
            let bends = slot % 2 == 1 || !is_fine;
            let shapes = [
                (bends && expects != Expect::Less).then_some(Bend::Above(knot)),
                (bends && expects != Expect::More).then_some(Bend::Below(knot)),
                Some(Bend::Step(knot)),
            ];
            for (which, bend) in shapes.into_iter().enumerate() {
                terms.extend(bend.and_then(|bend| Self::shaped(placed, bend, 1 + 3 * slot + which, &known)));
            }
        }
        terms
    }

    /// `None` where it says no more than that all runs are alike, or no more than the straight line does.
    fn shaped(placed: Placed, bend: Bend, slot: usize, known: &[f64]) -> Option<Self> {
        let n = count(known.len());
        let (mut sum, mut square, mut product) = (0.0, 0.0, 0.0);
        for value in known {
            let shaped = bend.of(*value);
            sum += shaped;
            square += shaped * shaped;
            product += shaped * value;
        }
        let mean = sum / n;
        let deviation = (square / n - mean * mean).max(0.0).sqrt();
        if deviation < 1e-6 {
            return None;
        }
        // The factor has mean nought and deviation one over the runs that know it, but for what was held back.
        let correlation = product / n / deviation;
        (correlation.abs() < 0.999).then_some(Self { placed, bend, slot, mean, deviation })
    }

    /// The column's value for a run, in its own standard deviations; what is not known is average.
    pub(super) fn value(&self, run: &Numbers) -> f64 {
        if run[self.placed.idx].is_nan() {
            return 0.0;
        }
        (self.bend.of(self.placed.standard(run)) - self.mean) / self.deviation
    }

    /// What is believed of its slope beforehand.
    pub(super) fn prior(&self, mode: FailureMode) -> Prior {
        let expects = mode.expects(self.placed.measure().name);
        let (mean, deviation) = match (expects, self.bend) {
            (Expect::Either, _) => (0.0, EITHER_DEVIATION),
            (Expect::Less, Bend::Below(_)) | (Expect::More, _) => (EXPECTED, EXPECTED_DEVIATION),
            (Expect::Less, _) => (-EXPECTED, EXPECTED_DEVIATION),
        };
        Prior::Normal { mean, deviation }
    }
}

impl Bend {
    /// Which kind of shape it is.
    pub(super) const fn kind(self) -> usize {
        match self {
            Self::Straight => 0,
            Self::Above(_) => 1,
            Self::Below(_) => 2,
            Self::Step(_) => 3,
        }
    }

    fn of(self, at: f64) -> f64 {
        match self {
            Self::Straight => at,
            Self::Above(knot) => (at - knot).max(0.0),
            Self::Below(knot) => (knot - at).max(0.0),
            Self::Step(knot) => {
                if at > knot {
                    1.0
                } else {
                    0.0
                }
            }
        }
    }
}

/// Between the values that people set, or at shares of the runs.
fn knots(mut known: Vec<f64>) -> Vec<f64> {
    known.sort_unstable_by(f64::total_cmp);
    let mut different = known.clone();
    different.dedup_by(|a, b| (*a - *b).abs() < 1e-9);
    if different.len() <= SETTINGS_MAX {
        return different.windows(2).map(|pair| f64::midpoint(pair[0], pair[1])).collect();
    }
    let mut found: Vec<f64> = KNOTS.iter().map(|share| known[(known.len() - 1) * share / 100]).collect();
    found.dedup_by(|a, b| (*a - *b).abs() < 1e-9);
    found
}
