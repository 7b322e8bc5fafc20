//! Physics, statistics and learning for idle nozzles.
//!
//! Owns: quantities as types, polymer kinetics, what an idle span amounts to, exact intervals, the risk of each
//! failure mode. Must not: read a clock, a file or the network, or know any format.

pub mod estimate;
pub mod idle;
pub mod polymer;
pub mod risk;
pub mod thermal;
pub mod time;
pub mod units;
