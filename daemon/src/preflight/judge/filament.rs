//! Rules on one tool's filament: purge and retraction.

use super::{Case, counted, place};
use crate::jobfile::Visit;
use crate::preflight::finding::Matter;
use crate::preflight::known::Habit;
use dwell_analysis::units::{CubicMm, Millimetres};

/// Prints without which there is no habit.
const HABIT_PRINTS: usize = 3;

/// So far outside of all past prints is far (a proposal, no source).
const OUTSIDE: f64 = 0.5;
/// So many times the median is far.
const TIMES: f64 = 2.0;

/// The longest retraction of a drive close to the nozzle (common practice, no source).
const SHORT_DRIVE_MM: f64 = 2.0;

/// So often one spot of filament passes the drive before it is ground (common practice, no source).
const PASSES: u32 = 20;

impl Case<'_> {
    /// Only where tools share a nozzle does what the other one left come out first.
    pub(super) fn no_purge(&self) -> Option<Matter> {
        if !self.known.is_shared() {
            return None;
        }
        let pairs = self.outline.visits.windows(2).filter_map(|pair| match pair {
            [before, visit] if before.tool != visit.tool => Some(visit),
            _ => None,
        });
        let changes: Vec<&Visit> =
            pairs.filter(|visit| visit.tool == self.tool.tool && visit.restart.is_some()).collect();
        let is_unpurged = |visit: &&Visit| visit.purge.volume <= CubicMm::ZERO;
        let first = changes.iter().find(|visit| is_unpurged(visit))?;
        Some(Matter::NoPurge { counted: counted(&changes, is_unpurged), first: place(first) })
    }

    pub(super) fn retraction(&self) -> Option<Matter> {
        let length = self.tool.retractions.length.mode.map(Millimetres::new)?;
        match self.is.retraction.filter(|habit| habit.n >= HABIT_PRINTS) {
            Some(habit) => is_unlike(length, &habit).then_some(Matter::OtherRetraction { length, habit }),
            None => (length.get() > SHORT_DRIVE_MM).then_some(Matter::LongRetraction { length }),
        }
    }

    pub(super) fn untold_retractions(&self) -> Option<Matter> {
        let (n, of) = (self.tool.retractions.untold, self.tool.retractions.n);
        (n > 0).then_some(Matter::UntoldRetractions { n, of })
    }

    pub(super) fn ground_filament(&self) -> Option<Matter> {
        let passes = self.tool.retractions.on_one_spot;
        (passes > PASSES).then_some(Matter::GroundFilament { passes })
    }
}

fn is_unlike(length: Millimetres, habit: &Habit) -> bool {
    let (length, median) = (length.get(), habit.median.get());
    let is_outside = length < habit.low.get() * (1.0 - OUTSIDE) || length > habit.high.get() * (1.0 + OUTSIDE);
    is_outside || length > median * TIMES || length * TIMES < median
}
