//! How a hot end warms and cools. Owns the model of one heater, what follows from it, and its fit to a record.

mod around;
mod ask;
mod curve;
mod drift;
mod fit;
mod heater;
mod solve;
mod spread;
mod steps;
mod stretch;
#[cfg(test)]
#[expect(clippy::unwrap_used, clippy::print_stdout, reason = "a test may stop, and says what it measured")]
mod tests;
mod times;

pub use curve::Parameter;
pub use drift::{Moved, drift};
pub use fit::{FanFits, HeaterFit, fit};
pub use heater::{AMBIENT, Heater, HeaterState};
pub use steps::{HeaterReading, Steps};
pub use times::Beside;
