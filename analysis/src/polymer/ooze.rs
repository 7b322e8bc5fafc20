//! What leaves an idle nozzle: pressure that was stored at the last retraction, gravity drool, expansion on reheat.
//! All three are estimates of order of magnitude (proposals, no measured source); they rank spans, they don't weigh.

use super::dose::arrhenius;
use super::{MELT_VOLUME, Material};
use crate::units::{Celsius, CelsiusDelta, CubicMm, Millimetres, Seconds};

/// Zero-shear viscosity at 200 °C, Pa s: middle of 1480 to 9460 fitted for PLA (Materials 16 (2023) 7664).
const VISCOSITY_AT_REFERENCE: f64 = 3000.0;
const VISCOSITY_REFERENCE: Celsius = Celsius::new(200.0);
/// Radius and land of a 0.4 mm nozzle, m; melt column, m; melt density, kg/m3 (from memory); gravity, m/s2.
const NOZZLE_RADIUS: f64 = 0.2e-3;
const NOZZLE_LAND: f64 = 0.6e-3;
const MELT_COLUMN: f64 = 20.0e-3;
const MELT_DENSITY: f64 = 1090.0;
const GRAVITY: f64 = 9.80665;
/// Volumetric thermal expansion of a melt, 1/K (from memory).
const MELT_EXPANSION: f64 = 7.0e-4;
/// Cross-section of 1.75 mm filament, mm2.
pub const FILAMENT_MM2: f64 = 2.405;
/// Volume stored by 50 bar in a short drive (between 0.26 mm3 at 30 bar and 0.71 mm3 at 80 bar), mm3.
const STORED_AT_STOP: f64 = 0.45;

/// Gravity flow through a wetted tip, mm3/s, by Hagen-Poiseuille `pi r^4 dp / (8 eta L)` with the viscosity of the
/// melt at `at`. Nothing flows below the material's first-flow temperature.
#[must_use]
pub fn drool_rate(material: Material, at: Celsius) -> f64 {
    let facts = material.facts();
    if at < facts.first_flow {
        return 0.0;
    }
    let viscosity = VISCOSITY_AT_REFERENCE / arrhenius(facts.flow_energy, at, VISCOSITY_REFERENCE);
    let pressure = MELT_DENSITY * GRAVITY * MELT_COLUMN;
    let cubic_metres = std::f64::consts::PI * NOZZLE_RADIUS.powi(4) * pressure / (8.0 * viscosity * NOZZLE_LAND);
    cubic_metres * 1e9
}

/// Melt pushed out when the idle melt warms by `rise`: `beta V dT`; cooling pushes nothing.
#[must_use]
pub fn reheat_expansion(rise: CelsiusDelta) -> CubicMm {
    CubicMm::new(MELT_EXPANSION * MELT_VOLUME.get() * rise.get().max(0.0))
}

/// What stored pressure still pushes out after a retraction of `retracted`; all of it within seconds.
#[must_use]
pub fn stored_pressure_volume(retracted: Millimetres, waited: Seconds) -> CubicMm {
    if waited <= Seconds::ZERO {
        return CubicMm::ZERO;
    }
    CubicMm::new((STORED_AT_STOP - FILAMENT_MM2 * retracted.get()).max(0.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 0.27 mm3 an hour for 3000 Pa s, 0.4 mm nozzle, 20 mm column: worked example of the Hagen-Poiseuille law.
    #[test]
    fn drool_of_a_wetted_tip_agrees_with_the_worked_example() {
        let per_hour = drool_rate(Material::Pla, Celsius::new(200.0)) * 3600.0;
        assert!((per_hour - 0.27).abs() < 0.01, "{per_hour}");
    }

    /// 48 mm3 from 150 to 210 °C give 2.0 mm3; ours holds 75 mm3.
    #[test]
    fn reheat_pushes_out_what_the_melt_expands() {
        let pushed = reheat_expansion(Celsius::new(210.0) - Celsius::new(150.0));
        assert!((pushed.get() - 2.0 * 75.0 / 48.0).abs() < 0.05, "{pushed:?}");
        assert_eq!(reheat_expansion(Celsius::new(150.0) - Celsius::new(210.0)), CubicMm::ZERO);
    }
}
