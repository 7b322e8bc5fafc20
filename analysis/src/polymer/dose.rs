//! Dose kinetics: how fast a melt ages at a temperature, and how sure that is. What extrusion flushes is `melt`'s.

use super::MaterialFacts;
use crate::units::{Celsius, DoseMinutes, Seconds};

/// Molar gas constant, J/(mol K) (CODATA 2018, exact).
pub(super) const GAS_CONSTANT: f64 = 8.314_462_618;

/// The temperature at which a minute of waiting is a minute of dose.
pub const DOSE_REFERENCE: Celsius = Celsius::new(200.0);

/// Degradation rate at `at` relative to [`DOSE_REFERENCE`], by Arrhenius: `exp(-(Ea/R) (1/T - 1/T_ref))`.
/// Dimensionless; equivalent minutes gained a minute.
#[must_use]
pub fn dose_rate(facts: &MaterialFacts, at: Celsius) -> f64 {
    arrhenius(facts.degradation.value.value, at, DOSE_REFERENCE)
}

/// The dose that `waited` between readings of `from` and `to` adds: the rates at the ends, averaged (trapezoid rule).
#[must_use]
pub fn waited_dose(facts: &MaterialFacts, waited: Seconds, from: Celsius, to: Celsius) -> DoseMinutes {
    let rate = f64::midpoint(dose_rate(facts, from), dose_rate(facts, to));
    DoseMinutes::new(rate * waited.as_minutes())
}

/// What `dose`, taken within `waited`, may be instead if the activation energy lies anywhere in its band: the lowest
/// and the highest, with `dose` between them. Reckoned at the steady temperature that gives this dose: of the rate
/// `r = dose / waited`, another energy makes `r^(Ea'/Ea)`.
///
/// For PLA the band is what fits disagree by; for materials whose energy is borrowed it is the honest figure.
#[must_use]
pub fn dose_band(facts: &MaterialFacts, dose: DoseMinutes, waited: Seconds) -> (DoseMinutes, DoseMinutes) {
    let minutes = waited.as_minutes();
    if minutes <= 0.0 || dose <= DoseMinutes::ZERO {
        return (dose, dose);
    }
    let energy = facts.degradation.value;
    let of = |other: f64| minutes * (dose.get() / minutes).powf(other / energy.value);
    // Over the reference a higher energy ages faster, under it more slowly.
    let (a, b) = (of(energy.low), of(energy.high));
    (DoseMinutes::new(a.min(b)), DoseMinutes::new(a.max(b)))
}

/// `exp(-(Ea/R) (1/T - 1/T_ref))` with `energy` Ea in J/mol.
pub(super) fn arrhenius(energy: f64, at: Celsius, reference: Celsius) -> f64 {
    (-(energy / GAS_CONSTANT) * (1.0 / at.kelvin() - 1.0 / reference.kelvin())).exp()
}
