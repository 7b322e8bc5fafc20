//! Dose kinetics: how fast a melt ages at a temperature, and what extrusion flushes out again.

use super::Material;
use crate::units::{Celsius, CubicMm, DoseMinutes};

/// Molar gas constant, J/(mol K) (CODATA 2018, exact).
const GAS_CONSTANT: f64 = 8.314_462_618;

/// The temperature at which a minute of waiting is a minute of dose.
pub const DOSE_REFERENCE: Celsius = Celsius::new(200.0);

/// Melt in a hot end; 50 to 100 mm3 is usual (common practice, no source).
pub const MELT_VOLUME: CubicMm = CubicMm::new(75.0);

/// Degradation rate at `at` relative to [`DOSE_REFERENCE`], by Arrhenius: `exp(-(Ea/R) (1/T - 1/T_ref))`.
/// Dimensionless; equivalent minutes gained a minute.
#[must_use]
pub fn dose_rate(material: Material, at: Celsius) -> f64 {
    arrhenius(material.facts().degradation_energy, at, DOSE_REFERENCE)
}

/// What is left of a dose after `extruded` has passed through a well-mixed melt: `D exp(-V/V_melt)`.
#[must_use]
pub fn flushed(dose: DoseMinutes, extruded: CubicMm) -> DoseMinutes {
    DoseMinutes::new(dose.get() * (-extruded.get() / MELT_VOLUME.get()).exp())
}

/// `exp(-(Ea/R) (1/T - 1/T_ref))` with `energy` Ea in J/mol.
pub(super) fn arrhenius(energy: f64, at: Celsius, reference: Celsius) -> f64 {
    (-(energy / GAS_CONSTANT) * (1.0 / at.kelvin() - 1.0 / reference.kelvin())).exp()
}
