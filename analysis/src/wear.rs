//! What heat wears off a liner or a nozzle: hours weighted by how hot they were, and heat cycles. Owns the weights;
//! which hours count is the caller's.

use crate::units::{Celsius, Seconds};

/// Temperature at which an hour is an hour of wear.
pub const WEAR_REFERENCE: Celsius = Celsius::new(220.0);
/// An hour weighs e times as much so many kelvin hotter: a proposal, no life law of liners was found.
const WEAR_FOLD: f64 = 20.0;

/// Hours of wear that `lasted` at `at` comes to: `t exp((T - 220) / 20)`.
#[must_use]
pub fn wear_hours(lasted: Seconds, at: Celsius) -> f64 {
    lasted.as_minutes() / 60.0 * ((at - WEAR_REFERENCE).get() / WEAR_FOLD).exp()
}
