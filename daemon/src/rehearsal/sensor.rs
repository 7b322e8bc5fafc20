//! What a sensor makes of the temperature that it feels: noise and steps. Owns both.

use crate::entry::CentiCelsius;
use rand::Rng;
use rand_distr::{Distribution, Normal};

/// Spread of a sensor, K.
pub const SENSOR_SD: f64 = 0.25;
/// A usual sensor is told in tenths of a degree.
pub const SENSOR_STEPS_PER_K: f64 = 10.0;

/// What a sensor is told by.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Told {
    /// The temperature that it feels, °C.
    pub felt: f64,
    /// Whether it tells that to the last digit, without noise.
    pub is_exact: bool,
}

/// What a sensor says of what it feels: noise, then so many steps a degree.
#[must_use]
pub fn sensed(told: Told, steps_per_k: f64, rng: &mut impl Rng) -> Option<CentiCelsius> {
    let drawn = Normal::new(0.0, SENSOR_SD).map_or(0.0, |normal| normal.sample(rng));
    let noise = if told.is_exact { 0.0 } else { drawn };
    CentiCelsius::nearest(((told.felt + noise) * steps_per_k).round() / steps_per_k)
}
