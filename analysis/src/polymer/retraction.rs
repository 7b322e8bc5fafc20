//! The retraction that a tool needs: what its stored pressure is in filament, and the play of its drive. Owns the
//! range; what harm comes of more or less is learned.

use super::MaterialFacts;
use super::ooze::{Drive, FILAMENT_MM2, PRESSURE_HIGH, PRESSURE_LOW, stored_volume, viscosity};
use crate::units::{Celsius, Millimetres};

/// Pressure at which a drive's gear slips, Pa (a proposal: twice what is usual at most; no open figure found).
const PRESSURE_MAX: f64 = 2.0 * PRESSURE_HIGH;

/// The lengths between which a retraction neither leaves pressure nor draws melt into the cold zone, as far as physics
/// and practice tell.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RetractionNeed {
    /// Less leaves pressure.
    pub low: Millimetres,
    /// More draws melt up for nothing.
    pub high: Millimetres,
}

/// The retraction that a material needs at a print temperature: the volume stored at 30 to 80 bar by filament's area,
/// and the drive's play. The pressure is meant at the middle of the usual print temperatures; at another one it
/// changes as the viscosity does at the same flow. Where the drive is not known, either may be meant.
#[must_use]
pub fn retraction_needed(facts: &MaterialFacts, print: Celsius, drive: Option<Drive>) -> RetractionNeed {
    let thicker = viscosity(facts, print) / viscosity(facts, facts.usual_print());
    // No drive pushes harder than it grips.
    let stored =
        |drive, pressure: f64| stored_volume(drive, (pressure * thicker).min(PRESSURE_MAX)).get() / FILAMENT_MM2;
    let (loose, stiff) = (drive.unwrap_or(Drive::LongTube), drive.unwrap_or(Drive::Short));
    let low = stiff.play().0 + stored(stiff, PRESSURE_LOW);
    let high = loose.play().1 + stored(loose, PRESSURE_HIGH);
    RetractionNeed { low: Millimetres::new(low), high: Millimetres::new(high) }
}

impl RetractionNeed {
    /// The middle of the range.
    #[must_use]
    pub const fn middle(self) -> Millimetres {
        Millimetres::new(f64::midpoint(self.low.get(), self.high.get()))
    }

    /// How far a retraction of `set` lies outside of the range: negative if too short, 0 inside.
    #[must_use]
    pub fn departure(self, set: Millimetres) -> Millimetres {
        let (short, long) = ((set.get() - self.low.get()).min(0.0), (set.get() - self.high.get()).max(0.0));
        Millimetres::new(short + long)
    }
}
