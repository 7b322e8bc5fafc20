//! Physics, statistics and learning for idle nozzles.
//!
//! Owns: quantities as types, polymer kinetics, what an idle span amounts to, exact intervals, how a heater
//! answers, whether readings stay what they were, how real times compare with expected ones, what heat wears off parts
//! and how long they last, the risk of each failure mode, what to change about it and whether that helped. Must not:
//! read a clock, a file or the network, or know any format.

pub mod advice;
pub mod control;
pub mod estimate;
pub mod idle;
pub mod pace;
pub mod polymer;
pub mod risk;
pub mod survival;
pub mod thermal;
pub mod time;
pub mod units;
pub mod wear;
