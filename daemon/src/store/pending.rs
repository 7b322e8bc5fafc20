//! Readings that wait for their batch, a minute's worth of each printer. Owns when a batch is due, and how many may wait
//! for a disk that takes none. Shared by the tasks, which add, and the writing thread, which takes: a plain reading
//! need not wake that thread.

use crate::entry::{PrinterName, Reading};
use dwell_analysis::units::Seconds;
use std::collections::HashMap;
use std::sync::{Mutex, MutexGuard, PoisonError};

/// How much time a batch of readings may cover, and so how much a crash may lose.
pub(super) const BATCH_MAX: Seconds = Seconds::new(60.0);
/// Readings kept for a printer while the disk takes none: an hour at one a second. Older ones are dropped and counted.
const WAITING_MAX: usize = 3600;

#[derive(Debug, Default)]
pub(super) struct Pending(Mutex<HashMap<PrinterName, Vec<Reading>>>);

impl Pending {
    /// Adds a reading. Says whether the printer's batch is due.
    pub(super) fn add(&self, printer: &PrinterName, reading: Reading) -> bool {
        let mut held = self.held();
        let waiting =
            if let Some(waiting) = held.get_mut(printer) { waiting } else { held.entry(printer.clone()).or_default() };
        waiting.push(reading);
        let covered = waiting.first().zip(waiting.last()).map(|(first, last)| last.at - first.at);
        covered.is_some_and(|covered| covered >= BATCH_MAX)
    }

    /// Takes what waits of a printer: to be written, or put back.
    pub(super) fn take(&self, printer: &PrinterName) -> Vec<Reading> {
        self.held().remove(printer).unwrap_or_default()
    }

    /// Puts back what could not be written, before what has come since. Gives how many had to be dropped.
    pub(super) fn put_back(&self, printer: &PrinterName, mut readings: Vec<Reading>) -> usize {
        if readings.is_empty() {
            return 0;
        }
        let mut held = self.held();
        let since = held.entry(printer.clone()).or_default();
        readings.append(since);
        let n_over = readings.len().saturating_sub(WAITING_MAX);
        drop(readings.drain(..n_over));
        *since = readings;
        n_over
    }

    /// The printers of which something waits.
    pub(super) fn printers(&self) -> Vec<PrinterName> {
        self.held().iter().filter(|(_, waiting)| !waiting.is_empty()).map(|(name, _)| name.clone()).collect()
    }

    fn held(&self) -> MutexGuard<'_, HashMap<PrinterName, Vec<Reading>>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;
    use crate::entry::{Job, JobState};
    use dwell_analysis::time::Timestamp;

    fn reading(second: i64) -> Reading {
        Reading {
            at: Timestamp::from_ms(second * 1000),
            after_gap: false,
            job: Job { state: JobState::None, name: None, fraction_millionths: None, byte: None },
            active_tool: None,
            tools: Vec::new(),
            bed: None,
        }
    }

    #[test]
    fn what_is_put_back_stands_before_what_came_since_and_the_oldest_are_dropped() {
        let (pending, bench) = (Pending::default(), PrinterName::new("bench").unwrap());
        let due = (0..=60).map(|second| pending.add(&bench, reading(second))).collect::<Vec<_>>();
        assert_eq!(due.iter().position(|due| *due), Some(60));
        let taken = pending.take(&bench);
        pending.add(&bench, reading(61));
        assert_eq!(pending.put_back(&bench, taken), 0);
        let order = |readings: &[Reading]| readings.windows(2).all(|pair| pair[0].at < pair[1].at);
        let taken = pending.take(&bench);
        assert!(taken.len() == 62 && order(&taken) && pending.printers().is_empty());
        let many: Vec<Reading> = (0..4000).map(reading).collect();
        assert_eq!(pending.put_back(&bench, many), 400);
        assert_eq!(pending.take(&bench)[0].at, Timestamp::from_ms(400_000));
    }
}
