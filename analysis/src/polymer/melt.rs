//! The melt that sits in a hot end: how it ages while it waits, and what extrusion flushes out again. Owns the two
//! doses; how fast a temperature ages a melt is `dose`'s.

use crate::units::{CubicMm, DoseMinutes};

/// Melt in a hot end; 50 to 100 mm3 is usual (common practice, no source).
pub const MELT_VOLUME: CubicMm = CubicMm::new(75.0);

/// Extrusion that leaves a stagnant melt 1/e of its dose: a hundred melts, some 3 m of filament. A proposal; no
/// measured hold-up of a hot end was found.
pub const STAGNANT_VOLUME: CubicMm = CubicMm::new(7500.0);

/// Flow of a working nozzle, mm3/s: 2 to 10 is usual (common practice, no source). Polling tells no flow.
pub const WORKING_FLOW: f64 = 4.0;

/// What a tool's melt has taken.
///
/// Most of it is well mixed: what is extruded takes its share of the dose along, `dD/dt = r - D Q/V`. In corners and
/// at walls some hardly moves: the same law with [`STAGNANT_VOLUME`] for V.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Melt {
    /// Dose of the well-mixed melt.
    pub mixed: DoseMinutes,
    /// Dose of the stagnant melt; never less than the mixed one's.
    pub stagnant: DoseMinutes,
}

impl Melt {
    /// A melt that has just been loaded and purged.
    pub const FRESH: Self = Self { mixed: DoseMinutes::ZERO, stagnant: DoseMinutes::ZERO };

    /// Waits, which adds `dose`.
    pub fn wait(&mut self, dose: DoseMinutes) {
        self.mixed += dose;
        self.stagnant += dose;
    }

    /// Loses what `extruded` flushes out, in no time.
    pub fn extrude(&mut self, extruded: CubicMm) {
        self.work(DoseMinutes::ZERO, extruded);
    }

    /// Prints: takes `dose`, evenly, while `extruded` passes evenly: the exact solution of the law above,
    /// `D exp(-x) + dose (1 - exp(-x)) / x` with `x = extruded / V`.
    pub fn work(&mut self, dose: DoseMinutes, extruded: CubicMm) {
        self.mixed = worked(self.mixed, dose, extruded.get() / MELT_VOLUME.get());
        self.stagnant = worked(self.stagnant, dose, extruded.get() / STAGNANT_VOLUME.get());
    }
}

fn worked(held: DoseMinutes, added: DoseMinutes, volumes: f64) -> DoseMinutes {
    // Near zero the quotient is 1 - x/2; what is drawn back flushes nothing.
    let (left, share) = if volumes > 0.0 { ((-volumes).exp(), -(-volumes).exp_m1() / volumes) } else { (1.0, 1.0) };
    DoseMinutes::new(held.get() * left + added.get() * share)
}
