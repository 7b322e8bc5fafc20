//! How much more has to be seen. Owns the reckoning from what the forecasts gained so far, and from what a trial of
//! a given power takes; how sure is sure enough is the verdict's.

use super::forward::{Forward, Past};
use super::learn::{BEYOND_CHANCE, State};
use crate::estimate::count;

/// Normal quantiles of a test at 1 in 180, one-sided, and of a power of 80 %.
const LEVEL: f64 = 2.541;
const POWER: f64 = 0.842;
/// The log-hazard that a factor of a standard deviation moves if it doubles the hazard.
const DOUBLES: f64 = std::f64::consts::LN_2;

/// What would settle a mode.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Settling {
    /// It is settled: what is known carries a claim.
    Settled,
    /// So many more reported tool-runs, if the forecasts go on gaining as they did.
    Runs(usize),
    /// Nothing recorded forecasts it so far; with so many more reported tool-runs, a factor that doubles the hazard for
    /// a standard deviation would be found four times in five.
    RunsToRuleOut(usize),
    /// Nothing recorded forecasts it, and a factor that doubles the hazard for a standard deviation would have been
    /// found four times in five.
    RuledOut,
    /// It did not happen yet, or every time, so there is nothing to reckon from.
    NoRate,
}

/// What would settle it, from the account so far.
pub(super) fn settling(past: &Past, account: &Forward, state: State) -> Settling {
    if state == State::Learned {
        return Settling::Settled;
    }
    if past.events == 0 || past.events == past.n {
        return Settling::NoRate;
    }
    let (have, gained) = (count(account.outcomes.len()), account.evidence());
    if state == State::Leaning && gained > 0.0 {
        return Settling::Runs(whole((BEYOND_CHANCE - gained).max(0.0) * have / gained));
    }
    // A slope's information is the rate for each run, near enough, at one standard deviation.
    let rate = (count(past.events) + 0.5) / (count(past.n) + 1.0);
    let needed = ((LEVEL + POWER) / DOUBLES).powi(2) / rate;
    let missing = needed - count(past.n);
    if missing > 0.0 { Settling::RunsToRuleOut(whole(missing)) } else { Settling::RuledOut }
}

/// Rounded up, to two digits: it is no more than an order of magnitude.
fn whole(runs: f64) -> usize {
    let mut step = 1_usize;
    while count(step) * 100.0 < runs && step < 1_000_000 {
        step *= 10;
    }
    (1..=100).map(|n| n * step).find(|n| count(*n) >= runs).unwrap_or(100 * step)
}
