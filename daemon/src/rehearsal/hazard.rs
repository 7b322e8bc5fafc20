//! The hidden truth of the rehearsal: what an idle gap truly risks. Follows from what happened to the melt, never
//! from a setting. Every size here is invented; only the direction of each follows the physics.

use super::rig::Gap;
use dwell_analysis::polymer::{FILAMENT_MM2, drool_rate};
use dwell_analysis::units::Celsius;

/// Jam hazard of one restart with a melt at its residence limit, and how it grows with the dose.
const JAM_AT_LIMIT: f64 = 0.07;
const JAM_POWER: f64 = 1.15;
/// Retraction beyond this draws melt into the cold zone, mm; growth of the jam hazard for each mm beyond.
const RETRACT_SOUND_MM: f64 = 1.5;
const JAM_PER_MM: f64 = 1.0;
/// Retraction that goes into play of the drive before any melt moves, mm.
const PLAY_MM: f64 = 0.6;
/// Melt that pressure has stored at the end of a visit, mm3.
const STORED_MM3: f64 = 0.45;
/// Stringing hazard of one restart of a dry, cool, well retracted tool.
const STRINGING_BASE: f64 = 0.0005;
/// Growth with melt left under pressure, a mm3; with drool, for each tenfold of a reference; wet filament.
const STRINGING_PER_MM3: f64 = 4.0;
const DROOL_REFERENCE_MM3_S: f64 = 7.0e-5;
const STRINGING_WET: f64 = 3.0;
/// Weighted hours at which a liner is likely to have failed, and how sharply.
const LINER_SCALE_H: f64 = 185.0;
const LINER_SHAPE: f64 = 5.0;
/// Weighted ageing doubles within 14 K: `exp((T - 220) / 20)`.
const LINER_REFERENCE_C: f64 = 220.0;
const LINER_FOLD_K: f64 = 20.0;

/// Jam hazard of a restart after `gap`.
#[must_use]
pub fn jam(gap: &Gap) -> f64 {
    let share = (gap.dose.get() / gap.material.built_in().residence_limit.value.get()).min(3.0);
    let beyond = (gap.retract_mm - RETRACT_SOUND_MM).max(0.0);
    JAM_AT_LIMIT * share.powf(JAM_POWER) * (JAM_PER_MM * beyond).exp()
}

/// Stringing hazard of a restart after `gap`.
#[must_use]
pub fn stringing(gap: &Gap, is_dry: bool) -> f64 {
    let moved = FILAMENT_MM2 * (gap.retract_mm - PLAY_MM).max(0.0);
    let pressure = if gap.idle_s > 0.0 { (STORED_MM3 - moved).max(0.0) } else { 0.0 };
    let drool = drool_rate(&gap.material.built_in(), Celsius::new(gap.mean_c)) / DROOL_REFERENCE_MM3_S;
    let wet = if is_dry { 1.0 } else { STRINGING_WET };
    STRINGING_BASE * wet * (STRINGING_PER_MM3 * pressure).exp() * (0.3 + drool * drool)
}

/// Weighted hours that a liner ages within `seconds` at `celsius`.
#[must_use]
pub fn liner_ageing(celsius: f64, seconds: f64) -> f64 {
    ((celsius - LINER_REFERENCE_C) / LINER_FOLD_K).exp() * seconds / 3600.0
}

/// Hazard of a liner that ages from `before` to `after` weighted hours.
#[must_use]
pub fn liner(before: f64, after: f64) -> f64 {
    (after / LINER_SCALE_H).powf(LINER_SHAPE) - (before / LINER_SCALE_H).powf(LINER_SHAPE)
}

/// Probability that something of this hazard happens.
#[must_use]
pub fn probability(hazard: f64) -> f64 {
    -(-hazard.max(0.0)).exp_m1()
}
