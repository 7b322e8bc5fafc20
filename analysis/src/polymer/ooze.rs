//! What leaves an idle nozzle: pressure that was stored at the last retraction, gravity drool, expansion on reheat.
//! All three are estimates of order of magnitude (proposals, no measured source); they rank spans, they don't weigh.

use super::dose::arrhenius;
use super::{MELT_VOLUME, MaterialFacts};
use crate::units::{Celsius, CelsiusDelta, CubicMm, Millimetres, Seconds};

/// Radius and land of a 0.4 mm nozzle, m (its common size; the land from memory).
const NOZZLE_RADIUS: f64 = 0.2e-3;
const NOZZLE_LAND: f64 = 0.6e-3;
/// Melt column over the tip, m, and melt density, kg/m3 (both from memory).
const MELT_COLUMN: f64 = 20.0e-3;
const MELT_DENSITY: f64 = 1090.0;
/// Standard gravity, m/s2 (exact by definition).
const GRAVITY: f64 = 9.80665;
/// Volumetric thermal expansion of a melt, 1/K (from memory).
const MELT_EXPANSION: f64 = 7.0e-4;
/// Compressibility of a melt, 1/Pa, and modulus of solid filament, Pa (both from memory).
const MELT_COMPRESSIBILITY: f64 = 1.0e-9;
const FILAMENT_MODULUS: f64 = 3.0e9;
/// Cross-section of 1.75 mm filament, mm2 (computed).
pub const FILAMENT_MM2: f64 = 2.405;
/// Pressure over a printing nozzle, Pa: between 30 and 80 bar (from memory).
pub(super) const PRESSURE: f64 = 5.0e6;
pub(super) const PRESSURE_LOW: f64 = 3.0e6;
pub(super) const PRESSURE_HIGH: f64 = 8.0e6;
/// Free filament between gear and melt of either drive, mm (usual lengths, from memory).
const FREE_SHORT: f64 = 50.0;
const FREE_LONG: f64 = 500.0;
/// Play of either drive, mm: what common practice draws back (0.5 to 2 mm with a short drive, 4 to 7 mm with a long
/// tube; many guides, no source) less what stored pressure needs.
const PLAY_SHORT: (f64, f64) = (0.4, 1.7);
const PLAY_LONG: (f64, f64) = (3.5, 5.5);

/// How filament is pushed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Drive {
    /// By a gear right above the hot end.
    Short,
    /// Through a guide tube, by a gear at the frame.
    LongTube,
}

impl Drive {
    const fn free_length(self) -> f64 {
        match self {
            Self::Short => FREE_SHORT,
            Self::LongTube => FREE_LONG,
        }
    }

    /// What a retraction takes up before it moves melt, mm, least and most.
    pub(super) const fn play(self) -> (f64, f64) {
        match self {
            Self::Short => PLAY_SHORT,
            Self::LongTube => PLAY_LONG,
        }
    }
}

/// Zero-shear viscosity at `at`, Pa s: Arrhenius with the flow energy, from the figure that is known.
#[must_use]
pub fn viscosity(facts: &MaterialFacts, at: Celsius) -> f64 {
    let known = facts.viscosity.value;
    known.pa_s / arrhenius(facts.flow.value.value, at, known.at)
}

/// Gravity flow through a wetted tip, mm3/s, with the viscosity of the melt at `at`. Nothing flows below the
/// material's first-flow temperature.
#[must_use]
pub fn drool_rate(facts: &MaterialFacts, at: Celsius) -> f64 {
    if at < facts.first_flow.value {
        return 0.0;
    }
    let column = MELT_DENSITY * GRAVITY * MELT_COLUMN;
    column / capillary_resistance(viscosity(facts, at), NOZZLE_LAND, NOZZLE_RADIUS) * 1e9
}

/// Melt pushed out when the idle melt warms by `rise`: `beta V dT`; cooling pushes nothing.
#[must_use]
pub fn reheat_expansion(rise: CelsiusDelta) -> CubicMm {
    CubicMm::new(MELT_EXPANSION * MELT_VOLUME.get() * rise.get().max(0.0))
}

/// What stored pressure pushes out within `waited` at `at` after a retraction of `retracted`:
/// `(V_stored - A (L - play)+)+ (1 - exp(-t/tau))`; what is under its first flow keeps it. Which drive it is nobody
/// told, so a short one with the least play is meant: more may come.
#[must_use]
pub fn pressure_volume(facts: &MaterialFacts, retracted: Millimetres, at: Celsius, waited: Seconds) -> CubicMm {
    if waited <= Seconds::ZERO || at < facts.first_flow.value {
        return CubicMm::ZERO;
    }
    let drive = Drive::Short;
    let moved = (retracted.get() - drive.play().0).max(0.0);
    let left = stored_volume(drive, PRESSURE).get() - FILAMENT_MM2 * moved;
    let relaxed = -(-waited.get() / relaxation_time(facts, drive, at).get()).exp_m1();
    CubicMm::new(left.max(0.0) * relaxed)
}

/// Volume that `pressure` (Pa) stores in the melt and in the filament that pushes it: `C_h P`.
#[must_use]
pub fn stored_volume(drive: Drive, pressure: f64) -> CubicMm {
    CubicMm::new(compliance(drive, MELT_VOLUME) * pressure)
}

/// Time in which stored pressure falls to 1/e through the tip: `C_h 8 eta L / (pi r^4)`. After five of these it is
/// over.
#[must_use]
pub fn relaxation_time(facts: &MaterialFacts, drive: Drive, at: Celsius) -> Seconds {
    let resistance = capillary_resistance(viscosity(facts, at), NOZZLE_LAND, NOZZLE_RADIUS);
    Seconds::new(compliance(drive, MELT_VOLUME) * 1e-9 * resistance)
}

/// `C_h = kappa V_melt + A L_free / E`, mm3/Pa.
pub(super) fn compliance(drive: Drive, melt: CubicMm) -> f64 {
    MELT_COMPRESSIBILITY * melt.get() + FILAMENT_MM2 * drive.free_length() / FILAMENT_MODULUS
}

/// Pressure a unit of flow, Pa s/m3, of a fluid of `viscosity` (Pa s) in a tube of `length` and `radius` (m), by
/// Hagen-Poiseuille: `8 eta L / (pi r^4)`.
pub(super) fn capillary_resistance(viscosity: f64, length: f64, radius: f64) -> f64 {
    8.0 * viscosity * length / (std::f64::consts::PI * radius.powi(4))
}
