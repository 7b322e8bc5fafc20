//! What heat does to a waiting polymer: the materials, their dose kinetics and how they ooze.
//! Each figure carries its source or says that it is from memory.

mod dose;
mod material;
mod ooze;
#[cfg(test)]
mod tests;

pub use dose::{DOSE_REFERENCE, MELT_VOLUME, dose_rate, flushed};
pub use material::{Material, MaterialFacts};
pub use ooze::{FILAMENT_MM2, drool_rate, reheat_expansion, stored_pressure_volume};
