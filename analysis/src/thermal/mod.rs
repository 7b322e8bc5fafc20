//! How a hot end warms and cools. Owns the model of one heater, what follows from it, and its fit to a record.

mod fit;
mod heater;
mod steps;
#[cfg(test)]
#[expect(clippy::unwrap_used, clippy::print_stdout, reason = "a test may stop, and says what it measured")]
mod tests;

pub use fit::{HeaterFit, fit};
pub use heater::{AMBIENT, Heater, HeaterState};
pub use steps::{HeaterReading, Steps};
