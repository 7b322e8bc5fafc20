//! What heat does to a waiting polymer: the materials, their dose kinetics and how they ooze.
//! Each figure carries its source or says that it is from memory; those of the material table carry it as data.

mod dose;
mod facts;
mod material;
mod materials;
mod melt;
mod ooze;
mod restart;
mod retraction;
mod source;
#[cfg(test)]
mod tests;

pub use dose::{DOSE_REFERENCE, dose_band, dose_rate, waited_dose};
pub use facts::{MaterialFacts, Viscosity};
pub use material::Material;
pub use materials::{Landmark, Materials, OutOfOrder};
pub use melt::{MELT_VOLUME, Melt, STAGNANT_VOLUME, WORKING_FLOW};
pub use ooze::{
    Drive, FILAMENT_MM2, drool_rate, pressure_volume, reheat_expansion, relaxation_time, stored_volume, viscosity,
};
pub use restart::{Restart, restart};
pub use retraction::{RetractionNeed, retraction_needed};
pub use source::{Band, Source, Sourced};
