//! How a hot end warms and cools. Owns the model of one heater and what follows from it; measures nothing itself.

mod heater;

pub use heater::{AMBIENT, Heater, HeaterState};
